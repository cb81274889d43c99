"""The number of successes among jobs with unequal chances (Poisson-binomial), exactly.

Source: Hong, Computational Statistics and Data Analysis 59 (2013) 41–51, describes the distribution; the plain
convolution used here is exact and stable, since it only adds products of non-negative numbers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError

Floats = NDArray[np.float64]


def pmf(chances: ArrayLike) -> Floats:
    """Probability of 0, 1, …, n successes.

    Parameters
    ----------
    chances : array_like, shape (n,) or (draws, n)
        Chance of success of each job; several rows are several sets of chances.

    Returns
    -------
    ndarray, shape (n + 1,) or (draws, n + 1)

    Raises
    ------
    ModelError
        If a chance is not between 0 and 1.
    """
    p = np.asarray(chances, dtype=float)
    if p.size and not ((p >= 0) & (p <= 1)).all():
        raise ModelError("A chance lies outside 0 to 1 or is missing.")
    many = np.atleast_2d(p)
    out = np.zeros((many.shape[0], many.shape[1] + 1))
    out[:, 0] = 1.0
    for k in range(many.shape[1]):
        chance = many[:, k : k + 1]
        out[:, 1 : k + 2] = out[:, 1 : k + 2] * (1 - chance) + out[:, : k + 1] * chance
        out[:, :1] *= 1 - chance
    return out[0] if p.ndim == 1 else out


def cdf(mass: Floats) -> Floats:
    """Probability of at most 0, 1, …, n successes, from their probabilities ``mass``, shape (n + 1,)."""
    return np.asarray(np.minimum(np.cumsum(mass), 1.0))


def at_most(mass: Floats, observed: int) -> float:
    """Probability of the observed count or fewer."""
    return float(min(1.0, mass[: observed + 1].sum()))


def at_least(mass: Floats, observed: int) -> float:
    """Probability of the observed count or more; summed from that side, so that a small tail keeps its digits."""
    return float(min(1.0, mass[observed:].sum()))


def central_range(mass: Floats, level: float) -> tuple[int, int]:
    """Smallest and largest count that leave at most ``(1 - level) / 2`` beyond them on either side."""
    tail = (1 - level) / 2
    below = np.cumsum(mass)
    low = int(np.searchsorted(below, tail, side="right"))
    above = np.cumsum(mass[::-1])
    high = len(mass) - 1 - int(np.searchsorted(above, tail, side="right"))
    return low, high


def two_sided(mass: Floats, observed: int) -> float:
    """Twice the smaller tail, the observed count included, at most 1."""
    return min(1.0, 2 * min(at_most(mass, observed), at_least(mass, observed)))
