"""When a change in the odds began, by its likelihood, with an interval.

Each job may be the first with other odds than expected. The likelihood of that is averaged over a range of possible
changes and scaled to sum to one over the jobs (a flat weight on every job), as in Hinkley, Biometrika 57 (1970) 1–17,
for the likelihood of a change point; the average over changes in place of their best value keeps the interval from
being too short. The interval is the shortest set of jobs, from first to last, that holds the stated weight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import ModelError
from analysis.models.cusum import scores

Floats = NDArray[np.float64]

# Changes averaged over: odds divided (or multiplied) by 1.3 to 16, evenly on the log scale.
LOG_CHANGES = np.linspace(np.log(1.3), np.log(16.0), 24)


@dataclass(frozen=True)
class ChangePoint:
    """The job a change began with.

    Parameters
    ----------
    at : int
        Position of the likeliest first job of the change.
    low, high : int
        First and last position of the interval.
    level : float
        Weight the interval holds.
    weights : ndarray, shape (n,)
        Weight of each job as the first of the change; sums to one.
    odds_factor : float
        Likeliest factor on the odds since then.
    """

    at: int
    low: int
    high: int
    level: float
    weights: Floats
    odds_factor: float


def change_point(chances: Floats, y: Floats, *, worse: bool, level: float = 0.80) -> ChangePoint:
    """Locate the beginning of a change among jobs in the order they were tested.

    Parameters
    ----------
    chances : ndarray, shape (n,)
        Expected chances of ``y`` = 1.
    y : ndarray, shape (n,)
        Outcomes, 0 or 1.
    worse : bool
        Whether the odds fell; otherwise they rose.
    level : float
        Weight of the interval.

    Raises
    ------
    ModelError
        Without any job.
    """
    if not len(y):
        raise ModelError("A change point needs at least one job.")
    factors = np.exp(-LOG_CHANGES if worse else LOG_CHANGES)
    # Log-likelihood ratio of a change from each job on, for each factor: sums from the end backwards.
    gains = np.array([np.cumsum(scores(chances, y, factor)[::-1])[::-1] for factor in factors])
    top = gains.max()
    weights = np.exp(gains - top).sum(axis=0)
    weights = weights / weights.sum()
    at = int(np.argmax(weights))
    low, high = _shortest(weights, level)
    return ChangePoint(at, low, high, level, weights, float(factors[int(np.argmax(gains[:, at]))]))


def weight_of_change(chances: Floats, y: Floats, *, worse: bool) -> float:
    """Weight of other odds than expected among jobs, against the expected ones, both equally likely beforehand.

    Parameters
    ----------
    chances, y, worse
        As in :func:`change_point`; without jobs the weight is one half.
    """
    factors = np.exp(-LOG_CHANGES if worse else LOG_CHANGES)
    ratio = np.mean(np.exp([scores(chances, y, factor).sum() for factor in factors]))
    return float(ratio / (1 + ratio))


def _shortest(weights: Floats, level: float) -> tuple[int, int]:
    """Ends of the shortest run of positions that holds at least ``level``; the earliest where several are as short."""
    below = np.concatenate([[0.0], np.cumsum(weights)])
    # A little slack keeps rounding from lengthening the run.
    ends = np.searchsorted(below, below[:-1] + level - 1e-12)
    inside = np.flatnonzero(ends < len(below))
    best = inside[int(np.argmin(ends[inside] - inside))]
    return int(best), int(ends[best]) - 1
