"""What became of a sample of mutants: counts, score with its interval, survivors, and the file it is kept in."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tests.health.mutants import Mutant

HERE = Path(__file__).resolve().parent
RESULTS = HERE / "results"
KINDS = ("killed", "timed out", "survived", "not covered")
NOTICED = ("killed", "timed out")


@dataclass(frozen=True)
class Outcome:
    """What became of one mutant.

    Parameters
    ----------
    mutant : Mutant
        The change.
    before, after : str
        The lines that differ.
    kind : str
        One of ``KINDS``.
    by : str
        The test that failed, if one did.
    tried, covering : int
        Tests run on it, and all that may notice it; fewer were tried where time ran out.
    """

    mutant: Mutant
    before: str
    after: str
    kind: str
    by: str
    tried: int
    covering: int

    @property
    def change(self) -> tuple[str, str, str]:
        """File and change, which stay when lines move."""
        return self.mutant.file, self.before, self.after


def declared(path: Path = HERE / "equivalents.toml") -> dict[tuple[str, str, str], str]:
    """Changes declared to make no difference, with the reason of each."""
    entries = tomllib.loads(path.read_text(encoding="utf-8")).get("mutant", []) if path.exists() else []
    return {(each["file"], each["before"].strip(), each["after"].strip()): each["reason"] for each in entries}


def summary(outcomes: Sequence[Outcome], equivalents: dict[tuple[str, str, str], str]) -> dict[str, Any]:
    """Counts of a sample and the share noticed with its 95 % Wilson interval, with and without declared equivalents.

    A change declared equivalent that a test noticed all the same is counted as noticed and named under ``refuted``.
    """
    from analysis.models.intervals import wilson

    counts = Counter(each.kind for each in outcomes)
    noticed = sum(counts[kind] for kind in NOTICED)
    same = [each for each in outcomes if each.change in equivalents]
    idle = [each for each in same if each.kind not in NOTICED]

    def score(n: int) -> dict[str, float | int]:
        share = wilson(noticed, n)
        return {"noticed": noticed, "n": n, "score": share.rate, "low": share.low, "high": share.high}

    return {
        "counts": {kind: counts[kind] for kind in KINDS},
        "declared_equivalent": len(idle),
        "refuted": ["\n".join(each.change) for each in same if each.kind in NOTICED],
        "score_of_all": score(len(outcomes)),
        "score_without_equivalents": score(len(outcomes) - len(idle)),
        "cut_short": sum(each.kind == "survived" and each.tried < each.covering for each in outcomes),
    }


def told(outcomes: Sequence[Outcome], equivalents: dict[tuple[str, str, str], str]) -> str:
    """The sample in words: counts, scores, by operator, and every mutant that no test noticed."""
    found = summary(outcomes, equivalents)
    lines = [", ".join(f"{count} {kind}" for kind, count in found["counts"].items())]
    for name in ("score_of_all", "score_without_equivalents"):
        one = found[name]
        told_of = f"{100 * one['score']:.1f} % (95 % {100 * one['low']:.1f} to {100 * one['high']:.1f})"
        lines.append(f"{name.replace('_', ' ')}: {one['noticed']} of {one['n']} noticed, {told_of}")
    lines.append(
        f"declared equivalent: {found['declared_equivalent']}; survivors not tried on every test: {found['cut_short']}"
    )
    lines += [f"DECLARED EQUIVALENT, YET NOTICED: {each}" for each in found["refuted"]]
    total = Counter(each.mutant.operator for each in outcomes)
    missed = Counter(each.mutant.operator for each in outcomes if each.kind not in NOTICED)
    lines += [f"  {name}: {missed[name]} of {n} not noticed" for name, n in total.most_common()]
    for each in outcomes:
        if each.kind not in NOTICED:
            why = f" (declared equivalent: {equivalents[each.change]})" if each.change in equivalents else ""
            lines += [
                "",
                f"{each.mutant.file}:{each.mutant.line} {each.kind}, {each.tried} of {each.covering} tests{why}",
            ]
            lines += [f"  - {line}" for line in each.before.split("\n")] + [
                f"  + {line}" for line in each.after.split("\n")
            ]
    return "\n".join(lines)


def keep(name: str, content: dict[str, Any]) -> Path:
    """Write a result with its day."""
    RESULTS.mkdir(exist_ok=True)
    path = RESULTS / f"{name}.json"
    text = json.dumps({"run_on": dt.date.today().isoformat()} | content, indent=1, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")
    return path


def as_rows(outcomes: Sequence[Outcome]) -> list[dict[str, Any]]:
    """Outcomes as a file keeps them."""
    return [asdict(each) for each in outcomes]


def from_rows(rows: Sequence[dict[str, Any]]) -> list[Outcome]:
    """Outcomes out of a file."""
    return [Outcome(**(row | {"mutant": Mutant(**row["mutant"])})) for row in rows]
