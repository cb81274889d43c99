"""Cumulative incidence with a competing end (Aalen–Johansen) and the survival curve without one (Kaplan–Meier).

Sources: Aalen and Johansen, Scandinavian Journal of Statistics 5 (1978) 141–150; Kaplan and Meier, JASA 53 (1958)
457–481; log-log interval: Kalbfleisch and Prentice, The Statistical Analysis of Failure Time Data, 1.4. Standard
errors of the cumulative incidence are of the kind that R's ``survfit`` prints (the kind of R's ``cmprsk`` is larger, by
3–5 % at 17 rows and under 1 % at 205): Marubini and Valsecchi, Analysing Survival Data from Clinical Trials (1995),
10.2 (source from memory). Those of statsmodels are the same except where the last rows end together, where they are
undefined.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analysis.errors import ModelError
from analysis.models.results import Result
from analysis.models.timed import COMPETING, EVENT, Timed, at_risk, refuse_late

Floats = NDArray[np.float64]

ROUNDING = 1e-12  # a product of shares that is exactly one half may come out just above it


@dataclass(frozen=True, kw_only=True)
class StepCurve(Result):
    """A curve that changes at event times and stops where too few remain.

    Parameters
    ----------
    times : ndarray, shape (k,)
        Times at which the curve is given, rising, from 0.
    estimate, se, low, high : ndarray, shape (k,)
        Estimate, its standard error, and pointwise interval by the log-log transformation; where the estimate is
        0 or 1, the exact limit for the rows still at risk.
    level : float
        Level of the interval.
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
    level: float
    stop: float
    data: Timed

    def at(self, time: float) -> tuple[float, float, float]:
        """Estimate and interval at a time; NaN beyond ``stop``."""
        if time > self.stop:
            return (float("nan"),) * 3
        i = int(np.searchsorted(self.times, time, side="right")) - 1
        estimate, low, high = self.estimate[i], self.low[i], self.high[i]
        if estimate in (0, 1):  # fewer rows may have been followed to this time than to the last step
            low, high = _at_the_edge(estimate, low, high, at_risk(self.data, time), self.level)
        return float(estimate), float(low), float(high)

    def numbers_at_risk(self, times: ArrayLike) -> NDArray[np.int64]:
        """Rows still at risk just before each time."""
        return at_risk(self.data, times)

    def reached(self, level: float) -> float:
        """First time at which the estimate passes ``level`` (upward or downward); NaN when it does not by ``stop``."""
        rising = len(self.estimate) < 2 or self.estimate[-1] >= self.estimate[0]
        hit = (self.estimate >= level - ROUNDING) if rising else (self.estimate <= level + ROUNDING)
        hit &= self.times <= self.stop
        return float(self.times[np.argmax(hit)]) if hit.any() else float("nan")


def _log_log(estimate: Floats, se: Floats, level: float) -> tuple[Floats, Floats]:
    """Interval on the scale log(-log(estimate)); at 0 and 1, where there is none, the estimate itself."""
    z = -special.ndtri((1 - level) / 2)
    inside = (estimate > 0) & (estimate < 1)
    p = np.where(inside, estimate, 0.5)
    spread = z * se / np.abs(p * np.log(p))
    low, high = p ** np.exp(spread), p ** np.exp(-spread)
    return np.where(inside, low, estimate), np.where(inside, high, estimate)


def _at_the_edge(estimate: Floats, low: Floats, high: Floats, risk: ArrayLike, level: float) -> tuple[Floats, Floats]:
    """At 0 and 1 the transformation says nothing; take the exact limit for the rows still at risk.

    Of ``risk`` rows followed that far none (all) had the event: the far end is where that has half of 1 − level.
    """
    far = ((1 - level) / 2) ** (1 / np.maximum(risk, 1))
    return np.where(estimate == 1, far, low), np.where(estimate == 0, 1 - far, high)


def _stop(data: Timed, minimum: int) -> float:
    times, _, _ = data.distinct
    enough = times[at_risk(data, times) >= minimum] if len(times) else times
    return float(enough[-1]) if len(enough) else 0.0


