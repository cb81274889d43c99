"""How many successes a group's jobs cost, against what the other jobs of the same time would have given on them.

The jobs of a period are compared with one another, their chances by intake facts as an offset, so that a fall of
everything alike is not laid at the door of whatever was new at the time. Standardisation: the group's own jobs are
given the log odds of the other jobs of the period instead of their own, everything else as it was. What the group
cost before, at its share of that time, is taken off: only the change accounts for a shortfall.

A group may cost more than before because its odds fell, because it took a larger share of the jobs, or both. The
test is of that cost as a whole, by the same profile that gives its interval; a share that is a little larger by
chance is allowed for at what a job of the group cost before.

Sources: penalised fit and the interval of the odds ratio as in ``firth.py``; standardisation as in Hernán and Robins,
Causal Inference: What If, chapter 13; profile of the cost as in ``summed_profile.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from analysis.models.binary import blocks, chances
from analysis.models.firth import FirthResult, fit_firth
from analysis.models.summed_profile import Curve, profile_of_sum

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NAMES = ("the period", "the group")
# A curve reaches this many standard errors to either side, in steps of a sixteenth of one.
REACH, POINTS = 8.0, 257


@dataclass(frozen=True)
class Rows:
    """Jobs of a period or of the time before it.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Success, 0 or 1.
    offset : ndarray, shape (n,)
        Expected log odds of success by intake facts.
    group : ndarray of bool, shape (n,)
        Jobs of the group.
    """

    y: Floats
    offset: Floats
    group: Flags

    @property
    def contrasted(self) -> bool:
        """Whether there are jobs inside and outside the group."""
        return bool(self.group.any() and not self.group.all())


@dataclass(frozen=True)
class Toll:
    """What a group of jobs cost.

    Parameters
    ----------
    odds_ratio, low, high : float
        Odds of failure of the group's jobs against the period's others, and the 95 % profile interval.
    p : float
        Penalised likelihood-ratio P that ``lost`` is zero; without jobs before to compare with, P that the group
        stands equal to the others.
    lost, lost_low, lost_high : float
        Successes the change in the group accounts for in the period, and the 95 % profile interval.
    """

    odds_ratio: float
    low: float
    high: float
    p: float
    lost: float
    lost_low: float
    lost_high: float


def toll(period: Rows, before: Rows) -> Toll:
    """Compare a group's jobs with the others of the period, and count what the change cost.

    Parameters
    ----------
    period : Rows
        With jobs inside and outside the group.
    before : Rows
        Earlier jobs; where none of them, or all, belong to the group, it cost nothing before.
    """
    fit = _fit(period, intervals=True).shown()
    lost, curves = _cost(period, fit.coefficients), _curves(period, fit)
    if before.contrasted:
        earlier = _fit(before, intervals=False).shown()
        scale = len(period.y) / len(before.y)
        usual = _cost(before, earlier.coefficients)
        lost -= scale * usual
        curves += [curve.times(-scale) for curve in _curves(before, earlier)]
        curves.append(_by_chance(period, before).times(usual / before.group.sum()))
    profile = profile_of_sum(curves)
    odds = np.exp(-np.array([fit.coefficients[1], fit.high[1], fit.low[1]]))
    return Toll(
        odds_ratio=float(odds[0]),
        low=float(odds[1]),
        high=float(odds[2]),
        p=profile.p,
        lost=lost,
        lost_low=profile.low,
        lost_high=profile.high,
    )


def _fit(rows: Rows, *, intervals: bool) -> FirthResult:
    x = np.column_stack([np.ones(len(rows.y)), rows.group.astype(float)])
    return fit_firth(x, rows.y, NAMES, offset=rows.offset, intervals=intervals)


def _cost(rows: Rows, beta: Floats) -> float:
    """Successes the group's jobs lost against the others' log odds."""
    own = rows.offset[rows.group]
    return float((expit(own + beta[0]) - expit(own + beta[0] + beta[1])).sum())


def _curves(rows: Rows, fit: FirthResult) -> list[Curve]:
    """Parts of the cost: successes of the group's jobs at the others' log odds, less those at their own.

    Jobs inside and outside the group share no coefficient and the penalty falls into the same two parts, so that
    each has its own curve.
    """
    own = rows.offset[rows.group]
    others = _curve(rows.y[~rows.group], rows.offset[~rows.group], fit.coefficients[0], own)
    mine = _curve(rows.y[rows.group], own, fit.coefficients.sum(), own)
    return [others, mine.times(-1)]


def _by_chance(period: Rows, before: Rows) -> Curve:
    """Jobs more or fewer in the group than before by chance alone: binomial around its share before."""
    n, share = len(period.y), before.group.mean()
    steps = np.linspace(-REACH, REACH, POINTS)
    return Curve(steps * np.sqrt(n * share * (1 - share) * (1 + n / len(before.y))), steps**2)


def _curve(y: Floats, offset: Floats, at: float, own: Floats) -> Curve:
    """Deviance of jobs' common shift in log odds, against the successes that shift gives the group's jobs."""
    chance = expit(offset + at)
    shifts = at + np.linspace(-REACH, REACH, POINTS) / np.sqrt((chance * (1 - chance)).sum())
    information, loglik, successes = np.zeros((3, POINTS))
    for some in blocks(len(y), POINTS):
        z = offset[some] + shifts[:, None]
        rarer, log_sum = chances(-np.abs(z))
        information += (rarer * (1 - rarer)).sum(axis=1)
        loglik += (z * y[some] - np.maximum(z, 0.0) - log_sum).sum(axis=1)
    for some in blocks(len(own), POINTS):
        successes += chances(own[some] + shifts[:, None])[0].sum(axis=1)
    # Jeffreys' penalty: half the log of the information, p (1 - p) summed over the jobs.
    penalised = loglik + np.log(information) / 2
    return Curve(successes, 2 * (penalised.max() - penalised))
