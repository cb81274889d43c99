"""What moves before outcomes do: passes a side, pads lost, reball tries, unchanged presets, hours; and recovery.

Each is watched by month from the shared budget of false alarms. A measure counts work before boot test 1 only and
belongs to the month of that test; hours are those written at that test, so that no job is left out for still being
open. Limits are frozen with the expected model's year, so that a month never takes part in its own limits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.features import Cohort
from analysis.cohort.work import dated
from analysis.models.resampled_limits import MeanLimits, enough_differing, mean_limits
from analysis.questions.watch import freeze_days, in_order
from analysis.records.log import Log

Floats = NDArray[np.float64]

DRAWS = 20_000
RNG_SEED = 6
MONTHS = 12
# Fewer jobs with a value make no mean worth a limit, and fewer earlier ones no limit.
MINIMUM_MONTH, MINIMUM_EARLIER = 3, 30


@dataclass(frozen=True)
class Measure:
    """A number of each job that tells how the work went."""

    column: str
    name: str
    unit: str


MEASURES = (
    Measure("clean_passes_per_side", "cleaning passes a side", "passes"),
    Measure("pads_lost_n", "pads lost a job", "pads"),
    Measure("reball_tries_n", "reball tries", "tries"),
    Measure("preset_share", "share of heat steps left at the preset", "%"),
    Measure("hours_at_test_1", "bench hours to boot test 1", "hours"),
)


@dataclass(frozen=True)
class MeasuredMonth:
    """One measure in one month.

    Parameters
    ----------
    month : Period
    mean : float
        Mean over the jobs with a value; NaN without any.
    n, blank : int
        Jobs tested in the month with and without a value.
    limits : MeanLimits or None
        None where the month or the earlier log holds too few jobs, or too few earlier ones that differ.
    """

    month: pd.Period
    mean: float
    n: int
    blank: int
    limits: MeanLimits | None

    @property
    def outside(self) -> bool:
        """Whether the month lies beyond its limits."""
        return self.limits is not None and not self.limits.low <= self.mean <= self.limits.high


@dataclass(frozen=True)
class MeasureChart:
    """A measure over the months; ``each_rate`` is its share of the second budget, a year."""

    measure: Measure
    months: tuple[MeasuredMonth, ...]
    each_rate: float


def job_measures(log: Log, cohort: Cohort) -> pd.DataFrame:
    """Values of each job with a first boot: ``job_id``, ``first_boot_month``, ``first_boot_date`` and the measures."""
    rows = cohort.first_boots
    tests = log.tables["boot_tests"]
    steps, _ = dated(log.tables["heat_steps"], log)
    steps = steps[steps["before"].eq(1) & steps["entry_kind"].notna()]
    share = steps["entry_kind"].eq("preset").groupby(steps["job_id"]).mean()
    first = tests[tests["test_no"].eq(1)].drop_duplicates("job_id").set_index("job_id")
    out = rows[["job_id", "first_boot", "first_boot_month", "first_boot_date"]].copy()
    for column in ("clean_passes_per_side", "pads_lost_n", "reball_tries_n"):
        out[column] = rows[column].astype(float)
    out["preset_share"] = rows["job_id"].map(share).astype(float)
    out["hours_at_test_1"] = rows["job_id"].map(first["bench_hours_so_far"]).astype(float)
    return out


def process_measures(
    log: Log, cohort: Cohort, month: pd.Period, each_rate: float, months: int = MONTHS
) -> tuple[MeasureChart, ...]:
    """Chart every measure over the months up to and including one.

    Parameters
    ----------
    log, cohort
        The log, and its jobs.
    month : Period
        Last month.
    each_rate : float
        What one chart may spend of false alarms a year (:attr:`analysis.questions.watch.Watch.each_rate`); NaN, while
        nothing is watched yet, gives no limits.
    months : int
        How many months to show.
    """
    values = in_order(job_measures(log, cohort), month)
    days = () if np.isnan(each_rate) else freeze_days(values, month)
    shown = pd.period_range(month - (months - 1), month, freq="M")
    return tuple(
        MeasureChart(m, tuple(_month(values, m.column, each, days, each_rate) for each in shown), each_rate)
        for m in MEASURES
    )


def _month(
    values: pd.DataFrame, column: str, month: pd.Period, days: tuple[pd.Timestamp, ...], each_rate: float
) -> MeasuredMonth:
    mine = values.loc[values["first_boot_month"].eq(month), column].to_numpy(float)
    known = mine[~np.isnan(mine)]
    mean = float(known.mean()) if len(known) else float("nan")
    frozen = [day for day in days if day <= month.start_time]
    limits = None
    if frozen and len(known) >= MINIMUM_MONTH:
        before = values.loc[values["first_boot_date"].lt(frozen[-1]), column].to_numpy(float)
        before = before[~np.isnan(before)]
        if len(before) >= MINIMUM_EARLIER and enough_differing(before):
            limits = mean_limits(before, len(known), each_rate / 12, RNG_SEED, DRAWS)
    return MeasuredMonth(month, mean, len(known), len(mine) - len(known), limits)
