"""All that is watched from month to month, what signalled in the year, and what it was looked into for."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.models.control_chart import PChart, p_chart
from analysis.questions.expected import MonthExpected
from analysis.questions.process_measures import MeasureChart, process_measures
from analysis.questions.rates import in_months, trailing
from analysis.questions.recovery_watch import RecoveryMonth, recovery_watch
from analysis.questions.verdicts import Verdict
from analysis.questions.watch import Chart, Signal, Watch
from analysis.questions.what_changed import WhatChanged, period_of, what_changed
from analysis.records.log import Log

# A bad month soon after a signal is looked at together with it: it may be the same change going on.
GOES_ON_MONTHS = 2


@dataclass(frozen=True)
class RateChart:
    """Plain first-boot rate by month around its own mean; ``months`` names the points of ``chart``."""

    months: tuple[pd.Period, ...]
    chart: PChart


@dataclass(frozen=True)
class Looked:
    """A signal or a bad month that was looked into.

    Parameters
    ----------
    signal : Signal or None
        The signal; None for a bad month without one.
    month : Period
        Month of the signal, or the bad month.
    first, last : Timestamp
        Days of the first and last job looked at.
    now : bool
        Whether it is of the month reviewed; otherwise the latest of the year.
    found : WhatChanged
    """

    signal: Signal | None
    month: pd.Period
    first: pd.Timestamp
    last: pd.Timestamp
    now: bool
    found: WhatChanged


@dataclass(frozen=True)
class Watching:
    """Everything watched up to the end of a month.

    Parameters
    ----------
    charts : Watch
        First boots, job by job.
    rate : RateChart or None
        First-boot rate by month; None while nothing is watched or there are not two months.
    measures : tuple of MeasureChart
        How the work went.
    recovery : tuple of RecoveryMonth
        By month received, those of the last twelve months.
    signals : tuple of Signal
        Of all charts of first boots in the twelve months, latest first.
    looked : Looked or None
    """

    charts: Watch
    rate: RateChart | None
    measures: tuple[MeasureChart, ...]
    recovery: tuple[RecoveryMonth, ...]
    signals: tuple[Signal, ...]
    looked: Looked | None


def watching(log: Log, cohort: Cohort, month: pd.Period, charts: Watch, now: MonthExpected | None) -> Watching:
    """Put together what is watched.

    Parameters
    ----------
    log, cohort
        The log as it stood at the end of the month, and its jobs.
    month : Period
        Month reviewed.
    charts : Watch
        Charts up to that month.
    now : MonthExpected or None
        The month against its expectation, where there is one.
    """
    start = trailing(month)[0].start_time
    drawn = [] if charts.primary is None else [charts.primary, *charts.others]
    signals = sorted((s for chart in drawn for s in chart.signals if s.day >= start), key=lambda s: s.day, reverse=True)
    recovery: tuple[RecoveryMonth, ...] = ()
    if charts.primary is not None:
        recovery = recovery_watch(cohort, month, log.settings.month_complete_share, charts.each_rate)
    return Watching(
        charts=charts,
        rate=rate_chart(cohort, month, charts),
        measures=process_measures(log, cohort, month, charts.each_rate),
        recovery=tuple(each for each in recovery if each.month >= trailing(month)[0]),
        signals=tuple(signals),
        looked=_looked_into(log, cohort, month, charts, now),
    )


def rate_chart(cohort: Cohort, month: pd.Period, charts: Watch) -> RateChart | None:
    """Two years by month; the months of a change that was signalled widen the mean, hence the limits stay honest."""
    if charts.primary is None:
        return None
    rows = in_months(cohort.first_boots, "first_boot_month", trailing(month, 24))
    by_month = rows.groupby("first_boot_month")["first_boot"].agg(["sum", "count"]).sort_index()
    if len(by_month) < 2:
        return None
    chart = p_chart(by_month["sum"].to_numpy(np.int64), by_month["count"].to_numpy(np.int64), charts.each_rate / 12)
    return RateChart(tuple(by_month.index), chart)


def _looked_into(log: Log, cohort: Cohort, month: pd.Period, charts: Watch, now: MonthExpected | None) -> Looked | None:
    """Look into this month's signal, else into a bad month, else into the latest signal of the year."""
    worse = _signals_of_worse(charts, trailing(month)[0].start_time)
    current = [each for each in worse if each[1].day >= month.start_time]
    bad = now is not None and now.verdict is not Verdict.CANNOT_TELL and now.direction == "fewer"
    if bad and not current:
        rows = cohort.first_boots
        going_on = [s.earliest for _, s in worse if s.day.to_period("M") >= month - GOES_ON_MONTHS]
        since = min([month.start_time, *going_on])
        inside = rows["first_boot_date"].ge(since) & rows["first_boot_date"].le(month.end_time)
        return _look(log, cohort, charts, rows.loc[inside, "job_id"], None, month, now=True)
    if not worse or charts.primary is None:
        return None
    chart, signal = (current or worse)[0]
    jobs = period_of(chart, signal)
    if chart.damage is not None:  # an alarm of one class says nothing of the other jobs
        rows = cohort.first_boots
        cohort = replace(cohort, first_boots=rows[rows["intake_damage"].eq(chart.damage)])
    return _look(log, cohort, charts, jobs, signal, signal.day.to_period("M"), now=bool(current))


def _signals_of_worse(charts: Watch, start: pd.Timestamp) -> list[tuple[Chart, Signal]]:
    """Charts and their signals of fewer first boots since a day: latest month first, then the primary's."""
    drawn: list[Chart] = [] if charts.primary is None else [charts.primary, *charts.others]
    found = [(at, s) for at, c in enumerate(drawn) if c.odds_factor < 1 for s in c.signals if s.day >= start]
    found.sort(key=lambda each: (-each[1].day.to_period("M").ordinal, each[0], -each[1].day.value))
    return [(drawn[at], signal) for at, signal in found]


def _look(
    log: Log,
    cohort: Cohort,
    charts: Watch,
    jobs: Collection[str],
    signal: Signal | None,
    month: pd.Period,
    *,
    now: bool,
) -> Looked | None:
    model = charts.model_on(month.start_time if signal is None else signal.day)
    rows = cohort.first_boots[cohort.first_boots["job_id"].isin(jobs)]
    if model is None or not model.design.seen(rows).any():
        return None
    dates = rows["first_boot_date"]
    return Looked(signal, month, dates.min(), dates.max(), now, what_changed(log, cohort, model, jobs))
