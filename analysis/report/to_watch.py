"""What the review says is to be watched until the next one, and what became of what the last one said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis.questions.causes import NOT_WRITTEN
from analysis.questions.expected import MonthExpected
from analysis.questions.factors import BY_COLUMN, PERSON, group_in, level_of
from analysis.questions.period import month_name
from analysis.questions.review import Review
from analysis.questions.review_summary import Watched
from analysis.questions.verdicts import Verdict
from analysis.questions.watch import Signal
from analysis.questions.watching import Looked
from analysis.questions.what_changed import Candidate
from analysis.records.dictionary import JOBS
from analysis.records.problems import plural
from analysis.report.watch_words import watched_words
from analysis.report.wording import listed, number, sentence

UNWRITTEN = "unwritten"  # causes left blank


@dataclass(frozen=True)
class Now:
    """Where a watched thing stands: in words with n, as a number (None without one), and the jobs behind it."""

    words: str
    value: float | None
    n: int


def to_watch(review: Review) -> tuple[Watched, ...]:
    """At most three things, the most pressing first; the first one stands on the first screen."""
    keys = [*_alarms(review), *_measures(review), *_month(review), *_better(review), *_pads(review), *_causes(review)]
    picked = list(dict.fromkeys(keys))[:3]
    out = []
    for key in picked:
        now = stands(review, key)
        out.append(Watched(key, _said(review, key), now.words, now.value, now.n))
    return tuple(out)


def suspect(review: Review) -> Candidate | None:
    """The explanation to look at first: of this month's alarm or bad month, beyond chance, and nobody in person."""
    looked = review.watching.looked
    if looked is None or not looked.now:
        return None
    # What is only leaning and was as common before is a place for the table, not for the first screen.
    sure = [
        each
        for each in looked.found.listed
        if each.verdict is Verdict.CLEAR or (each.verdict is Verdict.LEANING and each.became_commoner)
    ]
    return next((each for each in sure if each.column != PERSON), None)


def _alarms(review: Review) -> list[str]:
    found = suspect(review)
    if found is not None:
        return [f"group {found.column} {found.code}"]
    return ["first_boot"] if alarms_now(review, worse=True) else []


def alarms_now(review: Review, *, worse: bool) -> list[Signal]:
    """Alarms of the month reviewed: of first boots falling, or of first boots rising."""
    return [s for s in review.watching.signals if s.day >= review.month.start_time and (s.odds_factor < 1) == worse]


def _better(review: Review) -> list[str]:
    return ["first_boot"] if alarms_now(review, worse=False) else []


def _measures(review: Review) -> list[str]:
    return [f"measure {chart.measure.column}" for chart in review.watching.measures if chart.months[-1].outside]


def _month(review: Review) -> list[str]:
    now = review.now
    bad = isinstance(now, MonthExpected) and now.verdict is not Verdict.CANNOT_TELL and now.direction == "fewer"
    return ["first_boot"] if bad else []


def _pads(review: Review) -> list[str]:
    pads = review.pads
    most = pads.steps[:2]
    # "Most" must be true, and not of a few.
    told = pads.with_loss >= 10 and 2 * sum(n for _, n in most) > pads.with_loss
    return ["pads"] if told else []


def _causes(review: Review) -> list[str]:
    year = review.causes_year
    # A cause looked for and not found is written down: only blanks are asked for.
    unwritten = year.n >= 5 and _unwritten(review) * 3 >= year.n
    biggest = year.biggest
    named = [f"cause {biggest.code}"] if biggest is not None and biggest.n >= 3 else []
    return ([UNWRITTEN] if unwritten else []) + named


def stands(review: Review, key: str) -> Now:
    """Where something stands in this review.

    Parameters
    ----------
    review : Review
    key : str
        As in :attr:`analysis.questions.review_summary.Watched.key`; an unknown one is told as such.
    """
    kind, _, rest = key.partition(" ")
    ways: dict[str, Callable[[Review, str], Now]] = {
        "first_boot": _first_boot_now,
        "group": _group_now,
        "measure": _measure_now,
        "pads": _pads_now,
        "cause": _cause_now,
        UNWRITTEN: _unwritten_now,
    }
    return ways[kind](review, rest) if kind in ways else Now("this version does not know it", None, 0)


def _first_boot_now(review: Review, _: str) -> Now:
    now = review.now
    if not isinstance(now, MonthExpected) or not now.n:
        return Now(f"no expected number for {month_name(review.month)}", None, 0)
    words = f"{now.observed} of {now.n} booted in {month_name(review.month)}, {number(now.expected, 1)} expected: {now.verdict}"
    if now.verdict is not Verdict.CANNOT_TELL:
        words += f", {now.direction} than expected"
    return Now(words, now.observed - now.expected, now.n)


def _group_now(review: Review, rest: str) -> Now:
    column, _, code = rest.partition(" ")
    if column not in BY_COLUMN:
        return Now("this version does not know it", None, 0)
    rows = group_in(review.log, review.cohort, review.month, column, code)
    tested = int(review.cohort.first_boots["first_boot_month"].eq(review.month).sum())
    failed, n = int(rows["first_boot"].eq(0).sum()), len(rows)
    month = month_name(review.month)
    if not n:
        return Now(f"none of {plural(tested, 'job')} first tested in {month}", None, 0)
    return Now(f"{n} of {plural(tested, 'job')} first tested in {month}; {failed} of the {n} failed", failed / n, n)


