"""A difference in the chance of success over several tables of two arms, and its P by drawing the lots again.

Sources: Mantel–Haenszel risk difference with the variance of Sato, Greenland and Robins, Biometrics 45 (1989)
1323–1324; the P by re-randomisation as in Rosenberger and Lachin, Randomization in Clinical Trials, 2nd ed. (2016),
chapter 6. Both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.errors import ModelError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StrataDifference:
    """Pooled difference of two arms.

    Parameters
    ----------
    difference, se : float
        With less without, as a share.
    low, high : float
        Ends of the interval.
    level : float
    """

    difference: float
    se: float
    low: float
    high: float
    level: float


def strata_difference(y: Floats, arm: Floats, strata: NDArray[np.int64], level: float = 0.95) -> StrataDifference:
    """Pool the difference over strata.

    Parameters
    ----------
    y, arm : ndarray, shape (n,)
        Success and arm, 0 or 1.
    strata : ndarray of int, shape (n,)
        Table each row belongs to.
    level : float
        Level of the interval.

    Raises
    ------
    ModelError
        If no stratum holds both arms.
    """
    won, n = _tables(y, arm, strata)
    total = n.sum(axis=1)
    used = (n > 0).all(axis=1)
    if not used.any():
        raise ModelError("No damage class holds jobs of both arms yet.")
    (x1, x0), (n1, n0), total = won[used].T, n[used].T, total[used]
    weight = n1 * n0 / total
    difference = float((weight * (x1 / n1 - x0 / n0)).sum() / weight.sum())
    p = (n1**2 * x0 - n0**2 * x1 + n1 * n0 * (n0 - n1) / 2) / total**2
    q = (x1 * (n0 - x0) + x0 * (n1 - x1)) / (2 * total)
    variance = float((difference * p.sum() + q.sum()) / weight.sum() ** 2)
    se = float(np.sqrt(max(variance, 0.0)))
    half = float(stats.norm.isf((1 - level) / 2)) * se
    return StrataDifference(difference, se, max(-1.0, difference - half), min(1.0, difference + half), level)


def _tables(y: Floats, arm: Floats, strata: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Successes and rows of each stratum, with the technique and without, shape (s, 2) each."""
    _, place = np.unique(strata, return_inverse=True)
    many = int(place.max(initial=-1)) + 1
    arms = [arm, 1 - arm]
    n = np.column_stack([np.bincount(place, a, many) for a in arms]).astype(float)
    won = np.column_stack([np.bincount(place, a * y, many) for a in arms]).astype(float)
    return won, n


def redrawn_p(y: Floats, arm: Floats, strata: NDArray[np.int64], draws: int, rng: np.random.Generator) -> float:
    """Two-sided P that the arms make no difference: how often lots drawn again within strata set them as far apart.

    The statistic is the number of successes with the technique less what each stratum's lots give on average.
    """
    rows = [np.flatnonzero(strata == s) for s in np.unique(strata)]
    centre = sum(float(arm[r].sum() * y[r].mean()) for r in rows)
    found = abs(float(arm @ y) - centre)
    again = np.zeros(draws)
    for r in rows:
        given, n = int(arm[r].sum()), len(r)
        again += rng.hypergeometric(int(y[r].sum()), n - int(y[r].sum()), given, draws) if given else 0
    return float((1 + (np.abs(again - centre) >= found - 1e-9).sum()) / (draws + 1))
