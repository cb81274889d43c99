"""Penalised likelihood profile of a sum of quantities that are estimated apart.

Each part has a curve: the deviance (twice the penalised log likelihood lost) at each value of its quantity. The
profile of the sum at L is the least total deviance of parts that add up to L, found on a grid. A test by it is the
likelihood-ratio test; the interval is its inversion, so that the two never contradict each other.

Source: Venzon and Moolgavkar, Applied Statistics 37 (1988) 87–94 (profile-likelihood intervals, also of functions of
the parameters).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]

# Steps of the grid over the range of the sum: fine against any standard error of counts of jobs.
STEPS = 800


@dataclass(frozen=True)
class Curve:
    """Deviance of one part.

    Parameters
    ----------
    values : ndarray, shape (m,)
        Values of the quantity, rising.
    deviance : ndarray, shape (m,)
        Zero at the estimate.
    """

    values: Floats
    deviance: Floats

    def times(self, factor: float) -> Curve:
        """The curve of a multiple of the quantity."""
        turned = slice(None, None, -1 if factor < 0 else 1)
        return Curve(factor * self.values[turned], self.deviance[turned])


@dataclass(frozen=True)
class SumProfile:
    """Profile of a sum: ``p`` that it is zero, and the interval from ``low`` to ``high``."""

    p: float
    low: float
    high: float


def profile_of_sum(curves: list[Curve], level: float = 0.95) -> SumProfile:
    """Test a sum against zero, and give its interval.

    Parameters
    ----------
    curves : list of Curve
        The parts.
    level : float
        Level of the interval.
    """
    step = sum(float(np.ptp(curve.values)) for curve in curves) / STEPS
    first, total = 0, np.zeros(1)
    for curve in curves:
        start, deviance = _on_grid(curve, step)
        first, total = first + start, _least(total, deviance)
    values = step * (first + np.arange(len(total)))
    inside = values[total <= stats.chi2.isf(1 - level, 1)]
    at_zero = float(np.interp(0.0, values, total, left=total[0], right=total[-1]))
    return SumProfile(float(stats.chi2.sf(at_zero, 1)), float(inside[0]), float(inside[-1]))


def _on_grid(curve: Curve, step: float) -> tuple[int, Floats]:
    """The curve at whole steps: position of the first, and the deviance at each."""
    first, last = int(np.round(curve.values[0] / step)), int(np.round(curve.values[-1] / step))
    deviance = np.interp(step * np.arange(first, last + 1), curve.values, curve.deviance)
    # A part known more closely than a step keeps a place at which nothing is lost.
    return first, np.asarray(deviance - deviance.min())


def _least(one: Floats, other: Floats) -> Floats:
    """Least sum of two deviances for each sum of two positions."""
    short, long = sorted((one, other), key=len)
    out = np.full(len(one) + len(other) - 1, np.inf)
    for k, lost in enumerate(short):
        np.minimum(out[k : k + len(long)], lost + long, out=out[k : k + len(long)])
    return out
