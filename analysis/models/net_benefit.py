"""Net benefit of accepting every intake whose chance reaches a threshold.

Of n jobs, TP succeeded and FP failed among those accepted at threshold t::

    net benefit = TP / n - FP / n * t / (1 - t)

The threshold is the break-even chance: it says how many successes one failure costs. Source: Vickers and Elkin, Medical
Decision Making 26 (2006) 565–574.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError
from analysis.models.results import Result
from analysis.models.scores import checked

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class NetBenefit(Result):
    """Net benefit at several thresholds, in successes a job; declining all is worth 0 at each.

    Parameters
    ----------
    threshold : ndarray, shape (k,)
    by_chance : ndarray, shape (k,)
        Accepting where the chance is at least the threshold.
    accept_all : ndarray, shape (k,)
    accepted : ndarray of int, shape (k,)
        Jobs accepted by chance.
    """

    threshold: Floats
    by_chance: Floats
    accept_all: Floats
    accepted: NDArray[np.int64]


def net_benefit(p: ArrayLike, y: ArrayLike, threshold: ArrayLike) -> NetBenefit:
    """Net benefit of chances at each threshold.

    Parameters
    ----------
    p, y : array_like, shape (n,)
        Chances and 0/1 outcomes.
    threshold : array_like, shape (k,)
        Between 0 and 1, the ends left out.

    Raises
    ------
    ModelError
        If a threshold, chance or outcome cannot be used.
    """
    chances, outcome = checked(p, y)
    at = np.atleast_1d(np.asarray(threshold, dtype=float))
    if not ((at > 0) & (at < 1)).all():
        raise ModelError("A break-even chance must lie between 0 and 1.")
    taken = chances >= at[:, None]
    price = at / (1 - at)
    n = len(outcome)
    return NetBenefit(
        n=n,
        events=int(outcome.sum()),
        converged=True,
        threshold=at,
        by_chance=(taken @ outcome - price * (taken @ (1 - outcome))) / n,
        accept_all=outcome.mean() - price * (1 - outcome.mean()),
        accepted=taken.sum(axis=1),
    )
