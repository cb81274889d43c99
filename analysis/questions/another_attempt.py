"""Another attempt after a failed boot test? Plain counts by test number, of jobs like those that were continued."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from analysis.cohort.attempts import UNRECORDED, UNRECORDED_BOOT, Attempts, build_attempts
from analysis.cohort.outcomes import Ending, job_outcomes
from analysis.errors import ReworkError
from analysis.models.intervals import Proportion, wilson
from analysis.models.offer_value import Offer
from analysis.questions.alike import FEWEST_ALIKE
from analysis.questions.offer_rows import CLOSED_ENDINGS
from analysis.records.log import Log

LEVEL = 0.8
LAST = 6  # tests told of one by one


class GoOn(StrEnum):
    """What is recommended after a failed test."""

    GO_ON = "go on"
    STOP = "stop"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class NextTest:
    """What the next boot test brought to jobs that were continued after so many failed ones.

    Parameters
    ----------
    after : int
        Failed tests so far.
    failed : int
        Jobs whose test ``after`` failed, all before it as well.
    boots : Proportion
        First success at the next test, of the jobs that made one; 80 % Wilson interval.
    recovered, closed : int
        Of the jobs that booted then: how many are closed, and how many of these were recovered.
    hours : float
        Mean bench hours between the two tests; NaN where never recorded.
    hours_n : int
        Jobs the mean is of.
    unrecorded : int
        Closed jobs of which only a failed first result is written down: their later tests are in no number here.
    """

    after: int
    failed: int
    boots: Proportion
    recovered: int
    closed: int
    hours: float
    hours_n: int
    unrecorded: int = 0


@dataclass(frozen=True)
class AttemptWorth:
    """Whether another attempt pays.

    Parameters
    ----------
    advice : GoOn
    cost : float
        Of the bench hours of another attempt; NaN where unknown.
    outstanding : float
        What of the fee hangs on success; NaN where unknown.
    break_even : float
        Chance at which the attempt pays its own hours; NaN where none does.
    """

    advice: GoOn
    cost: float
    outstanding: float
    break_even: float


def next_tests(log: Log) -> tuple[NextTest, ...]:
    """One row for each number of failed tests after which a job was continued."""
    return tests_after(build_attempts(log), job_outcomes(log))


def tests_after(attempts: Attempts, outcomes: pd.DataFrame) -> tuple[NextTest, ...]:
    """The same, from rows at hand."""
    rows = attempts.rows[["job_id", "test_no", "success", "bench_hours_so_far"]]
    ending = outcomes.set_index("job_id")["ending"]
    before = rows.assign(test_no=rows["test_no"] + 1).set_index(["job_id", "test_no"])["bench_hours_so_far"]
    unrecorded = int(attempts.rows["then"].isin([UNRECORDED, UNRECORDED_BOOT]).sum())
    out = []
    for after in range(1, LAST):
        made = rows[rows["test_no"].eq(after + 1)]
        if not len(made):
            break
        failed = rows["test_no"].eq(after) & rows["success"].eq(0)
        won = made[made["success"].eq(1)]
        ended = won["job_id"].map(ending)
        keys = pd.MultiIndex.from_frame(made[["job_id", "test_no"]])
        took = made["bench_hours_so_far"].to_numpy(float) - before.reindex(keys).to_numpy(float)
        took = took[~np.isnan(took)]
        out.append(
            NextTest(
                after=after,
                failed=int(failed.sum()),
                boots=wilson(len(won), len(made), LEVEL),
                recovered=int(ended.eq(Ending.RECOVERED).sum()),
                closed=int(ended.isin(CLOSED_ENDINGS).sum()),
                hours=float(took.mean()) if len(took) else float("nan"),
                hours_n=len(took),
                unrecorded=unrecorded,
            )
        )
    return tuple(out)


def after_test(tests: tuple[NextTest, ...], after: int) -> NextTest:
    """The row of one number of failed tests.

    Raises
    ------
    ReworkError
        If no job was ever continued after so many.
    """
    found = next((each for each in tests if each.after == after), None)
    if found is None:
        told = f"No job of the log was continued after {after} failed boot test{'s' if after != 1 else ''}."
        raise ReworkError(told, rule="What another attempt brings is told from jobs that were continued.")
    return found


def worth_of(test: NextTest, offer: Offer | None, hour_cost: float, extra_cost: float = 0.0) -> AttemptWorth:
    """Whether another attempt pays its own hours.

    What was spent so far is spent either way and does not count. Go on when the part of the fee that hangs on success,
    times the chance, exceeds the cost of the attempt at every chance within the interval; stop when at none.

    Parameters
    ----------
    test : NextTest
    offer : Offer or None
    hour_cost : float
        Cost of a bench hour.
    extra_cost : float
        For example of another donor.
    """
    cost = test.hours * hour_cost + extra_cost
    outstanding = float("nan") if offer is None else offer.fee - offer.kept
    chance = cost / outstanding if outstanding > 0 else float("nan")
    # Where nothing hangs on success, money alone says "stop" for ever: what was promised to the client decides.
    if test.boots.n < FEWEST_ALIKE or np.isnan(cost) or not outstanding > 0:
        return AttemptWorth(GoOn.CANNOT_TELL, cost, outstanding, chance)
    if test.boots.low * outstanding > cost:
        return AttemptWorth(GoOn.GO_ON, cost, outstanding, chance)
    advice = GoOn.STOP if test.boots.high * outstanding < cost else GoOn.CANNOT_TELL
    return AttemptWorth(advice, cost, outstanding, chance)