def _measure_now(review: Review, column: str) -> Now:
    chart = next((each for each in review.watching.measures if each.measure.column == column), None)
    if chart is None or not chart.months[-1].n:
        return Now(f"not recorded in {month_name(review.month)}", None, 0)
    month = chart.months[-1]
    usual = "" if month.limits is None else ", outside its usual range" if month.outside else ", within its usual range"
    words = f"mean {number(month.mean, 2)} of {plural(month.n, 'job')} in {month_name(review.month)}{usual}"
    return Now(words, month.mean, month.n)


def _pads_now(review: Review, _: str) -> Now:
    pads = review.pads
    steps = " and ".join(f"{n} in {name}" for name, n in pads.steps[:2])
    words = f"{pads.with_loss} of {plural(pads.sides, 'side')} seen in twelve months lost pads on the bench"
    words += f", {steps}" if steps else ""
    return Now(words, pads.with_loss / pads.sides if pads.sides else None, pads.sides)


def _cause_now(review: Review, code: str) -> Now:
    month = review.causes_month
    n = next((row.n for row in month.rows if row.code == code), 0)
    if not month.n:
        return Now(f"no failure closed in {month_name(review.month)}", None, 0)
    words = f"{n} of {plural(month.n, 'failure')} closed in {month_name(review.month)}"
    return Now(words, n / month.n, month.n)


def _unwritten(review: Review) -> int:
    return next((row.n for row in review.causes_year.rows if row.code == NOT_WRITTEN), 0)


def _unwritten_now(review: Review, _: str) -> Now:
    n, blank = review.causes_year.n, _unwritten(review)
    return Now(f"{blank} of {plural(n, 'failure')} in twelve months with no cause written", blank / n if n else None, n)


def _said(review: Review, key: str) -> str:
    """The sentence that goes with a key."""
    kind, _, rest = key.partition(" ")
    if kind == "group":
        column, _, code = rest.partition(" ")
        found = suspect(review)
        its = "its jobs"
        if found is not None and (found.column, found.code) == (column, code):
            its = f"{found.failed} of its {plural(found.n, 'job')}"
        leaning = " (leaning)" if found is not None and found.verdict is Verdict.LEANING else ""
        what = f"{BY_COLUMN[column].name} '{level_of(BY_COLUMN[column], code)}'"
        return f"Look first at {what}: {its} failed, more often than the others{leaning}."
    if kind == "measure":
        name = next(chart.measure.name for chart in review.watching.measures if chart.measure.column == rest)
        return f"Watch {name}: outside its usual range this month."
    if kind == "pads":
        steps = " and ".join(f"{name} ({n})" for name, n in review.pads.steps[:2])
        return f"Watch pads: most sides that lose some on the bench lose them in {steps}."
    if kind == "cause":
        year = review.causes_year
        n = next((row.n for row in year.rows if row.code == rest), 0)
        cause = sentence(JOBS["failure_cause"].text_of(rest))
        tied = [row.label for row in year.known if row.n == n and row.code != rest]
        if tied:
            causes = listed([cause, *tied])
            return (
                f"{causes}: the most frequent known causes, {n} each of {plural(year.n, 'failure')} in twelve months."
            )
        return f"{cause}: the most frequent known cause, {n} of {plural(year.n, 'failure')} in twelve months."
    if kind == UNWRITTEN:
        blank = f"{_unwritten(review)} of {plural(review.causes_year.n, 'failure')}"
        return f"Write down causes: {blank} in twelve months have none. Where none was found, write 'not found'."
    return _first_boot_said(review)


def _first_boot_said(review: Review) -> str:
    if suspect(review) is not None:
        return "Watch whether first boots come back to what is to be expected."
    looked = review.watching.looked
    fell = f"{_fallen(review)} fell"
    if looked is not None and looked.now and looked.found.explained:
        # Only a person is left, not named on a page for the whole bench, or what is leaning and no commoner than before.
        return f"{sentence(fell)}, and the table of what changed below names a group to look at first."
    if alarms_now(review, worse=True):
        return f"Look at what changed on the bench (donor lot, alloy, settings): {fell}{_unexplained(looked)}."
    return _month_said(review)


def _fallen(review: Review) -> str:
    """What fell: all first boots, or those of the class whose watch alone gave the alarm."""
    looked = review.watching.looked
    alarms = [looked.signal] if looked and looked.now and looked.signal else alarms_now(review, worse=True)
    return watched_words(alarms[0]) if alarms else "first boots"


def _unexplained(looked: Looked | None) -> str:
    """That nothing logged explains a fall: said only where something logged was compared."""
    if looked is None or not looked.now or not looked.found.candidates:
        return ""
    return ", and nothing logged explains it beyond chance"


def _month_said(review: Review) -> str:
    now = review.now
    if alarms_now(review, worse=False) and not _month(review):
        day = alarms_now(review, worse=False)[0].day
        return (
            f"First boots got better than expected (alarm of {day:%Y-%m-%d}): find out what changed on the bench, so that it"
            " stays."
        )
    if isinstance(now, MonthExpected) and now.verdict is Verdict.CLEAR:
        return "Look at what changed on the bench (donor lot, alloy, settings): the recorded intake facts do not explain this month."
    return "Watch first boots: if next month again brings fewer than expected, look at what changed on the bench."
