"""Watching first boots over time: one primary chart, and others that share a second budget of false alarms.

The expected model is frozen on the first of January and refitted yearly, without the periods in which the primary
chart signalled; the months' expected numbers come from the same models. A young log has its first model as soon as one
can be fitted and a new one in the month from which it is watched, the first with a hundred first boots before it.
Nothing of a later day enters the place a chart stood at (tested). A chart goes on at the turn of the year from where
it stood; its new limit is simulated from there, so that the stated rate holds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.models.change_point import change_point, weight_of_change
from analysis.models.cusum import Limit, Uncertain, limit_for, runs_for, scores, walk
from analysis.models.design import TooFew, too_few
from analysis.questions.expected import ExpectedModel, fit_expected
from analysis.records.dictionary import JOBS

# Chance of a false alarm in a year at the shop's own pace, averaged over what the true model may be: one in five
# years by the primary chart, and one in five years by all others together.
PRIMARY_RATE = 0.20
SHARED_RATE = 0.20
WORSE, BETTER = 0.5, 2.0
PRIMARY = "first boot, worse"
# Watched month by month and paid from the shared budget too: plain first-boot rate, recovery, process measures.
MONTHLY_CHARTS = 7
# A chart begins once this many first boots can tell what to expect; with fewer its limit is out of reach.
MINIMUM_JOBS = 100
DRAWS = 10_000
RNG_SEED = 5


@dataclass(frozen=True)
class Frozen:
    """The expected model of one year, and the jobs its limits are drawn from.

    Parameters
    ----------
    model : ExpectedModel
        Fitted to first boots before ``model.fitted_before``, without signalled periods.
    like : DataFrame
        First boots of the year before, signalled periods left out, of kinds the model knows: what the jobs to come
        should be like.
    pace : float
        First boots a year at the pace of the year before, all counted.
    """

    model: ExpectedModel
    like: pd.DataFrame
    pace: float


@dataclass(frozen=True)
class Signal:
    """A chart that reached its limit.

    Parameters
    ----------
    chart : str
        Name of the chart.
    job_id : str
        Job that signalled.
    day : Timestamp
        Its boot test.
    began, earliest, latest : Timestamp
        Day of the likeliest first job of the change, and of the first and last job of the interval.
    level : float
        What the interval holds.
    odds_factor : float
        Likeliest factor on the odds since then.
    jobs : tuple of str
        Jobs from the likeliest beginning to the signal.
    observed, expected : float
        First boots among them that succeeded, and how many should have.
    going_on_since : Timestamp or None
        Day of the first alarm of this change, where an alarm came before and no quiet stretch lay between: then the
        beginning, the interval and the jobs start after the alarm before this one. None for a change of its own.
    """

    chart: str
    job_id: str
    day: pd.Timestamp
    began: pd.Timestamp
    earliest: pd.Timestamp
    latest: pd.Timestamp
    level: float
    odds_factor: float
    jobs: tuple[str, ...]
    observed: float
    expected: float
    going_on_since: pd.Timestamp | None = None

    @property
    def n(self) -> int:
        """Jobs from the likeliest beginning to the signal."""
        return len(self.jobs)


@dataclass(frozen=True)
class Chart:
    """A chart over all jobs watched.

    Parameters
    ----------
    name : str
        What it watches, in words.
    odds_factor : float
        Factor on the odds of success it looks for.
    points : DataFrame
        One row a job in the order tested: ``job_id``, ``day``, ``chance``, ``success``, ``value`` (where the chart
        stands after it), ``limit`` and ``signal``.
    limits : tuple of (Timestamp, Limit)
        From which day each limit holds.
    signals : tuple of Signal
    damage : str or None
        Damage class at intake whose jobs it watches; None for all jobs.
    """

    name: str
    odds_factor: float
    points: pd.DataFrame
    limits: tuple[tuple[pd.Timestamp, Limit], ...]
    signals: tuple[Signal, ...]
    damage: str | None = None


@dataclass(frozen=True)
class Watch:
    """All charts of first boots.

    Parameters
    ----------
    primary : Chart or None
        None while no model can be fitted.
    others : tuple of Chart
        Getting better, and getting worse within a damage class.
    each_rate : float
        What each chart of the shared budget may spend a year, the monthly ones included; NaN without charts.
    unseen : int
        Jobs not on any chart because the model has never seen their kind.
    frozen : tuple of Frozen
        The models of the years, earliest first.
    waiting : TooFew or None
        Why there is no chart yet; None too where a model could be fitted but :data:`MINIMUM_JOBS` are not reached.
    """

    primary: Chart | None
    others: tuple[Chart, ...]
    each_rate: float
    unseen: int
    frozen: tuple[Frozen, ...] = ()
    waiting: TooFew | None = None

    def model_on(self, day: pd.Timestamp) -> ExpectedModel | None:
        """The expected model in use on a day; None while there were too few first boots for one."""
        return next((each.model for each in reversed(self.frozen) if each.model.fitted_before <= day), None)


@dataclass(frozen=True)
class _Plan:
    """A chart as it is walked: which rows, which factor, which share of which budget."""

    name: str
    odds_factor: float
    damage: str | None = None

    def rows(self, frame: pd.DataFrame) -> pd.DataFrame:
        return frame if self.damage is None else frame[frame["intake_damage"].eq(self.damage)]


def watch(cohort: Cohort, month: pd.Period, minimum_n: int, draws: int = DRAWS) -> Watch:
    """Walk every chart up to the end of a month.

    Parameters
    ----------
    cohort : Cohort
        One row a job.
    month : Period
        Last month of first boots watched.
    minimum_n : int
        Damage classes with fewer jobs in the year before are not watched on their own.
    draws : int
        Simulated runs for each limit, fewer where a year holds thousands of jobs (:func:`.cusum.runs_for`).
    """
    rows = in_order(cohort.first_boots, month)
    days, watched = model_days(rows, month), freeze_days(rows, month)
    primary = _Walker(_Plan(PRIMARY, WORSE), draws)
    others: dict[str, _Walker] = {}
    unseen, each_rate, used = 0, float("nan"), []
    for day, until in zip(days, [*days, month.end_time + pd.Timedelta(1, "ns")][1:], strict=True):
        frozen = freeze(cohort, rows, day, primary.signalled)
        if isinstance(frozen, TooFew):
            continue
        used.append(frozen)
        if day not in watched:
            continue
        ahead = rows[rows["first_boot_date"].ge(day) & rows["first_boot_date"].lt(until)]
        ahead = ahead.assign(chance=frozen.model.chances(ahead))
        unseen += int(ahead["chance"].isna().sum())
        ahead = ahead[ahead["chance"].notna()]
        primary.go_on(frozen, ahead, PRIMARY_RATE)
        plans = _plans(frozen, minimum_n)
        each_rate = SHARED_RATE / (len(plans) + MONTHLY_CHARTS)
        for plan in plans:
            others.setdefault(plan.name, _Walker(plan, draws)).go_on(frozen, ahead, each_rate)
    done = tuple(walker.chart() for walker in others.values() if walker.limits)
    waiting = None if primary.limits else too_few(rows["first_boot"].to_numpy(float))
    return Watch(primary.chart() if primary.limits else None, done, each_rate, unseen, tuple(used), waiting)


def in_order(first_boots: pd.DataFrame, month: pd.Period) -> pd.DataFrame:
    """First boots with a date up to the end of a month, in the order tested; jobs of one day by their code."""
    rows = first_boots[first_boots["first_boot_month"].le(month)]
    return rows.sort_values(["first_boot_date", "job_id"], kind="stable").reset_index(drop=True)


def model_days(rows: pd.DataFrame, month: pd.Period) -> tuple[pd.Timestamp, ...]:
    """Days on which the expected model is made: the first month that allows one, the first watched, each January."""
    return tuple(sorted({*freeze_days(rows, month, 0), *freeze_days(rows, month)}))


def freeze_days(rows: pd.DataFrame, month: pd.Period, least: int = MINIMUM_JOBS) -> tuple[pd.Timestamp, ...]:
    """The first day of the first month with enough jobs before it, and every first of January after it."""
    if rows.empty:
        return ()
    first = rows["first_boot_month"].iloc[0]
    y, dates = rows["first_boot"].to_numpy(float), rows["first_boot_date"]
    for each in pd.period_range(first + 1, month, freq="M"):
        before = y[dates.lt(each.start_time).to_numpy()]
        if len(before) >= least and too_few(before) is None:
            later = [pd.Timestamp(year, 1, 1) for year in range(each.year + 1, month.year + 1)]
            return (each.start_time, *later)
    return ()


def freeze(cohort: Cohort, rows: pd.DataFrame, day: pd.Timestamp, signalled: frozenset[str]) -> Frozen | TooFew:
    """Fit the expected model to first boots before a day, without those of signalled periods."""
    clean = rows[~rows["job_id"].isin(signalled)]
    undated = len(cohort.first_boots) - len(rows)
    ledger = cohort.ledger.then(
        ("first boot later than the month, or without a date", undated),
        ("in a period in which the chart signalled", len(rows) - len(clean)),
    )
    model = fit_expected(replace(cohort, first_boots=clean, ledger=ledger), day)
    if isinstance(model, TooFew):
        return model
    dates = rows["first_boot_date"]
    year = day - pd.DateOffset(years=1)
    span = min(1.0, (day - dates.iloc[0]).days / 365.25)
    pace = float((dates.ge(year) & dates.lt(day)).sum()) / span
    before = clean[clean["first_boot_date"].lt(day)]
    lately = before[before["first_boot_date"].ge(year)]
    like = lately if len(lately) else before  # nothing tested for a year: jobs to come are like all before
    return Frozen(model, like[model.design.seen(like)], pace)


def _plans(frozen: Frozen, minimum_n: int) -> tuple[_Plan, ...]:
    """The charts that share the second budget, fixed when the model is frozen."""
    counts = frozen.like["intake_damage"].value_counts()
    column = JOBS["intake_damage"]
    watched = [code for code in column.codes if counts.get(code, 0) >= minimum_n and frozen.model.tells_apart(code)]
    return (
        _Plan("first boot, better", BETTER),
        *(_Plan(f"first boot after {column.text_of(code)}, worse", WORSE, code) for code in watched),
    )


class _Walker:
    """One chart on its way through the years."""

    def __init__(self, plan: _Plan, draws: int) -> None:
        self.plan, self.draws = plan, draws
        self.points: list[pd.DataFrame] = []
        self.limits: list[tuple[pd.Timestamp, Limit]] = []
        self.signals: list[Signal] = []
        self.value = 0.0
        self.since: list[pd.DataFrame] = []  # jobs since the chart last started at zero

    @property
    def signalled(self) -> frozenset[str]:
        return frozenset(job for signal in self.signals for job in signal.jobs)

    def go_on(self, frozen: Frozen, ahead: pd.DataFrame, rate: float) -> None:
        """Walk the jobs of one frozen model, with a limit for a year from where the chart stands."""
        limit = self._limit(frozen, rate)
        self.limits.append((frozen.model.fitted_before, limit))
        mine = self.plan.rows(ahead)
        y = mine["first_boot"].to_numpy(float)
        path, at = walk(scores(mine["chance"], y, self.plan.odds_factor), limit.value, self.value)
        points = pd.DataFrame(
            {
                "job_id": mine["job_id"].to_numpy(object),
                "day": mine["first_boot_date"].to_numpy(),
                "chance": mine["chance"].to_numpy(float),
                "success": y,
                "value": path,
                "limit": limit.value,
                "signal": np.isin(np.arange(len(path)), at),
            }
        )
        self.points.append(points)
        begin = 0
        for k in at:
            run = pd.concat([*self.since, points.iloc[begin : k + 1]], ignore_index=True)
            self.signals.append(_signal(self.plan, run, self.signals[-1] if self.signals else None))
            self.since, begin = [], k + 1
        self.since.append(points.iloc[begin:])
        if len(path):
            self.value = 0.0 if points["signal"].iloc[-1] else float(path[-1])

    def _limit(self, frozen: Frozen, rate: float) -> Limit:
        like, fit = self.plan.rows(frozen.like), frozen.model.fit
        coefficients = fit.coefficients.copy()
        coefficients[0] = fit.flic_intercept
        if like.empty:
            like = frozen.like
        model = Uncertain(frozen.model.design.matrix(like), coefficients, fit.covariance)
        jobs = max(1, round(frozen.pace * len(like) / len(frozen.like)))
        runs = runs_for(self.draws, jobs, rate)
        return limit_for(model, self.plan.odds_factor, jobs, rate, RNG_SEED, draws=runs, start=self.value)

    def chart(self) -> Chart:
        points = pd.concat(self.points, ignore_index=True)
        plan = self.plan
        return Chart(plan.name, plan.odds_factor, points, tuple(self.limits), tuple(self.signals), plan.damage)


def _signal(plan: _Plan, run: pd.DataFrame, before: Signal | None) -> Signal:
    """Tell when the change began among the jobs since the chart last started, the last of which signalled.

    A chart starts again at zero after an alarm, so that a change that goes on signals again with a run of its own,
    whose likeliest beginning is no beginning at all. It counts as the same change unless the jobs between the alarm
    before and the interval are as expected, with the weight that the interval holds.
    """
    chances, y, worse = run["chance"].to_numpy(float), run["success"].to_numpy(float), plan.odds_factor < 1
    began, since = change_point(chances, y, worse=worse), None
    quiet = weight_of_change(chances[: began.low], y[: began.low], worse=worse) <= 1 - began.level
    if before is not None and not quiet:
        since, began = before.going_on_since or before.day, replace(began, at=0, low=0)
    inside = run.iloc[began.at :]
    return Signal(
        chart=plan.name,
        job_id=str(run["job_id"].iloc[-1]),
        day=run["day"].iloc[-1],
        began=run["day"].iloc[began.at],
        earliest=run["day"].iloc[began.low],
        latest=run["day"].iloc[began.high],
        level=began.level,
        odds_factor=began.odds_factor,
        jobs=tuple(str(job) for job in inside["job_id"]),
        observed=float(inside["success"].sum()),
        expected=float(inside["chance"].sum()),
        going_on_since=since,
    )
