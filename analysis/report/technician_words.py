"""Sentences of the technicians' pages."""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.questions.technicians import Person, Technicians
from analysis.questions.technicians_alone import Alone
from analysis.questions.technicians_rows import NotComparable
from analysis.questions.technicians_twin import Detectable, TechnicianTwin
from analysis.questions.twin import Share
from analysis.questions.verdicts import Verdict
from analysis.report.first_screen import few_words
from analysis.report.wording import listed, of, percent, points, span

POWER_WORDS = "in 80 of 100 such logs"


def side(person: Person) -> str:
    """Which side of the bench's average a person stands on."""
    return "above" if person.above > 0.5 else "below"


def alone_words(alone: Alone) -> str:
    """Why these technicians cannot be compared with the others: the boards nobody else has."""
    who, have = listed(list(alone.codes)), "have" if len(alone.codes) > 1 else "has"
    if not alone.fact:
        return f"The facts of the boards of {who}, taken together, are those of no other technician's boards: person and board cannot be told apart."
    kinds = listed(list(alone.kinds)).replace(" and ", " or ") if len(alone.kinds) > 1 else alone.kinds[0]
    return (
        f"{who} alone {have} boards with {alone.fact} '{kinds}', and no others: person and board cannot be told apart."
    )


def all_alone_words(found: Sequence[Alone]) -> str:
    """Who is not compared for that reason, and what would mend it; empty when nobody."""
    if not found:
        return ""
    codes = [code for alone in found for code in alone.codes]
    said = " ".join(alone_words(alone) for alone in found)
    return (
        f"{said} {listed(codes)} {'are' if len(codes) > 1 else 'is'} not compared. Deal such boards to others as well."
    )


_WHOM = {1: ("another",), 2: ("one", "another")}


def not_compared_words(found: NotComparable, minimum: int) -> str:
    """Why technicians are not compared."""
    if found.people < 2:
        who = "No technician has" if not found.people else "Only one technician has"
        needed = " and ".join(
            f"{n} of {whom}" for n, whom in zip(found.lacking, _WHOM[len(found.lacking)], strict=True)
        )
        return (
            f"Technicians are not compared: {who.lower()} {minimum} first boots in this log, and it takes two people who have:"
            f" still lacking are {needed}."
        )
    if found.too_few is None:
        return f"Technicians are not compared: no two have had boards of one kind. {' '.join(map(alone_words, found.alone))}"
    return "Technicians are not compared. " + few_words(found.too_few, "putting easy and hard boards side by side")


def _named(people: tuple[Person, ...]) -> str:
    return listed([f"{person.code} {side(person)} the bench's average" for person in people])


def told_apart(found: Technicians) -> str:
    """The first sentence: whether they can be told apart at all."""
    clear, leaning = found.marked(Verdict.CLEAR), found.marked(Verdict.LEANING)
    n = len(found.people)
    if clear:
        rest = f"; leaning: {_named(leaning)}" if leaning else ""
        others = n - len(clear) - len(leaning)
        last = f" Nothing can be told of the other {others}." if others else ""
        return f"Told apart by this log: {_named(clear)} (clear){rest}.{last}"
    if leaning:
        return (
            f"They can hardly be told apart: of {n} technicians none is clear, {_named(leaning)} (leaning). Of the"
            " others nothing can be told."
        )
    return f"They cannot be told apart: of {n} technicians none stands clear of the bench's average on the same boards."


def seldom(share: Share) -> str:
    """A share of simulated shops in words, with its Monte Carlo error."""
    return f"{100 * share.rate:.0f} of 100 (simulated {share.n} times; ± {100 * share.error:.0f})"


def reach(detectable: Detectable) -> str:
    """Smallest distance that would have been clear, above and below, in percentage points."""
    ends = (detectable.points_above, -detectable.points_below)
    return " or ".join(points(end) for end in ends if math.isfinite(end)) or "none tried"


def reach_of_all(twin: TechnicianTwin) -> str:
    """The same over all people: from the easiest to tell to the hardest."""
    above = [d.points_above for d in twin.detectable if math.isfinite(d.points_above)]
    below = [d.points_below for d in twin.detectable if math.isfinite(d.points_below)]
    if not above and not below:
        return "Even a technician very far from the average would seldom have been clear in a log like this."
    sides = [f"{_range(ends)} points {name}" for ends, name in ((above, "above"), (below, "below")) if ends]
    return f"To be clear {POWER_WORDS}, a technician would have to stand {' or '.join(sides)} the bench's average."


def _range(values: list[float]) -> str:
    low, high = round(min(values)), round(max(values))
    return str(low) if low == high else span(low, high)


def smallest_note(twin: TechnicianTwin, found: Technicians) -> str:
    """Whether the log could show the smallest difference worth acting on."""
    worth = 100 * found.smallest
    if all(max(d.points_above, d.points_below) <= worth for d in twin.detectable):
        return f"The smallest difference worth acting on ({worth:g} points) lies within what this log can show."
    return f"The smallest difference worth acting on is {worth:g} points: this log is too small to show it reliably."


def mix_words(found: Technicians) -> str:
    """Lowest and highest rate, as counted and on the same boards; one rate where they do not differ."""
    raw = sorted((person.raw for person in found.people), key=lambda p: p.rate)
    same = sorted(person.adjusted.mean for person in found.people)
    least, most = (f"{percent(p.rate)} ({of(p)} first boots)" for p in (raw[0], raw[-1]))
    alike = percent(raw[0].rate) == percent(raw[-1].rate)
    jobs = sum(p.n for p in raw)
    counted = (
        f"Raw rates are all {percent(raw[0].rate)} (n = {jobs})"
        if alike
        else f"Raw rates lie between {least} and {most}"
    )
    if percent(same[0]) == percent(same[-1]):
        return f"{counted}; on the same boards all are at {percent(same[0])}."
    return f"{counted}; on the same boards, between {percent(same[0])} and {percent(same[-1])}."


def boards_words(found: Technicians) -> str:
    """What the bench's average would have made of the hardest and the easiest set of boards."""
    boards = sorted(person.hardness for person in found.people)
    low, high = percent(boards[0]), percent(boards[-1])
    if low == high:
        return f"The bench's average would have booted {low} of each set of boards."
    return f"The bench's average would have booted {low} of the hardest set of boards and {high} of the easiest."
