"""How far a comparison of arms is from sure, by formula: what one row more or less of each kind would change.

A bootstrap draws every row's frequency anew and sees how the estimate moves. To first order it moves by the sum of the
rows' influences, each the slope of the estimate in that row's frequency, the fits of both models included; the variance
over all samples then needs no sample at all. What is left out falls with the square of the rows, so that a bench's few
jobs are bootstrapped and a network's many are not. Sources: Efron, The Jackknife, the Bootstrap and Other Resampling
Plans (1982), chapter 6 (infinitesimal jackknife); Stefanski and Boos, The American Statistician 56 (2002) 29–38
(estimating equations of several stages); both from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from analysis.models.overlap_weights import Arms, Models, with_arm
from analysis.models.ridge_logit import information_of, precision_of

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Mean:
    """A weighted mean of the rows, and its slope in each row's frequency and in the coefficients of either model."""

    value: float
    by_row: Floats
    by_chosen: Floats
    by_outcome: Floats


def _mean(weight: Floats, slope: Floats, each: Floats, moves: Floats, x: Floats, both: Floats) -> _Mean:
    """Mean of ``each`` by ``weight``.

    ``slope`` is that of the weight in the log odds of the arm, ``moves`` that of ``each`` in the log odds of success.
    """
    total = weight.sum()
    value = float(weight @ each / total)
    off = (each - value) / total
    return _Mean(value, weight * off, (slope * off) @ x, (weight * moves / total) @ both)


def _total(parts: list[tuple[float, _Mean]]) -> _Mean:
    return _Mean(
        sum(sign * part.value for sign, part in parts),
        np.asarray(sum(sign * part.by_row for sign, part in parts)),
        np.asarray(sum(sign * part.by_chosen for sign, part in parts)),
        np.asarray(sum(sign * part.by_outcome for sign, part in parts)),
    )


def influences(arms: Arms, models: Models) -> Mapping[str, Floats]:
    """Slope of each estimate of :func:`.overlap_weights.compare` in the frequency of every row.

    Parameters
    ----------
    arms : Arms
        n rows.
    models : Models
        The fits on all of them.

    Returns
    -------
    mapping of str to ndarray, shape (n,)
        "difference", "robust" and "log_failure_ratio".
    """
    both, sd = with_arm(arms)
    x, a, y = arms.x, arms.arm, arms.y
    e, p = expit(x @ models.chosen), expit(both @ models.outcome)
    treated, untreated = (np.column_stack([x, np.full(len(y), value)]) for value in (1.0, 0.0))
    one, none = expit(treated @ models.outcome), expit(untreated @ models.outcome)
    h, bend = e * (1 - e), e * (1 - e) * (1 - 2 * e)
    with_it = _mean(h, bend, one, one * (1 - one), x, treated)
    without = _mean(h, bend, none, none * (1 - none), x, untreated)
    rest_one = _mean(a * (1 - e), -a * h, y - one, -one * (1 - one), x, treated)
    rest_none = _mean((1 - a) * e, (1 - a) * h, y - none, -none * (1 - none), x, untreated)
    held = information_of(x, e, precision_of(arms.prior_sd, x.shape[1]))
    held_both = information_of(both, p, precision_of(sd, both.shape[1]))

    def slopes(total: _Mean) -> Floats:
        """One row more moves the coefficients of a model by what its score is worth in that model's curvature."""
        by_chosen = (x @ np.linalg.solve(held, total.by_chosen)) * (a - e)
        return np.asarray(total.by_row + by_chosen + (both @ np.linalg.solve(held_both, total.by_outcome)) * (y - p))

    difference = _total([(1.0, with_it), (-1.0, without)])
    robust = _total([(1.0, difference), (1.0, rest_one), (-1.0, rest_none)])
    ratio = _total([(-1 / (1 - with_it.value), with_it), (1 / (1 - without.value), without)])
    return {"difference": slopes(difference), "robust": slopes(robust), "log_failure_ratio": slopes(ratio)}


def variances(arms: Arms, models: Models, strata: NDArray[np.int64]) -> dict[str, float]:
    """Variances that a bootstrap keeping the rows of every stratum has with very many samples, to first order.

    Parameters
    ----------
    arms : Arms
    models : Models
    strata : ndarray of int, shape (n,)
        As for :func:`.overlap_weights.stratified_samples`.

    Returns
    -------
    dict of str to float
        By the names of :func:`influences`.
    """
    n = np.maximum(np.bincount(strata), 1)
    out = {}
    for name, slope in influences(arms, models).items():
        within = slope - (np.bincount(strata, weights=slope) / n)[strata]
        out[name] = float(within @ within)
    return out
