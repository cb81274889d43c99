"""Section of the review on what changed: the short list of candidate explanations, marked exploratory."""

from __future__ import annotations

import math

from analysis.questions.period import month_name
from analysis.questions.review import Review
from analysis.questions.verdicts import Verdict
from analysis.questions.watch import PRIMARY
from analysis.questions.watching import Looked
from analysis.questions.what_changed import MINIMUM_GROUP, NOTHING, Candidate, Covered, TookOver
from analysis.records.problems import plural
from analysis.report.page import Grid, Prose
from analysis.report.watch_words import watched_words
from analysis.report.wording import listed, number, percent, sentence, span

# Measured by tests/studies/watch.py over 200 simulated shops whose bad donor lot was signalled; a slow test holds it.
STUDY = "python -m tests.studies.watch --shops 200"
TRUE_ONE_FIRST, TRUE_ONE_AMONG_THREE = 0.83, 0.98
FALSE_ALARM_EXPLAINED = 0.17  # of 48 false alarms in the same shops without the lot

SURE = {
    Verdict.CLEAR: "clear: more failures",
    Verdict.LEANING: "leaning: more failures",
    Verdict.CANNOT_TELL: "cannot tell from chance",
}


def name_of(candidate: Candidate | TookOver) -> str:
    """A candidate in words; people are not named on a page for the whole bench."""
    if candidate.column == "technician_id":
        return "one technician's jobs (not named here)"
    return f"{candidate.factor}: {candidate.level}"


def looked_words(review: Review) -> Prose:
    """What was looked into, and whether anything logged explains it."""
    looked = review.watching.looked
    if looked is None:
        return Prose([_nothing_to_look_into(review)])
    found = looked.found
    missing = found.shortfall
    lines = [
        f"{_subject(looked)}: {plural(found.jobs, 'job')} first tested from {looked.first:%Y-%m-%d} to {looked.last:%Y-%m-%d}."
        f" {number(found.observed)} booted, {number(found.expected, 1)} were to be expected from boards like these"
        + (f", so that about {number(missing)} are missing." if missing >= 0.5 else "; none is missing."),
    ]
    if found.unseen:
        lines.append(f"{plural(found.unseen, 'job')} of a kind not seen before left out.")
    if abs(found.mix) >= 0.5:
        kind = "harder" if found.mix > 0 else "easier"
        lines.append(
            f"The boards themselves were {kind} than before: that alone is worth about {number(abs(found.mix))} of"
            f" {plural(found.jobs, 'job')} and is already in the expected number."
        )
    lines.append(_verdict(looked))
    lines += [_took_over(each) for each in found.took_over]
    if found.covered is not None:
        lines.append(_covered(found.covered))
    return Prose(lines)


def _covered(found: Covered) -> str:
    """That a person's failures are another explanation's; that person is not named and not in the table."""
    return (
        f"One technician's jobs failed more often too and are not in the table: {found.shared_failures} of these"
        f" {plural(found.person.failed, 'failure')} are also those of {name_of(found.by)}; of the other"
        f" {plural(found.rest, 'job')} {found.rest_failed} failed. Who was given the boards is no cause."
    )


def _took_over(each: TookOver) -> str:
    return (
        f"{sentence(name_of(each))} took over: {each.n} of {plural(each.recorded, 'job')} with a record of it, {each.before} of"
        f" {each.recorded_before} before. {each.failed} of the {each.n} failed. As nearly all jobs of these days have it, it"
        " cannot be told apart from the days themselves; look at it as well."
    )


def _nothing_to_look_into(review: Review) -> str:
    if review.watching.charts.primary is None:
        return "Nothing is watched yet and this month is not called worse than expected, so that there is nothing to look into."
    if any(signal.odds_factor < 1 for signal in review.watching.signals):
        return (
            "First boots fell, but the jobs are of kinds that the log had not seen before: they could not be compared."
        )
    better = [f"{signal.day:%Y-%m-%d}" for signal in review.watching.signals]
    rose = f" First boots rose (alarm of {listed(better)}); only falls are looked into." if better else ""
    return (
        "No alarm of first boots falling in the twelve months, and this month is not worse than expected: there is nothing to"
        f" look into.{rose}"
    )


