"""Another attempt after a failed boot test? Plain counts by test number, of jobs like those that were continued."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from analysis.cohort.attempts import UNRECORDED, UNRECORDED_BOOT, tests_at_risk
from analysis.cohort.outcomes import Ending
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
    by_change : tuple of (str, Proportion)
        The same chance by what was changed before the next test (code of ``change_made``), the most frequent first;
        what was changed is chosen by the board, so that these tell no effect.
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
    by_change: tuple[tuple[str, Proportion], ...] = ()
    unrecorded: int = 0

    @property
    def earns(self) -> Proportion:
        """Recovered at the next test, of the jobs that made one and whose end is known: what a fee hangs on."""
        return wilson(self.recovered, self.boots.n - (self.boots.x - self.closed), LEVEL)


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
    attempts = tests_at_risk(log)
    changes = log.tables["boot_tests"][["job_id", "test_no", "change_made"]].astype({"test_no": float})
    rows = attempts.rows[["job_id", "test_no", "success", "bench_hours_so_far"]]
    rows = rows.merge(changes, on=["job_id", "test_no"], how="left")
    ending = attempts.outcomes.set_index("job_id")["ending"]
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
                by_change=_by_change(made),
                unrecorded=unrecorded,
            )
        )
    return tuple(out)


def _by_change(made: pd.DataFrame) -> tuple[tuple[str, Proportion], ...]:
    """Successes by what was changed; tests without a word on it are left out."""
    told = made.dropna(subset=["change_made"])
    counts = told.groupby(told["change_made"].astype(str))["success"].agg(["sum", "count"])
    counts = counts.sort_values("count", ascending=False, kind="stable")
    return tuple((str(code), wilson(int(row["sum"]), int(row["count"]), LEVEL)) for code, row in counts.iterrows())


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


def worth_of(test: NextTest, offer: Offer | None, hour_cost: float) -> AttemptWorth:
    """Whether another attempt pays its own hours.

    What was spent so far is spent either way and does not count. Go on when the part of the fee that hangs on success,
    times the chance of recovery at the next test, exceeds the cost of the attempt at every chance within the interval;
    stop when at none.

    Parameters
    ----------
    test : NextTest
    offer : Offer or None
    hour_cost : float
        Cost of a bench hour; a further donor or part is not in it.
    """
    cost = test.hours * hour_cost
    outstanding = float("nan") if offer is None else offer.fee - offer.kept
    chance = cost / outstanding if outstanding > 0 else float("nan")
    # Where nothing hangs on success, money alone says "stop" for ever: what was promised to the client decides.
    if test.earns.n < FEWEST_ALIKE or np.isnan(cost) or not outstanding > 0:
        return AttemptWorth(GoOn.CANNOT_TELL, cost, outstanding, chance)
    if test.earns.low * outstanding > cost:
        return AttemptWorth(GoOn.GO_ON, cost, outstanding, chance)
    advice = GoOn.STOP if test.earns.high * outstanding < cost else GoOn.CANNOT_TELL
    return AttemptWorth(advice, cost, outstanding, chance)
