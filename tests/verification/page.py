"""The verification page: every outside check, and what the simulations of tests/studies found when last run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.records.problems import plural
from analysis.report.page import Bullets, PageHead, Prose, Statement
from analysis.report.plain_page import FAILS, Contents, Heading, Results, ResultsScreen
from analysis.report.wording import MINUS, number, sentence
from tests.reference.check import Check
from tests.studies.record import Finding, Result, later_changes, read_result, studies

SHOWN = 3  # numbers of a check that are written out

OUTSIDE = (
    "Each engine of the suite is given data whose answer is known from somewhere else, and must agree to the digits"
    " named."
)
SIMULATED = (
    "Where no outside number exists, shops with a known truth are invented and counted over. The Monte Carlo error says"
    " how far the number would wander with other shops; a claim within three such errors holds. The runs are kept as"
    " files in tests/studies/results/ and are not made anew for this page."
)
STATUS = (
    "Published value seen: the number was read in a stored copy of the source.",
    "Published value from memory: known from the literature and in agreement, but the source was not opened.",
    "Reference software only: the number is that of R or of a named package; no published one is known.",
    "Worked by hand, or a published formula: the number follows from arithmetic that can be done again.",
)


@dataclass(frozen=True)
class Study:
    """A study, its kept result if there is one, and how many later commits changed what it runs."""

    name: str
    question: str
    result: Result | None
    changes: int | None

    @property
    def claims(self) -> list[Finding]:
        """Findings of which something is claimed."""
        return [f for f in self.result.findings if f.claimed] if self.result else []

    @property
    def when(self) -> str:
        """When it was last run, on what, and what has changed since."""
        if self.result is None:
            return f"Not run: no result is kept. Command: python -m tests.studies.{self.name} --write"
        r = self.result
        told = f"Last run on {r.run_on} at commit {r.commit or 'unknown'}, {r.cpu_seconds:.0f} CPU seconds: {r.command}"
        if r.uncommitted:
            told += f". {plural(len(r.uncommitted), 'file')} differed from that commit"
        if self.changes is None:
            return f"{told}. Whether the code has changed since cannot be told here (no history)."
        if self.changes:
            return f"{told}. Not run since: {plural(self.changes, 'later commit')} changed what it runs."
        return f"{told}. What it runs has not changed since."


def gather() -> list[Study]:
    """Every study as it stands."""
    out = []
    for name, question in studies().items():
        result = read_result(name)
        out.append(Study(name, question, result, later_changes(name, result.commit) if result else None))
    return out


def _shown(values: Sequence[float], size: int) -> str:
    told = ", ".join(f"{value:.{size}g}".replace("-", MINUS) for value in values[:SHOWN])
    return told.replace("nan", "not a number") + (f", … ({len(values)} numbers)" if len(values) > SHOWN else "")


def _result(holds: bool) -> str:
    return "holds" if holds else FAILS


def engine_place(engine: str) -> str:
    """Where an engine's checks stand on the page."""
    return f"engine-{engine.replace(' ', '-')}"


def first_screen(checks: Sequence[Check], found: Sequence[Study]) -> ResultsScreen:
    """How many hold, and what fails by name."""
    claims = [(study, claim) for study in found for claim in study.claims]
    failing = [f"{c.engine}, {c.source}: {c.quantity}" for c in checks if not c.holds]
    failing += [f"simulation {study.name}: {claim.what}" for study, claim in claims if not claim.holds]
    never = [study.name for study in found if study.result is None]
    stale = [study.name for study in found if study.changes]
    kinds = ", ".join(f"{n} {status}" for status, n in Counter(c.status for c in checks).most_common())
    says = f"{sum(c.holds for c in checks)} of {plural(len(checks), 'outside check')} hold."
    run = f"{sum(claim.holds for _, claim in claims)} of {plural(len(claims), 'claim')} hold"
    where = f"in {len(found) - len(never)} of {plural(len(found), 'study', 'studies')}"
    about = [
        f"Never kept: {', '.join(never)}." if never else "",
        f"Run before later changes: {', '.join(stale)}." if stale else "",
    ]
    return ResultsScreen(
        [
            Statement("Outside checks", says, f"By source: {kinds}. Computed when this page was made."),
            Statement("Simulations", f"{run}, {where}.", " ".join(filter(None, about))),
            Statement("What fails", f"{FAILS}: {'; '.join(failing)}." if failing else "Nothing.", ""),
        ]
    )


