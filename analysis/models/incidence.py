"""Cumulative incidence with a competing end (Aalen–Johansen) and the survival curve without one (Kaplan–Meier).

Sources: Aalen and Johansen, Scandinavian Journal of Statistics 5 (1978) 141–150; Kaplan and Meier, JASA 53 (1958)
457–481; log-log interval: Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 1.4. The estimates
and their standard errors (the infinitesimal-jackknife kind that R's ``survfit`` prints; another kind is up to 1.2 %
away) come from statsmodels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from analysis.models.results import Result
from analysis.models.timed import COMPETING, EVENT, Timed, at_risk

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class StepCurve(Result):
    """A curve that changes at event times and stops where too few remain.

    Parameters
    ----------
    times : ndarray, shape (k,)
        Times at which the curve is given, rising, from 0.
    estimate, se, low, high : ndarray, shape (k,)
        Estimate, its standard error, and pointwise interval by the log-log transformation.
    stop : float
        Last time at which at least ``minimum`` rows were at risk; nothing is said beyond.
    data : Timed
        What the curve was made from, for numbers at risk.
    """

    times: Floats
    estimate: Floats
    se: Floats
    low: Floats
    high: Floats
    stop: float
    data: Timed

    def at(self, time: float) -> tuple[float, float, float]:
        """Estimate and interval at a time; NaN beyond ``stop``."""
        if time > self.stop:
            return (float("nan"),) * 3
        i = int(np.searchsorted(self.times, time, side="right")) - 1
        return float(self.estimate[i]), float(self.low[i]), float(self.high[i])

    def numbers_at_risk(self, times: ArrayLike) -> NDArray[np.int64]:
        """Rows still at risk just before each time."""
        return at_risk(self.data, times)

    def reached(self, level: float) -> float:
        """First time at which the estimate passes ``level`` (upward or downward); NaN when it does not by ``stop``."""
        rising = len(self.estimate) < 2 or self.estimate[-1] >= self.estimate[0]
        hit = (self.estimate >= level) if rising else (self.estimate <= level)
        hit &= self.times <= self.stop
        return float(self.times[np.argmax(hit)]) if hit.any() else float("nan")


def _log_log(estimate: Floats, se: Floats, level: float) -> tuple[Floats, Floats]:
    """Interval on the scale log(-log(estimate)); at 0 and 1 the estimate itself."""
    z = stats.norm.isf((1 - level) / 2)
    inside = (estimate > 0) & (estimate < 1)
    p = np.where(inside, estimate, 0.5)
    spread = z * se / np.abs(p * np.log(p))
    low, high = p ** np.exp(spread), p ** np.exp(-spread)
    return np.where(inside, low, estimate), np.where(inside, high, estimate)


def _stop(data: Timed, minimum: int) -> float:
    times = np.unique(data.time)
    enough = times[at_risk(data, times) >= minimum] if len(times) else times
    return float(enough[-1]) if len(enough) else 0.0


def _curve(
    data: Timed, times: Floats, estimate: Floats, se: Floats, start: float, level: float, minimum: int
) -> StepCurve:
    if not len(times) or times[0] > 0:
        times, estimate, se = (
            np.concatenate([[first], rest]) for first, rest in ((0.0, times), (start, estimate), (0.0, se))
        )
    se = np.nan_to_num(se)
    low, high = _log_log(estimate, se, level)
    return StepCurve(
        n=data.n,
        events=data.events,
        converged=True,
        times=times,
        estimate=estimate,
        se=se,
        low=low,
        high=high,
        stop=_stop(data, minimum),
        data=data,
    )


def cumulative_incidence(data: Timed, level: float = 0.95, minimum: int = 10, cause: int = EVENT) -> StepCurve:
    """Chance that the event has happened by each time, the competing end taken into account.

    Parameters
    ----------
    data : Timed
        Times, events (0, 1, 2); late entry is not supported here.
    level : float
        Level of the pointwise interval.
    minimum : int
        The curve stops where fewer rows are at risk.
    cause : {1, 2}
        Which end.
    """
    if not (data.event == cause).any():
        nothing = np.empty(0)
        return _curve(data, nothing, nothing, nothing, 0.0, level, minimum)
    from statsmodels.duration.survfunc import CumIncidenceRight  # slow to import

    # statsmodels wants every cause present under its number; only the cause asked for is read back.
    swapped = np.where(data.event == cause, 1, np.where(data.event == 0, 0, 2))
    # Where the last rows end together the variance formula divides by zero; the curve stops long before.
    with np.errstate(divide="ignore", invalid="ignore"):
        fit = CumIncidenceRight(data.time, swapped)
    return _curve(data, fit.times, fit.cinc[0], fit.cinc_se[0], 0.0, level, minimum)


def survival(data: Timed, level: float = 0.95, minimum: int = 10) -> StepCurve:
    """Kaplan–Meier: chance of being without the event; only where there is no competing end."""
    if (data.event == COMPETING).any():
        from analysis.errors import ModelError

        raise ModelError(
            "Kaplan–Meier was asked for data with a competing end.",
            rule="It would overstate the chance of success.",
            todo="Use the cumulative incidence.",
        )
    if not data.events:
        nothing = np.empty(0)
        return _curve(data, nothing, nothing, nothing, 1.0, level, minimum)
    from statsmodels.duration.survfunc import SurvfuncRight

    entry = data.entry if data.entry.any() else None
    with np.errstate(divide="ignore", invalid="ignore"):
        fit = SurvfuncRight(data.time, data.event, entry=entry)
    return _curve(data, fit.surv_times, fit.surv_prob, fit.surv_prob_se, 1.0, level, minimum)


@dataclass(frozen=True)
class RankTest:
    """A test that groups share one curve."""

    statistic: float
    df: int
    p: float


def log_rank(data: Timed, group: ArrayLike, strata: ArrayLike | None = None) -> RankTest:
    """Log-rank test (Mantel, Cancer Chemotherapy Reports 50 (1966) 163–170), by statsmodels."""
    from statsmodels.duration.survfunc import survdiff

    labels = np.asarray(group)
    extra = {} if strata is None else {"strata": np.asarray(strata)}
    statistic, p = survdiff(data.time, data.event, labels, **extra)
    return RankTest(float(statistic), len(np.unique(labels)) - 1, float(p))
