"""Limits for the mean of a month's jobs, by resampling earlier jobs, their own uncertainty included.

Source: Rubin, Annals of Statistics 9 (1981) 130–134 (Bayesian bootstrap). Counts of passes or pads of a dozen jobs are
nothing like normal, so that textbook limits are wrong. A simulated month is drawn job by job from the earlier jobs and
the ones already drawn (an urn): that is the same as first drawing how common each value truly is and then the jobs, so
that few earlier jobs give wide limits. Months of more jobs than any bench has are drawn the second way, by how often
each value comes (the same law, in time that no longer grows with the jobs). A value never seen is never drawn,
however: where nearly all earlier jobs have the same value, the limits miss what the rare ones may be, and
:func:`enough_differing` says no.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import ModelError
from analysis.models.binary import blocks

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class MeanLimits:
    """Limits for a mean of ``n`` jobs.

    Parameters
    ----------
    low, high : float
        At most half of ``rate`` of the simulated months lies beyond either.
    n, earlier : int
        Jobs in the month, and earlier jobs drawn from.
    rate : float
        Chance of a month outside without a cause, both sides together.
    rng_seed, draws : int
        Random seed, and simulated months.
    """

    low: float
    high: float
    n: int
    earlier: int
    rate: float
    rng_seed: int
    draws: int


# Chosen by simulation: with ten, months in which 2 to 10 % of the jobs have a count kept to their rate.
MINIMUM_DIFFERING = 10
# Jobs in a month from which counting values is the faster way to draw it (a bench has 10 to 30).
MANY = 500


def enough_differing(earlier: Floats) -> bool:
    """Whether enough earlier jobs differ from the commonest value for limits to be drawn from them.

    Parameters
    ----------
    earlier : ndarray, shape (m,)
        Values of earlier jobs, none missing.
    """
    _, counts = np.unique(earlier, return_counts=True)
    return len(earlier) - int(counts.max(initial=0)) >= MINIMUM_DIFFERING


def mean_limits(earlier: Floats, n: int, rate: float, rng_seed: int, draws: int) -> MeanLimits:
    """Limits for the mean of ``n`` jobs like the earlier ones.

    Parameters
    ----------
    earlier : ndarray, shape (m,)
        Values of earlier jobs, none missing.
    n : int
        Jobs in the month.
    rate : float
        Chance of a month outside, both sides together.
    rng_seed, draws : int
        Random seed, and simulated months.

    Raises
    ------
    ModelError
        Without earlier jobs or jobs, or where the simulated months are too few for the rate.
    """
    if not len(earlier) or n < 1 or np.isnan(earlier).any():
        raise ModelError("Limits need earlier jobs with a value, and at least one job.")
    if draws * rate / 2 < 5:
        raise ModelError(f"{draws} simulated months are too few for a false-alarm rate of {rate:g}.")
    rng = np.random.default_rng(rng_seed)
    means = np.sort((_by_value if n > MANY else _job_by_job)(earlier, n, rng, draws))
    beyond = int(np.floor(draws * rate / 2))
    return MeanLimits(float(means[beyond]), float(means[-beyond - 1]), n, len(earlier), rate, rng_seed, draws)


def _job_by_job(earlier: Floats, n: int, rng: np.random.Generator, draws: int) -> Floats:
    """Means of simulated months drawn from the urn, shape (draws,)."""
    which = np.empty((n, draws), dtype=np.int32)  # the earlier job that each job of a simulated month is like
    for k in range(n):
        ball = rng.integers(0, len(earlier) + k, draws)
        again = np.flatnonzero(ball >= len(earlier))
        which[k] = ball
        which[k, again] = which[ball[again] - len(earlier), again]
    rows = blocks(draws, n)
    return np.concatenate([earlier.take(which[:, some].T).mean(axis=1) for some in rows])


def _by_value(earlier: Floats, n: int, rng: np.random.Generator, draws: int) -> Floats:
    """The same by how often each value comes: its true share is Dirichlet, its count multinomial; shape (draws,)."""
    values, counts = np.unique(earlier, return_counts=True)
    means = []
    for some in blocks(draws, len(values)):
        shares = rng.standard_gamma(counts.astype(float), size=(len(range(draws)[some]), len(values)))
        means.append(rng.multinomial(n, shares / shares.sum(axis=1, keepdims=True)) @ values / n)
    return np.concatenate(means)