def summary_grid(checks: Sequence[Check]) -> Results:
    """One line an engine."""
    rows = []
    for engine in dict.fromkeys(c.engine for c in checks):
        own = [c for c in checks if c.engine == engine]
        seen = sum(c.status.startswith("published value") for c in own)
        nearest = min(own, key=lambda c: c.agreed - c.digits)
        rows.append(
            [
                engine,
                str(len(own)),
                str(seen),
                str(len(own) - seen),
                f"{nearest.agreed:.1f} of {nearest.digits:g}",
                _result(all(c.holds for c in own)),
            ]
        )
    heads = [
        "engine",
        "checks",
        "against published values",
        "against software or by hand",
        "nearest to failing: digits agreed, of needed",
        "result",
    ]
    under = "Where an answer is compared with draws by chance (another program's simulation) few digits can be needed."
    return Results("Outside checks by engine", heads, rows, numbers=(1, 2, 3), under=under)


def engine_grid(engine: str, checks: Sequence[Check]) -> Results:
    """Every check of an engine."""
    rows = [
        [
            c.source,
            c.quantity,
            c.status,
            _shown(c.expected, 8),
            _shown(c.got, 8),
            f"{c.agreed:.1f} of {c.digits:g}",
            _result(c.holds),
        ]
        for c in checks
    ]
    heads = ["source", "what", "status", "expected", "got", "digits agreed, of needed", "result"]
    return Results(f"{sentence(engine)}: expected and got", heads, rows)


def _claim(f: Finding) -> str:
    if not f.claimed:
        return "shown, nothing claimed"
    if f.claim:
        return f.claim
    if f.low is None or f.high is None:
        return f"at most {f.high:g}" if f.low is None else f"at least {f.low:g}"
    return f"{f.low:g} to {f.high:g}"


def study_grid(study: Study) -> Results:
    """Every number of a study."""
    assert study.result is not None
    rows = [
        [
            f.what,
            _claim(f),
            number(f.value, 3),
            number(f.error, 3),
            str(f.n),
            _result(f.holds) if f.claimed else "–",
        ]
        for f in study.result.findings
    ]
    heads = ["number", "claim", "found", "Monte Carlo error", "shops or fits", "result"]
    return Results(f"Study {study.name}: what was claimed and found", heads, rows, numbers=(2, 3, 4))


def page_head(checks: Sequence[Check], found: Sequence[Study]) -> PageHead:
    """Title of the page."""
    period = f"{plural(len(checks), 'outside check')}, {plural(len(found), 'study', 'studies')} by simulation"
    return PageHead("What stands behind the numbers", "Verification", period, "", False)


def parts(checks: Sequence[Check], found: Sequence[Study]) -> list[Any]:
    """The page in order."""
    out: list[Any] = [Heading("Outside checks")]
    out += [
        Prose([OUTSIDE]),
        Bullets(STATUS),
        summary_grid(checks),
    ]
    for engine in dict.fromkeys(c.engine for c in checks):
        own = [c for c in checks if c.engine == engine]
        out += [Heading(f"Engine: {engine}", engine_place(engine)), engine_grid(engine, own)]
    out += [
        Heading("Simulations"),
        Prose([SIMULATED]),
    ]
    for study in found:
        out += [Heading(f"Study: {study.name}", f"study-{study.name}"), Prose([study.question, study.when])]
        out += [study_grid(study)] if study.result else []
    contents = Contents([part for part in out if isinstance(part, Heading)])
    return [first_screen(checks, found), contents, *out]


def said(found: Sequence[Study]) -> list[str]:
    """The studies as lines of text."""
    out = []
    for study in found:
        out.append(f"{study.name}: {study.question} {study.when}")
        for f in study.result.findings if study.result else ():
            verdict = _result(f.holds) if f.claimed else "shown"
            out.append(
                f"  {verdict} | {f.what} | {f.value:.4g} (Monte Carlo error {f.error:.2g}, n = {f.n}) | {_claim(f)}"
            )
    return out


def sound(checks: Sequence[Check], found: Sequence[Study]) -> bool:
    """Whether all that was run holds."""
    return all(c.holds for c in checks) and all(claim.holds for study in found for claim in study.claims)
