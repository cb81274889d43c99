"""Ordinary (unpenalised) binomial regression by statsmodels, with separation found and named."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError
from analysis.models.independence import refuse_aliased
from analysis.models.results import Result
from analysis.models.separation import separated_columns

Floats = NDArray[np.float64]
Link = Literal["logit", "cloglog"]


@dataclass(frozen=True, kw_only=True)
class LogitResult(Result):
    """An ordinary binomial fit.

    Parameters
    ----------
    names : tuple of str
    coefficients, se : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        Inverse of the expected information.
    loglik, deviance : float
        The log likelihood without the binomial constants.
    separated : tuple of str
        Columns that split the outcomes; the fit has then no finite estimate.
    """

    names: tuple[str, ...]
    coefficients: Floats
    se: Floats
    covariance: Floats
    loglik: float
    deviance: float
    separated: tuple[str, ...]


def _covariance(x: Floats, beta: Floats, trials: Floats, shift: Floats, family: Any) -> Floats:
    """Inverse of the expected information at the estimate; statsmodels prints that of one step before."""
    eta = x @ beta + shift
    p = np.clip(family.link.inverse(eta), 1e-300, 1 - 1e-16)
    w = trials * family.link.inverse_deriv(eta) ** 2 / (p * (1 - p))
    return np.asarray(np.linalg.pinv((x.T * w) @ x))


def fit_logit(
    x: ArrayLike,
    y: ArrayLike,
    names: tuple[str, ...],
    *,
    weights: ArrayLike | None = None,
    offset: ArrayLike | None = None,
    link: Link = "logit",
) -> LogitResult:
    """Fit a binomial regression by maximum likelihood.

    Parameters
    ----------
    x : array_like, shape (n, p)
        Design, the intercept included.
    y : array_like, shape (n,)
        Outcomes 0/1, or shares with ``weights`` as trials.
    names : tuple of str
        One name a column.
    weights : array_like, shape (n,), optional
        Trials of each row.
    offset : array_like, shape (n,), optional
        Added to the linear predictor.
    link : {"logit", "cloglog"}

    Raises
    ------
    ModelError
        If shapes do not match, a value is missing, or columns are aliased; aliased columns are named.
    """
    import statsmodels.api as sm  # slow to import

    columns, outcome = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if columns.ndim != 2 or len(columns) != len(outcome) or columns.shape[1] != len(names):
        raise ModelError("The rows of the design and of the outcomes do not match.")
    trials = np.ones(len(outcome)) if weights is None else np.asarray(weights, dtype=float)
    shift = np.zeros(len(outcome)) if offset is None else np.asarray(offset, dtype=float)
    if not all(np.isfinite(part).all() for part in (columns, outcome, trials, shift)):
        raise ModelError("A value is missing or infinite; blanks must be coded before the fit.")
    refuse_aliased(columns, names)
    split = separated_columns(columns, outcome, names)
    family = sm.families.Binomial(sm.families.links.Logit() if link == "logit" else sm.families.links.CLogLog())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # separation is found and named above
        fit = sm.GLM(outcome, columns, family=family, freq_weights=trials, offset=shift).fit(tol=1e-13, maxiter=200)
    covariance = _covariance(columns, np.asarray(fit.params), trials, shift, family)
    p = np.clip(fit.fittedvalues, 1e-300, 1 - 1e-16)
    loglik = float((trials * (outcome * np.log(p) + (1 - outcome) * np.log1p(-p))).sum())
    settled = bool(fit.converged) and not split
    reason = f"successes and failures are split without overlap by: {', '.join(split)}" if split else ""
    return LogitResult(
        n=round(float(trials.sum())),
        events=round(float(trials @ outcome)),
        converged=settled,
        reason=reason if split or settled else "the iteration did not settle",
        names=tuple(names),
        coefficients=np.asarray(fit.params),
        se=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        loglik=loglik,
        deviance=float(fit.deviance),
        separated=split,
    )
