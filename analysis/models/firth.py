"""Logistic regression penalised by Jeffreys' prior (Firth), for few failures and separated data.

Sources: Firth, Biometrika 80 (1993) 27–38; Heinze and Schemper, Statistics in Medicine 21 (2002) 2409–2419 (tests
and profile intervals by the penalised likelihood); Puhr et al., Statistics in Medicine 36 (2017) 2302–2317 (FLIC: the
intercept that makes the mean chance equal the observed rate). The numerics are in ``penalised.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit, logit

from analysis.errors import ModelError
from analysis.models.binary import blocks, chances
from analysis.models.column_pairs import symmetric
from analysis.models.independence import refuse_aliased
from analysis.models.penalised import Data, leverages, lost_without, maximise, profile_interval
from analysis.models.results import Result

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class TermTest:
    """Penalised likelihood-ratio test that all columns of a term are zero."""

    label: str
    statistic: float
    df: int
    p: float


@dataclass(frozen=True, kw_only=True)
class FirthResult(Result):
    """A penalised logistic fit.

    Parameters
    ----------
    names : tuple of str
        Columns, shape (p,).
    coefficients : ndarray, shape (p,)
        Log odds ratios; the intercept is the penalised one.
    se : ndarray, shape (p,)
        Standard errors from the expected information at the estimate.
    se_augmented : ndarray, shape (p,)
        Standard errors from the information of the augmented data (smaller; some packages print these).
    low, high : ndarray, shape (p,)
        Ends of the profile penalised-likelihood intervals; empty arrays when not asked for.
    p : ndarray, shape (p,)
        Penalised likelihood-ratio P of each column; empty when not asked for.
    loglik : float
        Penalised log likelihood of the fit.
    flic_intercept : float
        Intercept that makes the mean chance equal the observed rate; chances are shown from it.
    covariance : ndarray, shape (p, p)
        Inverse of the expected information.
    level : float
        Level of the intervals.
    """

    names: tuple[str, ...]
    coefficients: Floats
    se: Floats
    se_augmented: Floats
    low: Floats
    high: Floats
    p: Floats
    loglik: float
    flic_intercept: float
    covariance: Floats
    level: float

    def linear(self, x: Floats) -> Floats:
        """Log odds for design rows ``x`` (n, p), from the FLIC intercept (column 0 is the intercept)."""
        beta = self.coefficients.copy()
        beta[0] = self.flic_intercept
        return np.asarray(x @ beta)

    def chance(self, x: Floats) -> Floats:
        """Chance of success for design rows ``x`` (n, p)."""
        return np.asarray(expit(self.linear(x)))


def _checked(
    x: Floats, y: Floats, weights: Floats | None, offset: Floats | None
) -> tuple[Floats, Floats, Floats, Floats]:
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    w = np.ones(len(y)) if weights is None else np.asarray(weights, dtype=float)
    o = np.zeros(len(y)) if offset is None else np.asarray(offset, dtype=float)
    if x.ndim != 2 or len(x) != len(y) or w.shape != y.shape or o.shape != y.shape:
        raise ModelError("The rows of the design and of the outcomes do not match.")
    if not all(np.isfinite(part).all() for part in (x, y, w, o)):
        raise ModelError("A value is missing or infinite; blanks must be coded before the fit.")
    if ((y < 0) | (y > 1)).any() or (w < 0).any():
        raise ModelError("Outcomes must lie between 0 and 1 and weights must not be negative.")
    return x, y, w, o


def _scaled(x: Floats, y: Floats, weights: Floats, offset: Floats) -> tuple[Data, Floats]:
    """What a fit needs, with every column about one in size, and what each was divided by, shape (p,).

    Steps are limited in size, so that units would otherwise matter; powers of two leave the digits as they are.
    """
    size = np.sqrt(np.einsum("ij,ij->j", x, x) / max(len(y), 1))
    scale = np.exp2(np.round(np.log2(np.where(size > 0, size, 1.0))))
    return Data.of(x if (scale == 1).all() else x / scale, y, weights, offset), scale


def _refuse_too_many(x: Floats, weights: Floats, names: tuple[str, ...]) -> None:
    """Refuse more columns than the rows can tell apart."""
    if len(names) != x.shape[1]:
        raise ModelError(f"{x.shape[1]} columns were given {len(names)} names.")
    used = x if (weights > 0).all() else x[weights > 0]
    if len(used) <= x.shape[1] and (weights <= 1).all():
        raise ModelError(f"{x.shape[1]} columns cannot be told apart from {len(used)} rows.")
    refuse_aliased(used, names)


def _flic(data: Data, beta: Floats) -> float:
    """Intercept by maximum likelihood with everything else held (Puhr et al. 2017)."""
    rest = data.x[:, 1:] @ beta[1:] + data.offset
    wanted = float(data.weights @ data.y)
    total = float(data.weights.sum())
    if wanted in (0.0, total):
        return float(beta[0])
    intercept = float(logit(wanted / total) - np.average(rest, weights=data.weights))
    for _ in range(100):
        p = expit(intercept + rest)
        step = (wanted - data.weights @ p) / (data.weights @ (p * (1 - p)))
        intercept += float(np.clip(step, -2, 2))
        if abs(step) < 1e-13:
            break
    return intercept


def _augmented(data: Data, beta: Floats, inverse: Floats) -> Floats:
    """Covariance from the information of the augmented data, shape (p, p)."""
    width = len(beta)
    sums = np.zeros(width * (width + 1) // 2)
    for rows in blocks(len(data.y), width):
        p, _ = chances(data.log_odds(beta[None], rows))
        weights = data.weights[rows]
        w = weights * p * (1 - p)
        hat = leverages(data, inverse[None], w, rows)
        share = np.divide(hat, weights, out=np.zeros_like(w), where=weights > 0)
        sums += data.pairs[rows] @ (w * (1 + share))[0]
    return np.asarray(np.linalg.inv(symmetric(sums, width)))


def fit_firth(
    x: Floats,
    y: Floats,
    names: tuple[str, ...],
    *,
    weights: Floats | None = None,
    offset: Floats | None = None,
    level: float = 0.95,
    intervals: bool = True,
) -> FirthResult:
    """Fit a logistic regression penalised by Jeffreys' prior.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Design with the intercept in column 0 and no aliased columns.
    y : ndarray, shape (n,)
        Outcomes, 0 or 1 (or shares, with ``weights`` as trials).
    names : tuple of str
        One name a column.
    weights : ndarray, shape (n,), optional
        Frequency of each row.
    offset : ndarray, shape (n,), optional
        Added to the log odds.
    level : float
        Level of the profile intervals.
    intervals : bool
        Whether intervals and tests are wanted; without them the fit is many times faster.

    Returns
    -------
    FirthResult

    Raises
    ------
    ModelError
        If shapes do not match, a value is missing, or columns are aliased.
    """
    checked = _checked(x, y, weights, offset)
    _refuse_too_many(checked[0], checked[2], names)
    data, scale = _scaled(*checked)
    width = len(scale)
    best, converged = maximise(data, np.zeros(width), np.ones(width, dtype=bool))
    beta, covariance = best.beta[0], best.inverse[0]
    empty = np.empty(0)
    low, high, p = empty, empty, empty
    if intervals and converged:
        low, high = (ends / scale for ends in profile_interval(data, best, level))
        p = stats.chi2.sf(lost_without(data, best, [[j] for j in range(width)]), 1)
    # The penalty is half the log determinant of the information, which the scaling has changed by a constant.
    loglik = float(best.loglik[0] + np.log(scale).sum())
    return FirthResult(
        n=round(float(data.weights.sum())),
        events=round(float(data.weights @ data.y)),
        converged=converged,
        reason="" if converged else "the iteration did not settle; look for a column that is nearly constant",
        names=tuple(names),
        coefficients=beta / scale,
        se=np.sqrt(np.diag(covariance)) / scale,
        se_augmented=np.sqrt(np.diag(_augmented(data, beta, covariance))) / scale,
        low=low,
        high=high,
        p=p,
        loglik=loglik,
        flic_intercept=_flic(data, beta) / scale[0],
        covariance=covariance / np.outer(scale, scale),
        level=level,
    )


def term_test(
    x: Floats,
    y: Floats,
    columns: tuple[int, ...],
    label: str,
    *,
    weights: Floats | None = None,
    offset: Floats | None = None,
    fitted: FirthResult | None = None,
) -> TermTest:
    """Penalised likelihood-ratio test of a term with one or more columns.

    Parameters
    ----------
    x, y, weights, offset
        As in :func:`fit_firth`.
    columns : tuple of int
        Positions of the term's columns.
    label : str
        Plain name of the term.
    fitted : FirthResult, optional
        The fit of the same rows, where there is one, so that it is not looked for again.

    Returns
    -------
    TermTest
        The penalty of the full design is kept when the columns are held at zero (Heinze and Schemper 2002).
    """
    data, scale = _scaled(*_checked(x, y, weights, offset))
    start = np.zeros(len(scale)) if fitted is None else fitted.coefficients * scale
    best, _ = maximise(data, start, np.ones(len(scale), dtype=bool))
    statistic = float(lost_without(data, best, [columns])[0])
    return TermTest(label=label, statistic=statistic, df=len(columns), p=float(stats.chi2.sf(statistic, len(columns))))
