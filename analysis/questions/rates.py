"""Plain rates with their interval and n: by period, by damage class, by month received."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.outcomes import Ending
from analysis.models.incidence import cumulative_incidence
from analysis.models.intervals import Proportion, wilson
from analysis.models.timed import timed
from analysis.records.dictionary import JOBS

TRAILING_MONTHS = 12


@dataclass(frozen=True)
class Rate:
    """A rate of one group, with the words that name the group."""

    label: str
    proportion: Proportion


def trailing(month: pd.Period, months: int = TRAILING_MONTHS) -> tuple[pd.Period, pd.Period]:
    """First and last of the months that end with ``month``."""
    return month - (months - 1), month


def in_months(frame: pd.DataFrame, column: str, months: tuple[pd.Period, pd.Period]) -> pd.DataFrame:
    """Rows whose month lies in the range, ends included."""
    return frame[frame[column].ge(months[0]) & frame[column].le(months[1])]


def first_boot_rate(label: str, rows: pd.DataFrame) -> Rate:
    """First-boot successes of n among rows with a first-boot result."""
    known = rows["first_boot"].dropna()
    return Rate(label, wilson(int(known.sum()), len(known)))


def first_boot_rates(cohort: Cohort, month: pd.Period) -> tuple[Rate, ...]:
    """First-boot rate of the month, of the twelve months ending with it, and of the whole log up to it."""
    rows = cohort.first_boots
    start, _ = trailing(month)
    return (
        first_boot_rate("this month", rows[rows["first_boot_month"].eq(month)]),
        first_boot_rate("twelve months", in_months(rows, "first_boot_month", (start, month))),
        first_boot_rate("whole log so far", rows[rows["first_boot_month"].le(month)]),
    )


def first_boot_by_damage(cohort: Cohort, months: tuple[pd.Period, pd.Period]) -> tuple[Rate, ...]:
    """First-boot rate by damage class, in dictionary order; classes without a job are left out."""
    rows = in_months(cohort.first_boots, "first_boot_month", months)
    column = JOBS["intake_damage"]
    groups = [(column.text_of(code), rows[rows["intake_damage"].eq(code)]) for code in column.codes]
    return tuple(first_boot_rate(label, group) for label, group in groups if len(group))


@dataclass(frozen=True)
class RecoveryRate:
    """Recovered of accepted closed jobs, by the fixed definition.

    Parameters
    ----------
    with_stopped, without_stopped : Proportion
        The rate among all accepted closed jobs, and without those stopped by the client.
    partial, locked, stopped, open : int
        Jobs that are printed apart.
    """

    with_stopped: Proportion
    without_stopped: Proportion
    partial: int
    locked: int
    stopped: int
    open: int


def recovery_rate(jobs: pd.DataFrame) -> RecoveryRate:
    """Count endings among accepted jobs (one row a chain)."""
    counts = jobs["ending"].value_counts()
    count = {ending: int(counts.get(str(ending), 0)) for ending in Ending}
    recovered, stopped = count[Ending.RECOVERED], count[Ending.STOPPED]
    closed = recovered + stopped + count[Ending.NOT_RECOVERED] + count[Ending.PARTIAL] + count[Ending.LOCKED]
    return RecoveryRate(
        wilson(recovered, closed),
        wilson(recovered, closed - stopped),
        count[Ending.PARTIAL],
        count[Ending.LOCKED],
        stopped,
        count[Ending.OPEN],
    )


@dataclass(frozen=True)
class ReceivedMonth:
    """Recovery among the jobs received in one month.

    Parameters
    ----------
    month : Period
        Month received.
    accepted, closed : int
        Accepted jobs, and how many of them are closed.
    rate : Proportion or None
        Recovered of closed; None while less than the required share of the month is closed.
    estimate : tuple of float or None
        Until then: day, share recovered by that day with open jobs censored, and its interval.
    """

    month: pd.Period
    accepted: int
    closed: int
    rate: Proportion | None
    estimate: tuple[float, float, float, float] | None = None


def recovery_by_month_received(
    cohort: Cohort, month: pd.Period, complete_share: float, as_of: pd.Timestamp
) -> tuple[ReceivedMonth, ...]:
    """Recovery by month received over the trailing year.

    A month is shown only once ``complete_share`` of its jobs are closed: "closed this month" would select the
    quick successes.
    """
    apart = [Ending.NOT_ACCEPTED, Ending.REPEAT]
    rows = cohort.jobs[~cohort.jobs["ending"].isin(apart)]
    out = []
    timed_rows = days_to_recovery(cohort, as_of)
    for each in pd.period_range(*trailing(month), freq="M"):
        mine = rows[rows["received_month"].eq(each)]
        closed = int(mine["ending"].ne(Ending.OPEN).sum())
        ready = len(mine) > 0 and closed >= complete_share * len(mine) - 1e-9
        if ready:
            out.append(ReceivedMonth(each, len(mine), closed, recovery_rate(mine).with_stopped))
        else:
            own = timed_rows[timed_rows["received_month"].eq(each)]
            out.append(ReceivedMonth(each, len(mine), closed, None, _so_far(own)))
    return tuple(out)


def _so_far(rows: pd.DataFrame) -> tuple[float, float, float, float] | None:
    """Share recovered by the last day on which three jobs were still followed.

    Told as well where it is 0: a month of failures alone is no month of which nothing is known.
    """
    if len(rows) < 5 or not rows["event"].gt(0).any():
        return None
    curve = cumulative_incidence(timed(rows["days"], rows["event"]), minimum=3)
    return (curve.stop, *curve.at(curve.stop))


def days_to_recovery(cohort: Cohort, as_of: pd.Timestamp) -> pd.DataFrame:
    """Days from receipt to closing, with the competing end, for accepted jobs.

    Returns
    -------
    DataFrame
        ``received_month``, ``days``, ``event`` (0 open at ``as_of``, 1 recovered, 2 closed otherwise).
    """
    apart = [Ending.NOT_ACCEPTED, Ending.REPEAT]
    rows = cohort.jobs[~cohort.jobs["ending"].isin(apart)]
    is_open = rows["ending"].eq(Ending.OPEN)
    end = rows["ended_date"].where(~is_open, as_of)
    days = (end - rows["received_date"]).dt.days
    event = np.select([is_open, rows["ending"].eq(Ending.RECOVERED)], [0, 1], default=2)
    out = pd.DataFrame({"received_month": rows["received_month"], "days": days, "event": event})
    return out[out["days"].notna() & out["days"].ge(0)].reset_index(drop=True)
