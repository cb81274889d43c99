"""Ordinary (unpenalised) binomial regression by statsmodels, with separation found and named.

Source for finding separation: Konis, Linear programming algorithms for detecting separated data in binary logistic
regression models (thesis, Oxford 2007). A direction that splits successes from failures exists exactly when the
linear programme below has a solution other than zero.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linprog

from analysis.errors import ModelError
from analysis.models.results import Result

Floats = NDArray[np.float64]
Link = Literal["logit", "cloglog"]


def separated_columns(x: Floats, y: Floats, names: tuple[str, ...]) -> tuple[str, ...]:
    """Name the columns along which successes and failures are split without overlap.

    Parameters
    ----------
    x : ndarray, shape (n, p)
    y : ndarray, shape (n,)
        Outcomes; rows strictly between 0 and 1 (grouped data with both outcomes) cannot be split.
    names : tuple of str

    Returns
    -------
    tuple of str
        Empty when the maximum-likelihood estimate exists.
    """
    mixed = (y > 0) & (y < 1)
    sign = np.where(y > 0.5, 1.0, -1.0)
    signed = x[~mixed] * sign[~mixed, None]
    equal = x[mixed] if mixed.any() else None
    zeros = np.zeros(len(equal)) if equal is not None else None
    length = np.maximum(np.abs(x).max(axis=0), 1e-12)
    found = linprog(
        -(signed / length).sum(axis=0),
        A_ub=-signed / length,
        b_ub=np.zeros(len(signed)),
        A_eq=None if equal is None else equal / length,
        b_eq=zeros,
        bounds=[(-1, 1)] * x.shape[1],
    )
    return tuple(name for name, weight in zip(names, found.x, strict=True) if abs(weight) > 1e-7)


@dataclass(frozen=True, kw_only=True)
class LogitResult(Result):
    """An ordinary binomial fit.

    Parameters
    ----------
    names : tuple of str
    coefficients, se : ndarray, shape (p,)
    loglik, deviance : float
        The log likelihood without the binomial constants.
    separated : tuple of str
        Columns that split the outcomes; the fit has then no finite estimate.
    """

    names: tuple[str, ...]
    coefficients: Floats
    se: Floats
    loglik: float
    deviance: float
    separated: tuple[str, ...]


def fit_logit(
    x: ArrayLike, y: ArrayLike, names: tuple[str, ...], *, weights: ArrayLike | None = None, link: Link = "logit"
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
    link : {"logit", "cloglog"}

    Raises
    ------
    ModelError
        If shapes do not match.
    """
    import statsmodels.api as sm  # slow to import

    columns, outcome = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if columns.ndim != 2 or len(columns) != len(outcome) or columns.shape[1] != len(names):
        raise ModelError("The rows of the design and of the outcomes do not match.")
    trials = np.ones(len(outcome)) if weights is None else np.asarray(weights, dtype=float)
    split = separated_columns(columns, outcome, names)
    family = sm.families.Binomial(sm.families.links.Logit() if link == "logit" else sm.families.links.CLogLog())
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # separation is found and named above
        fit = sm.GLM(outcome, columns, family=family, freq_weights=trials).fit(tol=1e-13, maxiter=200)
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
        se=np.asarray(fit.bse),
        loglik=loglik,
        deviance=float(fit.deviance),
        separated=split,
    )
