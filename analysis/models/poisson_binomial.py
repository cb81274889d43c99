"""The number of successes among jobs with unequal chances (Poisson-binomial), exactly.

Source: Hong, Computational Statistics and Data Analysis 59 (2013) 41–51, describes the distribution. Jobs are added one
by one to small groups, and the distributions of two groups at a time are convolved into one. That is exact and stable,
since it only adds products of non-negative numbers: a small tail keeps its digits, as it would not by Fourier
transforms. Counts less likely than :data:`NOTHING` are left out on the way, which is what keeps many jobs quick: nearly
all counts are such.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError

Floats = NDArray[np.float64]

NOTHING = 1e-100  # probabilities below are given as zero
GROUP = 64  # jobs added one by one
BATCH_CELLS = 2**18  # of chances worked on together


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
    draws = max(1, BATCH_CELLS // max(many.shape[1], 1))
    for first in range(0, len(many) if many.shape[1] else 0, draws):
        mass, least = _of_all(many[first : first + draws])
        out[first : first + draws, 0] = 0.0
        out[first : first + draws, least : least + mass.shape[1]] = mass
    return out[0] if p.ndim == 1 else out


def _of_all(chances: Floats) -> tuple[Floats, int]:
    """Probabilities of the counts that are not as good as impossible, shape (draws, k), and the first of them."""
    groups = range(0, chances.shape[1], GROUP)
    parts = [(_one_by_one(chances[:, at : at + GROUP]), 0) for at in groups]
    while len(parts) > 1:
        joined = [_together(*pair) for pair in zip(parts[::2], parts[1::2], strict=False)]
        parts = joined + parts[2 * len(joined) :]
    return parts[0]


def _one_by_one(chances: Floats) -> Floats:
    """The same by adding one job after the other, shape (draws, n + 1); draws run along memory meanwhile."""
    p = np.ascontiguousarray(chances.T)
    out = np.zeros((len(p) + 1, len(chances)))
    out[0] = 1.0
    for k, chance in enumerate(p):
        moved = out[: k + 1] * chance
        out[: k + 1] *= 1 - chance
        out[1 : k + 2] += moved
    return np.ascontiguousarray(out.T)


def _together(one: tuple[Floats, int], other: tuple[Floats, int]) -> tuple[Floats, int]:
    """The distribution of the sum of two counts, without the ends that are as good as impossible in every draw."""
    (mass, least), (more, least_more) = one, other
    out = np.array([np.convolve(a, b) for a, b in zip(mass, more, strict=True)])
    likely = np.flatnonzero((out >= NOTHING).any(axis=0))
    return out[:, likely[0] : likely[-1] + 1], least + least_more + int(likely[0])


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


def smooth_range(mass: Floats, level: float) -> tuple[float, float]:
    """:func:`central_range` between whole counts, for lines over the number of jobs, which whole counts make jagged.

    The limits lie less than one count outside those of whole counts: the probability of so few, or of so many, is drawn
    straight between counts. Below, that is the interpolated limit of Spiegelhalter, Statistics in Medicine 24 (2005)
    1185–1202 (from memory). Above, his lies one count lower; here failures have the limits that successes would have,
    so that a whole count lies beyond a line where it lies beyond :func:`central_range`.
    """
    tail, counts = (1 - level) / 2, np.arange(len(mass))
    low = np.interp(tail, np.cumsum(mass), counts)
    high = len(mass) - 1 - np.interp(tail, np.cumsum(mass[::-1]), counts)
    return float(low), float(high)


def same_level_p(groups: Sequence[Floats], observed: Sequence[int]) -> float:
    """Exact P of three groups' counts if one level, known to nobody, added to the log odds of every job alike.

    Given the total, that level falls out. Tables are ordered by their probability, as in Fisher's exact test, which
    this is where all chances are equal.

    Parameters
    ----------
    groups : sequence of ndarray, each of shape (n_k + 1,)
        Probabilities of each group's counts, from :func:`pmf`.
    observed : sequence of int
        Successes of each.

    Raises
    ------
    ModelError
        If there are not three groups.
    """
    if len(groups) != 3:
        raise ModelError("Three groups are compared, no more and no fewer.")
    total = sum(observed)
    a, b = np.meshgrid(*(np.flatnonzero(mass) for mass in groups[:2]), indexing="ij")
    rest = total - a - b
    fits = (rest >= 0) & (rest < len(groups[2]))
    chance = np.where(fits, groups[0][a] * groups[1][b] * groups[2][np.where(fits, rest, 0)], 0.0)
    seen = np.prod([mass[count] for mass, count in zip(groups, observed, strict=True)])
    return float(min(1.0, chance[chance <= seen * (1 + 1e-7)].sum() / chance.sum()))


def two_sided(mass: Floats, observed: int) -> float:
    """Twice the smaller tail, the observed count included, at most 1."""
    return min(1.0, 2 * min(at_most(mass, observed), at_least(mass, observed)))