def _curve(
    data: Timed, times: Floats, estimate: Floats, se: Floats, start: float, level: float, minimum: int
) -> StepCurve:
    if not len(times) or times[0] > 0:
        times, estimate, se = (
            np.concatenate([[first], rest]) for first, rest in ((0.0, times), (start, estimate), (0.0, se))
        )
    se = np.where(np.isnan(se), 0.0, se)
    # Sums and products of shares leave 0 and 1 by rounding.
    estimate = np.where(estimate < ROUNDING, 0.0, np.where(estimate > 1 - ROUNDING, 1.0, estimate))
    low, high = _log_log(estimate, se, level)
    low, high = _at_the_edge(estimate, low, high, at_risk(data, times), level)
    return StepCurve(
        n=data.n,
        events=data.events,
        converged=True,
        times=times,
        estimate=estimate,
        se=se,
        low=low,
        high=high,
        level=level,
        stop=_stop(data, minimum),
        data=data,
    )


def cumulative_incidence(data: Timed, level: float = 0.95, minimum: int = 10, cause: int = EVENT) -> StepCurve:
    """Chance that the event has happened by each time, the competing end taken into account.

    Parameters
    ----------
    data : Timed
        Times, events (0, 1, 2).
    level : float
        Level of the pointwise interval.
    minimum : int
        The curve stops where fewer rows are at risk.
    cause : {1, 2}
        Which end.

    Raises
    ------
    ModelError
        If rows came under observation late.
    """
    refuse_late(data, "The cumulative incidence")
    if not (data.event == cause).any():
        nothing = np.empty(0)
        return _curve(data, nothing, nothing, nothing, 0.0, level, minimum)
    times, at, _ = data.distinct
    n = (data.n - data.gone[:-1]).astype(float)
    ends = np.bincount(3 * at + data.event, minlength=3 * len(times)).reshape(-1, 3).astype(float)
    mine, ended = ends[:, cause], ends[:, EVENT] + ends[:, COMPETING]
    left = np.concatenate([[1.0], np.cumprod(1 - ended / n)[:-1]]) / n  # survival just before, a row at risk
    estimate = np.cumsum(left * mine)
    # Where the last rows end together nothing is left whose later share could vary: that step adds nothing.
    staying = np.divide(ended, n * (n - ended), out=np.zeros_like(n), where=ended < n)
    own = left**2 * (n - mine) * mine / n
    shared = left * mine / n
    variance = (
        estimate**2 * np.cumsum(staying)
        - 2 * estimate * np.cumsum(estimate * staying)
        + np.cumsum(estimate**2 * staying + own + 2 * estimate * shared)
        - 2 * estimate * np.cumsum(shared)
    )
    # What is left of terms that cancel is no variance: at the last end of all it would be 1e-16.
    variance = np.where(variance < ROUNDING / 1000, 0.0, variance)
    return _curve(data, times, estimate, np.sqrt(variance), 0.0, level, minimum)


def survival(data: Timed, level: float = 0.95, minimum: int = 10) -> StepCurve:
    """Kaplan–Meier: chance of being without the event; only where there is no competing end.

    Raises
    ------
    ModelError
        If some rows had the competing end.
    """
    if (data.event == COMPETING).any():
        raise ModelError(
            "Kaplan–Meier was asked for data with a competing end.",
            rule="It would overstate the chance of success.",
            todo="Use the cumulative incidence.",
        )
    if not data.events:
        nothing = np.empty(0)
        return _curve(data, nothing, nothing, nothing, 1.0, level, minimum)
    from statsmodels.duration.survfunc import SurvfuncRight

    entry = data.entry if data.late else None
    with np.errstate(divide="ignore", invalid="ignore"):
        fit = SurvfuncRight(data.time, data.event, entry=entry)
    return _curve(data, fit.surv_times, fit.surv_prob, fit.surv_prob_se, 1.0, level, minimum)


@dataclass(frozen=True)
class RankTest:
    """A test that groups share one curve."""

    statistic: float
    df: int
    p: float
