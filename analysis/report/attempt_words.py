"""Another attempt after a failed boot test, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from analysis.models.intervals import Proportion
from analysis.questions.alike import FEWEST_ALIKE
from analysis.questions.another_attempt import AttemptWorth, GoOn, NextTest
from analysis.records.dictionary import BOOT_TESTS
from analysis.records.problems import plural
from analysis.report.wording import interval, number, of, percent

SELECTED = "This holds for jobs like those that were continued: the hopeless ones were given up and are not in it."

BEFORE_ANY = (
    "These are counts by the number of failed tests, not by this device's damage; the chance at intake is of boards before"
    " any test and does not hold for this one."
)


def _worth(worth: AttemptWorth, currency: str) -> str:
    if math.isnan(worth.cost):
        return "Its cost cannot be told: bench hours at the tests were not recorded."
    cost = f"Its hours cost {number(worth.cost)} {currency} (a further donor or part comes on top)"
    if math.isnan(worth.outstanding):
        return f"{cost}; without the fee it cannot be told whether they are earned."
    if worth.outstanding <= 0:
        return f"{cost}; no part of the fee hangs on success, so that money says nothing: what was promised to the client decides."
    return (
        f"{cost}, {number(worth.outstanding)} {currency} of the fee hang on success: it pays from a chance of"
        f" {percent(worth.break_even)} on."
        if worth.break_even <= 1
        else f"{cost}, more than the {number(worth.outstanding)} {currency} that hang on success."
    )


def unknown_later(test: NextTest) -> str:
    """Of how many jobs the later tests are not known; empty without any."""
    if not test.unrecorded:
        return ""
    return (
        f"Of {plural(test.unrecorded, 'more closed job')} only a failed first result is written down; what later tests"
        " brought there is not known."
    )


def change_words(test: NextTest) -> str:
    """The next test by what was changed before it; empty where nothing was tried often enough."""
    column = BOOT_TESTS["change_made"]
    told = [f"{column.text_of(code)} {of(won)}" for code, won in test.by_change if won.n >= FEWEST_ALIKE]
    if not told:
        return ""
    return (
        f"By what was changed before it: {', '.join(told)} (what was changed depends on the board: no effect of it;"
        f" under {FEWEST_ALIKE} not shown)."
    )


def attempt_dict(test: NextTest, worth: AttemptWorth) -> dict[str, Any]:
    """Another attempt as plain values, for scripts."""

    def plain(value: float) -> float | None:
        return None if math.isnan(value) else round(value, 6)

    def share(won: Proportion) -> dict[str, Any]:
        return {"x": won.x, "n": won.n, "rate": plain(won.rate), "low": plain(won.low), "high": plain(won.high)}

    return {
        "after_failed_tests": test.after,
        "advice": str(worth.advice),
        "next_booted": share(test.boots),
        "next_recovered": share(test.earns),
        "by_change": {code: share(won) for code, won in test.by_change},
        "hours": plain(test.hours),
        "hours_n": test.hours_n,
        "cost": plain(worth.cost),
        "hangs_on_success": plain(worth.outstanding),
        "break_even": plain(worth.break_even),
        "later_tests_unrecorded": test.unrecorded,
    }


def attempt_words(test: NextTest, worth: AttemptWorth, currency: str, beside: Sequence[str] = ()) -> list[str]:
    """Chance of the next test, its hours and cost, and what is recommended.

    Parameters
    ----------
    test : NextTest
    worth : AttemptWorth
    currency : str
    beside : sequence of str
        What the verdict rests on and must be told beside it.
    """
    boots = test.boots
    advice = {GoOn.GO_ON: "GO ON", GoOn.STOP: "STOP", GoOn.CANNOT_TELL: "CANNOT TELL"}[worth.advice]
    known = " whose later tests are recorded" if test.unrecorded else ""
    lines = [f"Another attempt after {plural(test.after, 'failed boot test')}: {advice}", *beside]
    if test.earns.n:
        earns = test.earns
        lines.append(
            f"Recovery at that test, what the fee hangs on: {percent(earns.rate)} ({of(earns)}; 80 % interval"
            f" {interval(earns.low, earns.high)})."
        )
    lines.append(
        f"Boot test {test.after + 1} booted {of(boots)} jobs{known}: {percent(boots.rate)} (80 % interval"
        f" {interval(boots.low, boots.high)})."
    )
    lines += [unknown_later(test)] if test.unrecorded else []
    lines += [text] if (text := change_words(test)) else []
    if test.closed:
        lines.append(f"Of {plural(test.closed, 'closed job')} that booted then, {test.recovered} were recovered.")
    if test.hours_n:
        lines.append(f"It took {number(test.hours, 1)} bench hours on average ({plural(test.hours_n, 'job')}).")
    lines += [_worth(worth, currency), SELECTED, BEFORE_ANY, "Each further heating risks the client's only copy."]
    return lines