def _subject(looked: Looked) -> str:
    if looked.signal is None:
        together = ", together with the alarm before it" if looked.first.to_period("M") < looked.month else ""
        return f"{month_name(looked.month)} was worse than expected and was looked into{together}"
    when = "this month's alarm" if looked.now else "the latest alarm of the twelve months"
    if looked.signal.chart != PRIMARY:
        when += f" of {watched_words(looked.signal)}, at these jobs alone"
    return f"{sentence(when)} ({looked.signal.day:%Y-%m-%d}) was looked into"


def _verdict(looked: Looked) -> str:
    found = looked.found
    if not found.candidates:
        return (
            f"Nothing we log could be compared: it takes {MINIMUM_GROUP} jobs inside a group (a donor lot, an alloy, a"
            f" technician …) and {MINIMUM_GROUP} outside it among these jobs."
        )
    if not found.listed:
        return (
            f"{sentence(NOTHING)}: none of {plural(len(found.candidates), 'group')} compared did worse than the others."
        )
    if not found.explained:
        return (
            f"{sentence(NOTHING)} beyond chance, of {plural(len(found.candidates), 'group')} compared. The table shows what comes"
            " nearest."
        )
    return (
        f"Where to look first is in the table, of {plural(len(found.candidates), 'group')} compared. These are places to look,"
        " not findings: jobs were not given out by lot."
    )


def candidates_grid(review: Review) -> Grid | Prose:
    """Up to three candidate explanations."""
    looked = review.watching.looked
    if looked is None or not looked.found.listed:
        return Prose([""])
    found = looked.found
    rows = [
        [
            sentence(name_of(each)),
            SURE[each.verdict],
            f"{each.n} of {each.recorded} ({percent(each.share)})",
            _before(each),
            f"{each.failed} of {each.n}",
            _accounts(each),
        ]
        for each in found.listed
    ]
    heads = [
        "what",
        "against the others",
        "of these jobs",
        "of the jobs before",
        "failed",
        f"of about {number(found.shortfall)} missing" if found.shortfall >= 0.5 else "could account for",
    ]
    under = " ".join(
        [
            "Exploratory. Each group is compared with the other jobs of the same days that were alike at intake; the last column"
            " says how many first boots its change could account for, with its 95 % range. Groups overlap, so that the numbers"
            " do not add up.",
            *_overlap(found.listed),
            *_study(looked),
        ]
    )
    return Grid("What changed: where to look first", heads, rows, numbers=(2, 3, 4), under=under)


def _before(each: Candidate) -> str:
    if not each.recorded_before or math.isnan(each.share_before):
        return "none recorded"
    n = round(each.share_before * each.recorded_before)
    return f"{n} of {each.recorded_before} ({percent(each.share_before)})"


def _accounts(each: Candidate) -> str:
    toll = each.toll
    return f"{number(toll.lost)} ({span(toll.lost_low, toll.lost_high)})"


def _overlap(shown: tuple[Candidate, ...]) -> list[str]:
    first, others = shown[0], shown[1:]
    told = []
    for other in others:
        both = len(set(first.jobs) & set(other.jobs))
        if 2 * both >= other.n:
            told.append(f"{both} of the {other.n} in '{name_of(other)}' are also in '{name_of(first)}'")
    return [f"{sentence(listed(told))}: what the one cost may show in the other."] if told else []


def _study(looked: Looked) -> list[str]:
    if looked.signal is None:
        return []
    return [
        f"How far to trust the order: in 200 simulated shops with a bad donor lot the true explanation stood first in"
        f" {percent(TRUE_ONE_FIRST)} of the alarms and among the first three in"
        f" {percent(TRUE_ONE_AMONG_THREE)}; of false alarms, where nothing had changed, {percent(FALSE_ALARM_EXPLAINED)} were"
        f" explained all the same ({STUDY})."
    ]
