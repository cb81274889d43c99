"""The private page of one technician: own figures against the bench's, and nobody else's."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.questions.technicians_answers import TechnicianAnswers
from analysis.questions.technicians_editions import LEAST, OTHERS
from analysis.questions.technicians_private import OwnPart, PrivateView
from analysis.questions.verdicts import Verdict
from analysis.records.dictionary import BY_NAME
from analysis.records.problems import plural
from analysis.report.page import Caution, FirstScreen, Grid, PageHead, Prose, Statement
from analysis.report.technician_closing import FAIRNESS, PSEUDONYMS
from analysis.report.technician_words import POWER_WORDS, reach, side
from analysis.report.wording import interval, number, of, percent, points_range, rate


def private_head(answers: TechnicianAnswers, view: PrivateView) -> PageHead:
    """Title; the page says that it is private."""
    code = view.person.code
    until = f" up to {answers.up_to:%Y-%m-%d}" if answers.up_to is not None else ""
    period = f"For {code} alone; {plural(view.person.raw.n, 'own job')} with a first-boot result{until}"
    return PageHead.of(answers.log, f"First boots of {code}: private", period)


def _stands(view: PrivateView) -> Statement:
    person = view.person
    by = points_range(100 * person.difference.low, 100 * person.difference.high)
    if person.verdict is Verdict.CANNOT_TELL:
        says = "On the same boards you cannot be told from the bench's average."
    else:
        says = f"On the same boards you stand {side(person)} the bench's average ({person.verdict})."
    return Statement("On the same boards", says, f"Points from the average, 95 % interval: {by}.")


def private_screen(view: PrivateView) -> FirstScreen:
    """Own rate, own boards, where one stands, what the log could have shown."""
    person = view.person
    harder = "harder" if person.hardness < view.average else "easier"
    boards = (
        f"The bench's average would have booted {percent(person.hardness)} of your boards, and {percent(view.average)} of the"
        f" bench's own mix: yours were {harder}."
    )
    if round(100 * person.hardness) == round(100 * view.average):
        boards = f"Your boards were about as hard as the bench's: {percent(person.hardness)} of either at its average."
    could = (
        f"To be clear {POWER_WORDS}, you would have to stand {reach(view.detectable)} points from the bench's average."
        if math.isfinite(min(view.detectable.points_above, view.detectable.points_below))
        else "No difference tried would have been clear often enough in a log like this."
    )
    return FirstScreen(
        [
            _stands(view),
            Statement(
                "Your jobs", f"{of(person.raw)} booted at the first test.", f"Your raw rate: {rate(person.raw)}."
            ),
            Statement("Your boards", boards, f"The bench, all together: {rate(view.bench)}."),
            Statement("What the log could show", could),
        ]
    )


def _parts(caption: str, head: str, parts: Sequence[OwnPart], under: str) -> Grid:
    rows = [
        [
            part.name,
            of(part.booted),
            number(part.expected, 1),
            percent(part.booted.rate),
            interval(part.booted.low, part.booted.high),
        ]
        for part in parts
    ]
    heads = [head, "booted", "bench's average on these", "share", "95 % interval"]
    return Grid(caption, heads, rows, numbers=(1, 2, 3, 4), under=under)


def damage_grid(view: PrivateView) -> Grid:
    """Own jobs by damage at intake."""
    names = {choice.code: choice.text for choice in BY_NAME["jobs"]["intake_damage"].choices}
    parts = [OwnPart(names[p.name], p.booted, p.expected) for p in view.by_damage]
    under = "Few jobs in a row: look at the interval, not at the share."
    return _parts("Your jobs by damage at intake", "damage", parts, under)


def time_grid(view: PrivateView) -> Grid:
    """Own jobs in thirds by the day received."""
    told = {
        Verdict.CLEAR: "Clear: the thirds differ by more than chance on such boards.",
        Verdict.LEANING: "Leaning: the thirds seem to differ by more than chance on such boards.",
        Verdict.CANNOT_TELL: "Cannot tell the thirds apart: such boards could give that by chance.",
    }[view.thirds]
    under = (
        f"{told} In the order received, jobs of one day by code. 'Bench's average on these': what it would have booted of the"
        " very boards in the row, over the whole log; a rise or fall is yours only if the bench as a whole did not change as well, as by a bad lot."
    )
    return _parts("Your jobs in thirds", "part", view.over_time, under)


def private_methods(answers: TechnicianAnswers) -> Prose:
    """What stands behind the page."""
    return Prose(
        [
            "How boards are put side by side, and what the words mean, stands on the technicians' page of the bench"
            " ('rework compare'). Clear: the chance of lying above the average is over 97.5 % or under 2.5 %; leaning: over"
            " 90 % or under 10 %. Between thirds of your jobs: chance alone would do as much in at most 1 of 20 or 1 of 5 cases"
            " (an exact test given the boards and the total). People with fewer than"
            f" {answers.minimum} first boots are not part of the comparison.",
            f"The page counts first boots up to a certain day and moves on only when at least {OTHERS} others have added {LEAST} or"
            " more each: otherwise two editions, each less your own figures, would show what one other did in between. Your"
            " latest jobs may be missing for that.",
        ]
    )


def private_caution(view: PrivateView) -> Caution:
    """Whom the page is for."""
    closing = (
        "The bench's figures here are those of everyone together. Whoever also knows the figures of all others but one"
        " can work out that one's, and old jobs entered late show between two editions: do not pass this page on."
    )
    return Caution([f"For {view.person.code} alone, to learn from.", closing, FAIRNESS, PSEUDONYMS])
