"""Two ways of working compared among the jobs that could have gone either way.

Each job counts by how evenly it could have had either arm, h = e(1 - e), with e the chance of the arm given why it
is chosen (overlap weights: Li, Morgan and Zaslavsky, Journal of the American Statistical Association 113 (2018)
390–400; from memory). In that population the chances of success under either arm are averaged over the jobs
(standardisation, g-computation: Hernán and Robins, Causal Inference: What If, chapter 13). Beside it stands the
augmented estimate, right when either of the two models is (Mao, Li and Greene, Statistical Methods in Medical
Research 28 (2019) 2439–2454; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from analysis.models.ridge_logit import WEAK_SD, fit_many, information_of, precision_of

Floats = NDArray[np.float64]

ALMOST = 1e-4  # change of a coefficient at which a bootstrap fit has settled


@dataclass(frozen=True)
class Arms:
    """What is compared.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Success, 0 or 1.
    arm : ndarray, shape (n,)
        1 with the technique, 0 without.
    x : ndarray, shape (n, p)
        What is adjusted for, the intercept in column 0, never the arm.
    prior_sd : ndarray, shape (p,), or float
        Prior of the coefficients of ``x``; see :func:`analysis.models.ridge_logit.fit_many`.
    """

    y: Floats
    arm: Floats
    x: Floats
    prior_sd: Floats | float = WEAK_SD


@dataclass(frozen=True)
class Compared:
    """Estimates of every sample.

    Parameters
    ----------
    with_it, without : ndarray, shape (b,)
        Standardised chance of success under either arm.
    robust : ndarray, shape (b,)
        Doubly robust difference.
    """

    with_it: Floats
    without: Floats
    robust: Floats

    @property
    def difference(self) -> Floats:
        """Standardised difference in the chance of success."""
        return self.with_it - self.without

    @property
    def log_failure_ratio(self) -> Floats:
        """Log of the ratio of the chances of failure."""
        return np.asarray(np.log1p(-self.with_it) - np.log1p(-self.without))


@dataclass(frozen=True)
class Models:
    """Coefficients of both models on all rows; bootstrap fits start from them."""

    chosen: Floats
    outcome: Floats


def models_of(arms: Arms, near: Models | None = None) -> Models:
    """Fit why the arm was chosen, and what came of it, on all rows; ``near`` are fits on rows much the same."""
    once = np.ones((1, len(arms.y)))
    both, sd = with_arm(arms)
    start = (near.chosen, near.outcome) if near is not None and len(near.chosen) == arms.x.shape[1] else (None, None)
    chosen = fit_many(arms.x, arms.arm, once, arms.prior_sd, start[0])[0]
    return Models(chosen, fit_many(both, arms.y, once, sd, start[1])[0])


def with_arm(arms: Arms) -> tuple[Floats, Floats]:
    """Columns of the outcome model, the arm last, and the SDs of their priors."""
    sd = np.broadcast_to(np.asarray(arms.prior_sd, dtype=float), (arms.x.shape[1],))
    own = WEAK_SD if np.isfinite(sd[1:]).any() else np.inf
    return np.column_stack([arms.x, arms.arm]), np.append(sd, own)


def propensity(arms: Arms, models: Models) -> Floats:
    """Chance of the arm of each row, shape (n,)."""
    return np.asarray(expit(arms.x @ models.chosen))


def compare(arms: Arms, models: Models, samples: Floats, overlap: bool = True) -> Compared:
    """Compare the arms in every sample.

    Parameters
    ----------
    arms, models
        Rows, and the fits on all of them.
    samples : ndarray, shape (b, n)
        How often each row is in each sample.
    overlap : bool
        Average over the overlap population; else over all rows as they are.
    """
    both, sd = with_arm(arms)
    chosen = fit_many(arms.x, arms.arm, samples, arms.prior_sd, models.chosen, ALMOST)
    outcome = fit_many(both, arms.y, samples, sd, models.outcome, ALMOST)
    return compared(arms, chosen, outcome, samples, overlap)


def compared(arms: Arms, chosen: Floats, outcome: Floats, samples: Floats, overlap: bool = True) -> Compared:
    """:func:`compare` where the coefficients of both models are known, shapes (b, p) and (b, p + 1)."""
    e = expit(chosen @ arms.x.T)
    base = outcome[:, :-1] @ arms.x.T
    with_it, without = expit(base + outcome[:, -1:]), expit(base)
    h = samples * (e * (1 - e) if overlap else 1.0)
    treated = samples * arms.arm * ((1 - e) if overlap else 1 / e)
    other = samples * (1 - arms.arm) * (e if overlap else 1 / (1 - e))
    rest = averaged(treated, arms.y - with_it) - averaged(other, arms.y - without)
    first, second = averaged(h, with_it), averaged(h, without)
    return Compared(first, second, first - second + rest)


def averaged(weight: Floats, value: Floats) -> Floats:
    """Weighted mean of each row, shape (b,); both arguments have shape (b, n)."""
    return np.asarray((weight * value).sum(axis=1) / weight.sum(axis=1))


def stratified_samples(strata: NDArray[np.int64], draws: int, rng: np.random.Generator) -> Floats:
    """Bootstrap frequencies that keep the number of rows of every stratum.

    Parameters
    ----------
    strata : ndarray of int, shape (n,)
        Stratum of each row, such as its technician.
    draws : int
        Samples.
    rng : Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape (draws, n)
    """
    out = np.zeros((draws, len(strata)))
    for stratum in np.unique(strata):
        rows = np.flatnonzero(strata == stratum)
        out[:, rows] = rng.multinomial(len(rows), np.full(len(rows), 1 / len(rows)), draws)
    return out


def effective_n(weight: Floats) -> float:
    """Rows of equal weight that would tell as much (Kish, Survey Sampling, 1965; from memory)."""
    return float(weight.sum() ** 2 / (weight**2).sum()) if len(weight) else 0.0


def imbalance(arms: Arms, weight: Floats) -> float:
    """Largest difference of the arms' weighted means of what is adjusted for, in SDs of the column over all rows.

    Parameters
    ----------
    arms : Arms
    weight : ndarray, shape (n,)
    """
    columns = arms.x[:, 1:]
    spread = columns.std(axis=0)
    columns = columns[:, spread > 0] / spread[spread > 0]
    if not columns.shape[1]:
        return 0.0
    w1, w0 = weight * arms.arm, weight * (1 - arms.arm)
    return float(np.abs(w1 @ columns / w1.sum() - w0 @ columns / w0.sum()).max())


def imbalance_of_levels(arms: Arms, weight: Floats, level: NDArray[np.int64]) -> float:
    """:func:`imbalance` of one column a level, shape (n,), numbered from 0."""
    share = np.bincount(level) / len(level)
    spread = np.sqrt(share * (1 - share))
    w1, w0 = weight * arms.arm, weight * (1 - arms.arm)
    apart = np.bincount(level, w1) / w1.sum() - np.bincount(level, w0) / w0.sum()
    return float(np.abs(apart[spread > 0] / spread[spread > 0]).max(initial=0.0))


def variance_if_equal(arms: Arms, e: Floats, near: Floats | None = None) -> float:
    """Variance that the augmented difference has where the arms make no difference.

    With one model of the outcome for both arms the augmented difference is ``sum((arm - e) * rest) / sum(e * (1 - e))``
    with ``rest`` what that model leaves. A bootstrap cannot see this variance where an arm holds no or hardly any
    job of one outcome: all its samples look alike. The score test rests on the same quantity.

    Parameters
    ----------
    arms : Arms
    e : ndarray, shape (n,)
        Chance of the arm.
    near : ndarray, shape (p,), optional
        Coefficients of a fit of the outcome without the arm to start from.

    Returns
    -------
    float
        What the outcome model takes up by fitting is given back.
    """
    n, width = arms.x.shape
    p = expit(fit_many(arms.x, arms.y, np.ones((1, n)), arms.prior_sd, near)[0] @ arms.x.T)
    precision = precision_of(arms.prior_sd, width)
    held = information_of(arms.x, p, precision)
    taken_up = float(np.trace(np.linalg.solve(held, held - np.diag(precision))))
    each = e * (1 - e) * (arms.y - p) ** 2
    return float(each.sum() / (e * (1 - e)).sum() ** 2 * n / max(n - taken_up, 1.0))
