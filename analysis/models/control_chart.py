"""Fraction of successes, or of failures, month by month, with limits (p-chart).

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2, for the textbook limits; the exact limits
follow from the binomial, or where chances differ from the Poisson-binomial, distribution itself. With the 10 to 20
jobs of a month the textbook limits fall outside 0 to 1 and give a false alarm more or less often than they say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from analysis.errors import ModelError
from analysis.models import poisson_binomial

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]
Flags = NDArray[np.bool_]

# Chance that a point falls outside three standard deviations of a normal distribution, both sides together.
THREE_SIGMA = float(2 * stats.norm.sf(3))


@dataclass(frozen=True)
class PChart:
    """Counts of each period against limits around one common fraction.

    Parameters
    ----------
    x, n : ndarray of int, shape (k,)
        Counted and all, each period.
    centre : float
        The common fraction: all counted over all.
    low, high : ndarray of int, shape (k,)
        Smallest and largest count inside the exact limits.
    sigma_low, sigma_high : ndarray, shape (k,)
        Textbook limits of the fraction, three standard deviations either side, cut at 0 and 1.
    outside, sigma_outside : ndarray of bool, shape (k,)
        Points beyond the exact and beyond the textbook limits.
    rate : float
        Largest chance that a single point falls outside its exact limits without a cause.
    """

    x: Counts
    n: Counts
    centre: float
    low: Counts
    high: Counts
    sigma_low: Floats
    sigma_high: Floats
    outside: Flags
    sigma_outside: Flags
    rate: float


def p_chart(x: ArrayLike, n: ArrayLike, rate: float = THREE_SIGMA) -> PChart:
    """Chart a fraction around its own mean.

    Parameters
    ----------
    x, n : array_like of int, shape (k,)
        Counted and all, each period; every ``n`` at least 1.
    rate : float
        Chance, both sides together, that a point falls outside the exact limits without a cause; half on each side at
        most, since counts come in whole jobs.

    Raises
    ------
    ModelError
        If a count lies outside 0 to ``n``, a period is empty, or the rate is no chance.
    """
    counted, all_of = np.asarray(x, dtype=np.int64), np.asarray(n, dtype=np.int64)
    if not 0 < rate < 1:
        raise ModelError(f"A false-alarm rate of {rate} is not between 0 and 1.")
    if counted.shape != all_of.shape or not len(counted) or (all_of < 1).any():
        raise ModelError("Every period of a chart needs a count and at least one job.")
    if (counted < 0).any() or (counted > all_of).any():
        raise ModelError("A count lies outside 0 to its number of jobs.")
    centre = float(counted.sum() / all_of.sum())
    ranges = {int(size): exact_limits(np.full(int(size), centre), rate) for size in np.unique(all_of)}
    low, high = np.array([ranges[int(size)] for size in all_of]).T
    half = 3 * np.sqrt(centre * (1 - centre) / all_of)
    fraction = counted / all_of
    sigma_low, sigma_high = np.maximum(centre - half, 0.0), np.minimum(centre + half, 1.0)
    return PChart(
        x=counted,
        n=all_of,
        centre=centre,
        low=low,
        high=high,
        sigma_low=sigma_low,
        sigma_high=sigma_high,
        outside=(counted < low) | (counted > high),
        sigma_outside=(fraction < sigma_low) | (fraction > sigma_high),
        rate=rate,
    )


def exact_limits(chances: ArrayLike, rate: float) -> tuple[int, int]:
    """Smallest and largest count that leave at most half of ``rate`` beyond them on either side.

    Parameters
    ----------
    chances : array_like, shape (n,)
        Chance of each job; all alike gives the binomial, otherwise the Poisson-binomial.
    rate : float
        Chance of a count outside, both sides together.
    """
    return poisson_binomial.central_range(poisson_binomial.pmf(chances), 1 - rate)
