"""Ordinary (unpenalised) binomial regression, with separation found and named.

Source: McCullagh and Nelder, Generalized Linear Models, 2nd edition (1989), chapter 2 (Fisher's scoring).

No page uses it (penalised and pooled fits answer there): outside checks of designs, splines and links are published
values of ordinary fits, the faster fits of the pages are held to it, and the benchmark measures it beside others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analysis.errors import ModelError
from analysis.models.independence import refuse_aliased
from analysis.models.results import Result
from analysis.models.separation import separated_columns

Floats = NDArray[np.float64]
Link = Literal["logit", "cloglog"]

MAX_ITERATIONS = 200
LAST_GAIN = 1e-12  # a step that gains less is the last: the error is squared by it (nearly, for other links)
FAR = 700.0  # exp() of more is infinite
BLOCK_ROWS = 2**13
CLEARLY_APART = 1e-10  # least share of the columns' squared length that nothing else explains


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


@dataclass(frozen=True)
class _Point:
    """The likelihood at one value of the coefficients: deviance, slope (p,), expected information (p, p).

    ``told`` is the least pull of a row with one outcome only, towards that outcome.
    """

    deviance: float
    loglik: float
    slope: Floats
    information: Floats
    told: float


def _mean(eta: Floats, link: Link) -> tuple[Floats, Floats]:
    """Chance and its derivative at each linear predictor."""
    if link == "logit":
        p = special.expit(eta)
        return p, p * special.expit(-eta)
    rate = np.exp(np.minimum(eta, FAR))
    return -np.expm1(-rate), rate * np.exp(-rate)


@dataclass(frozen=True)
class _Likelihood:
    x: Floats
    y: Floats
    trials: Floats
    shift: Floats
    link: Link

    @cached_property
    def most(self) -> float:
        """The log likelihood if every row had a chance of its own; 0 for outcomes of 0 or 1."""
        return float(self.trials @ (special.xlogy(self.y, self.y) + special.xlogy(1 - self.y, 1 - self.y)))

    def at(self, beta: Floats) -> _Point:
        """Evaluate; rows are taken in blocks that fit a processor's cache."""
        width = self.x.shape[1]
        slope, information = np.zeros(width), np.zeros((width, width))
        loglik, told = 0.0, np.inf
        for first in range(0, len(self.y), BLOCK_ROWS):
            rows = slice(first, first + BLOCK_ROWS)
            x, y, trials = self.x[rows], self.y[rows], self.trials[rows]
            p, rise = _mean(x @ beta + self.shift[rows], self.link)
            p = np.clip(p, 1e-300, 1 - 1e-16)
            spread = p * (1 - p)
            pull = trials * (y - p) * rise / spread
            slope += pull @ x
            information += (x.T * (trials * rise**2 / spread)) @ x
            here = float(trials @ (y * np.log(p) + (1 - y) * np.log1p(-p)))
            loglik += here
            told = min(told, float(np.abs(pull[(y == 0) | (y == 1)]).min(initial=np.inf)))
        return _Point(2 * (self.most - loglik), loglik, slope, information, told)


def _settle(likelihood: _Likelihood) -> tuple[Floats, _Point, bool]:
    """Fisher's scoring with halved steps."""
    beta = np.zeros(likelihood.x.shape[1])
    point = likelihood.at(beta)
    for _ in range(MAX_ITERATIONS):
        try:
            step = np.linalg.solve(point.information, point.slope)
        except np.linalg.LinAlgError:  # the outcomes are split so far that nothing is left to tell
            return beta, point, False
        last = float(point.slope @ step) < LAST_GAIN
        for _ in range(30):
            trial = likelihood.at(beta + step)
            if trial.deviance <= point.deviance + 1e-12 * (1 + abs(point.deviance)):
                break
            step = step / 2
        beta, point = beta + step, trial
        if last:
            return beta, point, True
    return beta, point, False


def _plainly_overlaps(likelihood: _Likelihood, point: _Point) -> bool:
    """Whether the fit itself shows that no direction splits successes from failures.

    Along such a direction d the slope of the log likelihood would be the sum over rows of pull times distance: no less
    than the least pull times the length of X d, and so than the least pull times the least singular value of X times
    the length of d. A smaller slope leaves no such direction, and the linear programme need not be asked.
    """
    if (likelihood.trials <= 0).any():
        return False
    length = np.sqrt(np.einsum("ij,ij->j", likelihood.x, likelihood.x))
    least = np.linalg.eigvalsh((likelihood.x.T @ likelihood.x) / np.outer(length, length))[0]
    if least < CLEARLY_APART:
        return False
    return bool(np.linalg.norm(point.slope / length) < 0.5 * point.told * np.sqrt(least))


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
    columns, outcome = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if columns.ndim != 2 or len(columns) != len(outcome) or columns.shape[1] != len(names):
        raise ModelError("The rows of the design and of the outcomes do not match.")
    trials = np.ones(len(outcome)) if weights is None else np.asarray(weights, dtype=float)
    shift = np.zeros(len(outcome)) if offset is None else np.asarray(offset, dtype=float)
    if not all(np.isfinite(part).all() for part in (columns, outcome, trials, shift)):
        raise ModelError("A value is missing or infinite; blanks must be coded before the fit.")
    refuse_aliased(columns, names)
    likelihood = _Likelihood(columns, outcome, trials, shift, link)
    beta, point, settled = _settle(likelihood)
    apart = settled and _plainly_overlaps(likelihood, point)
    split = () if apart else separated_columns(columns, outcome, names)
    covariance = np.asarray(np.linalg.pinv(point.information))
    variance = np.diag(covariance)
    settled = settled and not split
    reason = f"successes and failures are split without overlap by: {', '.join(split)}" if split else ""
    return LogitResult(
        n=round(float(trials.sum())),
        events=round(float(trials @ outcome)),
        converged=settled,
        reason=reason if split or settled else "the iteration did not settle",
        names=tuple(names),
        coefficients=beta,
        se=np.sqrt(np.where(variance < 0, np.nan, variance)),  # rounding's, where outcomes are split
        covariance=covariance,
        loglik=point.loglik,
        deviance=point.deviance,
        separated=split,
    )
