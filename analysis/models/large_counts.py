"""The number of successes among thousands of jobs whose chances are themselves uncertain, from its cumulants.

Where chances are drawn many times, the exact distribution (:mod:`.poisson_binomial`) of every draw takes minutes for a
network's year. Here each draw's distribution comes from its first four cumulants by the expansion of Cornish and
Fisher, Revue de l'Institut International de Statistique 5 (1938) 307–320: its cumulative probability is Φ(w), with x
the count in standard deviations from its mean, γ the skewness and κ the excess kurtosis,

    w = x - γ (x² - 1) / 6 - κ (x³ - 3 x) / 24 + γ² (4 x³ - 7 x) / 36.

It is for smooth distributions. The one that has the probabilities of a whole number halfway between counts has 1/12
less variance and a fourth cumulant larger by 1/120 (Kolassa and McCullagh, Annals of Statistics 18 (1990) 981–985).
Formulas and sources from memory, checked against exact distributions (tests/models/test_large_counts.py): beyond
:data:`MANY` jobs and from a variance of :data:`SPREAD` on no cumulative probability is off by more than 0.000005, one
of .01 by no more than 0.05 % of it, one of .0001 by 0.6 %, one of a millionth by 3 %.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from analysis.models.binary import blocks

Floats = NDArray[np.float64]

MANY = 2_000  # jobs, more than which no bench has in a year
SPREAD = 200.0  # least variance of the number of successes in any draw
FAR = 10.0  # standard deviations of each draw's distribution that are worked out
BEYOND = 25.0  # further off a draw has nothing to add, and the expansion would turn back


def cumulants(drawn: Iterator[Floats], draws: int) -> Floats:
    """First four cumulants of the number of successes in each draw, shape (4, draws).

    Parameters
    ----------
    drawn : iterator of ndarray, each of shape (draws, m)
        Chances of some jobs at a time.
    draws : int
        Number of draws.
    """
    out = np.zeros((4, draws))
    for p in drawn:
        spread = p * (1 - p)
        total = spread.sum(axis=1)
        out[0] += p.sum(axis=1)
        out[1] += total
        out[2] += total - 2 * np.einsum("dj,dj->d", spread, p)
        out[3] += total - 6 * np.einsum("dj,dj->d", spread, spread)
    return out


def mixed_pmf(cumulants: Floats, n: int) -> Floats:
    """Probability of 0, 1, …, n successes, averaged over draws, shape (n + 1,).

    Parameters
    ----------
    cumulants : ndarray, shape (4, draws)
        From :func:`cumulants`; the variances at least :data:`SPREAD`.
    n : int
        Jobs.
    """
    mean, variance = cumulants[0], cumulants[1] - 1 / 12
    sd = np.sqrt(variance)
    skewness, kurtosis = cumulants[2] / sd**3, (cumulants[3] + 1 / 120) / variance**2
    first = max(0, int((mean - FAR * sd).min()))
    last = min(n, int((mean + FAR * sd).max()) + 1)
    counts = np.arange(first, last)  # between each and the next the probability is cut
    below = counts < mean.mean()
    tails = np.empty(len(counts))  # of at most so many below the mean, of more above it, so that small ones keep digits
    for some in blocks(len(counts), len(mean)):
        x = np.clip((counts[some] + 0.5 - mean[:, None]) / sd[:, None], -BEYOND, BEYOND)
        w = _normal(x, skewness[:, None], kurtosis[:, None])
        tails[some] = ndtr(np.where(below[some], w, -w)).mean(axis=0)
    at = int(below.sum())
    lower, upper = np.r_[0.0, tails[:at]], np.r_[tails[at:], 0.0]
    out = np.zeros(n + 1)
    out[first : last + 1] = np.r_[np.diff(lower), 1 - lower[-1] - upper[0], -np.diff(upper)]
    return np.maximum(out, 0.0)


def _normal(x: Floats, skewness: Floats, kurtosis: Floats) -> Floats:
    """Standardised values moved to where a standard normal has the same chance of less."""
    square = x * x
    of_kurtosis, of_skewness = kurtosis * (square - 3) / 24, skewness**2 * (4 * square - 7) / 36
    return np.asarray(x * (1 - of_kurtosis + of_skewness) - skewness * (square - 1) / 6)
