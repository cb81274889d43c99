"""Verdict words; they mean the same on every page."""

from __future__ import annotations

from enum import StrEnum


class Verdict(StrEnum):
    """How sure a difference is.

    An effect is "clear" when its 95 % interval, adjusted for the number of comparisons made, leaves out no effect;
    "leaning" when its 80 % interval does; else "cannot tell".
    """

    CLEAR = "clear"
    LEANING = "leaning"
    CANNOT_TELL = "cannot tell"


def verdict_of(adjusted_p: float) -> Verdict:
    """Verdict from a two-sided P already adjusted for the number of comparisons (95 and 80 % intervals)."""
    if adjusted_p <= 0.05:
        return Verdict.CLEAR
    if adjusted_p <= 0.20:
        return Verdict.LEANING
    return Verdict.CANNOT_TELL


def at_most_leaning(verdict: Verdict) -> Verdict:
    """The verdict of something that rests on records of doubtful worth: never clear."""
    return Verdict.LEANING if verdict is Verdict.CLEAR else verdict


def verdict_of_chance(above: float) -> Verdict:
    """Verdict on a person from the posterior chance of lying above the mean: over .975 or .90 on either tail."""
    surer = max(above, 1 - above)
    if surer > 0.975:
        return Verdict.CLEAR
    if surer > 0.90:
        return Verdict.LEANING
    return Verdict.CANNOT_TELL
