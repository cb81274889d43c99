"""Recovery by month received against what its jobs should have given, once nearly all of the month is closed.

A month counts from the day on which it has ended and the required share of its accepted jobs is closed; only jobs
closed by then count. A month on the chart does not stay as it was judged where one of its boards comes back: a chain
ends as its last job ends, after that day, and is then left out of the month. "Closed this month" would select the
quick successes. The expected chance comes from a model of recovery on intake facts, frozen like the one of first boots.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.ledger import start_ledger
from analysis.cohort.outcomes import Ending
from analysis.models import poisson_binomial
from analysis.models.design import TooFew
from analysis.questions.expected import ExpectedModel, fit_expected


@dataclass(frozen=True)
class RecoveryMonth:
    """Recovery of the jobs received in one month.

    Parameters
    ----------
    month : Period
        Month received.
    counted : Timestamp
        Day on which enough of it was closed.
    accepted, closed, n : int
        Accepted jobs, those closed by then, and among these the ones with an expected chance.
    recovered : int
        Recovered among the ``n``.
    expected : float
        Sum of their chances, the model's uncertainty included.
    low, high : int
        Exact limits, the model's uncertainty included.
    rate : float
        Chance of a month outside without a cause.
    """

    month: pd.Period
    counted: pd.Timestamp
    accepted: int
    closed: int
    n: int
    recovered: int
    expected: float
    low: int
    high: int
    rate: float

    @property
    def outside(self) -> bool:
        """Whether the month lies beyond its limits."""
        return not self.low <= self.recovered <= self.high


def recovery_watch(
    cohort: Cohort, month: pd.Period, complete_share: float, each_rate: float
) -> tuple[RecoveryMonth, ...]:
    """Months received that could be counted by the end of a month and for which a model was frozen.

    Parameters
    ----------
    cohort : Cohort
        One row a job.
    month : Period
        Nothing after its last day is used.
    complete_share : float
        Share of a month's jobs that must be closed.
    each_rate : float
        What the chart may spend of false alarms a year.
    """
    rows = cohort.jobs[~cohort.jobs["ending"].isin([Ending.NOT_ACCEPTED, Ending.REPEAT])]
    rows = rows.assign(counted=_counted(rows, complete_share))
    rows = rows[rows["counted"].le(month.end_time) & rows["ended_date"].le(rows["counted"])]
    accepted = cohort.jobs[~cohort.jobs["ending"].isin([Ending.NOT_ACCEPTED, Ending.REPEAT])]["received_month"]
    models: dict[int, ExpectedModel | TooFew] = {}
    out = []
    for each, mine in rows.groupby("received_month"):
        year = mine["counted"].iloc[0].year
        if year not in models:
            models[year] = _frozen(cohort, rows, pd.Timestamp(year, 1, 1))
        model = models[year]
        if isinstance(model, ExpectedModel) and model.design.seen(mine).any():
            out.append(_against(model, each, mine, int(accepted.eq(each).sum()), each_rate / 12))
    return tuple(out)


def _counted(rows: pd.DataFrame, complete_share: float) -> pd.Series:
    """Day on which each job's month received counts; NaT while too few of it are closed."""
    days = {}
    for month, mine in rows.groupby("received_month"):
        needed = int(np.ceil(complete_share * len(mine) - 1e-9))
        ended = mine["ended_date"].dropna().sort_values()
        days[month] = max(month.end_time.normalize(), ended.iloc[needed - 1]) if len(ended) >= needed else pd.NaT
    return pd.to_datetime(rows["received_month"].map(days))


def _frozen(cohort: Cohort, rows: pd.DataFrame, day: pd.Timestamp) -> ExpectedModel | TooFew:
    """Model of recovery from the months counted before a day."""
    known = rows[rows["counted"].lt(day)].reset_index(drop=True)
    recovered = known["ending"].eq(Ending.RECOVERED).astype(float)
    known = known.assign(first_boot=recovered, first_boot_date=known["counted"])
    ledger = start_ledger("accepted jobs of months counted", len(known))
    return fit_expected(replace(cohort, first_boots=known, ledger=ledger), day)


def _against(model: ExpectedModel, month: pd.Period, mine: pd.DataFrame, accepted: int, rate: float) -> RecoveryMonth:
    known = mine[model.design.seen(mine)]
    mass = model.distribution(known)
    low, high = poisson_binomial.central_range(mass, 1 - rate)
    return RecoveryMonth(
        month=month,
        counted=mine["counted"].iloc[0],
        accepted=accepted,
        closed=len(mine),
        n=len(known),
        recovered=int(known["ending"].eq(Ending.RECOVERED).sum()),
        expected=float(mass @ np.arange(len(mass))),
        low=low,
        high=high,
        rate=rate,
    )
