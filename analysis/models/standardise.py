"""How many successes a group's jobs cost, against what the other jobs of the same time would have given on them.

The jobs of a period are compared with one another, their chances by intake facts as an offset, so that a fall of
everything alike is not laid at the door of whatever was new at the time. Standardisation: the group's own jobs are
given the log odds of the other jobs of the period instead of their own, everything else as it was. What the group
cost before, at its share of that time, is taken off: only the change accounts for a shortfall.

Sources: penalised fit, its tests and intervals as in ``firth.py``; standardisation as in Hernán and Robins, Causal
Inference: What If, chapter 13; interval by the delta method.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit

from analysis.models.firth import FirthResult, fit_firth, term_test

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NAMES = ("the period", "the group")


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
        Penalised likelihood-ratio P that the group stands to the others as it did before. A group with fewer jobs
        before than in the period is new: P that it stands equal to the others.
    lost, lost_low, lost_high : float
        Successes the change in the group accounts for in the period, and the 95 % interval by the delta method.
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
    lost, slope = _cost(period, fit.coefficients)
    variance = slope @ fit.covariance @ slope
    if before.contrasted:
        earlier = _fit(before, intervals=False).shown()
        scale = len(period.y) / len(before.y)
        usual, usual_slope = _cost(before, earlier.coefficients)
        lost -= scale * usual
        variance += scale**2 * (usual_slope @ earlier.covariance @ usual_slope)
    half = float(stats.norm.isf(0.025) * np.sqrt(variance))
    known = before.contrasted and before.group.sum() >= period.group.sum()
    p = _changed(period, before) if known else float(fit.p[1])
    odds = np.exp(-np.array([fit.coefficients[1], fit.high[1], fit.low[1]]))
    return Toll(
        odds_ratio=float(odds[0]),
        low=float(odds[1]),
        high=float(odds[2]),
        p=p,
        lost=lost,
        lost_low=lost - half,
        lost_high=lost + half,
    )


def _fit(rows: Rows, *, intervals: bool) -> FirthResult:
    x = np.column_stack([np.ones(len(rows.y)), rows.group.astype(float)])
    return fit_firth(x, rows.y, NAMES, offset=rows.offset, intervals=intervals)


def _changed(period: Rows, before: Rows) -> float:
    """P that the group's odds against the others' are the same in the period as before."""
    now = np.repeat([1.0, 0.0], [len(period.y), len(before.y)])
    group = np.concatenate([period.group, before.group]).astype(float)
    x = np.column_stack([np.ones(len(now)), now, group, now * group])
    y, offset = np.concatenate([period.y, before.y]), np.concatenate([period.offset, before.offset])
    return term_test(x, y, (3,), "the change", offset=offset).p


def _cost(rows: Rows, beta: Floats) -> tuple[float, Floats]:
    """Successes the group's jobs lost against the others' log odds, and its slope along both coefficients."""
    own = rows.offset[rows.group]
    without, with_it = expit(own + beta[0]), expit(own + beta[0] + beta[1])
    bend_without, bend_with = without * (1 - without), with_it * (1 - with_it)
    slope = np.array([(bend_without - bend_with).sum(), -bend_with.sum()])
    return float((without - with_it).sum()), slope
