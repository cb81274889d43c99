"""Cause-specific proportional-hazards regression (Cox), with Efron's or Breslow's treatment of ties.

Sources: Cox, JRSS B 34 (1972) 187–220; Efron, JASA 72 (1977) 557–565; Breslow, Biometrics 30 (1974) 89–99; on
estimates that run off to infinity: Heinze and Schemper, Biometrics 57 (2001) 114–119. The competing end is treated as
censoring: the hazard ratio is that of the event's own rate. Intervals are Wald's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, stats

from analysis.errors import ModelError
from analysis.models.partial_likelihood import PartialLikelihood, Point, Ties
from analysis.models.results import Result
from analysis.models.timed import EVENT, Timed

Floats = NDArray[np.float64]

MAX_ITERATIONS = 60
LAST_GAIN = 1e-13  # a step that gains less is the last: Newton's error is squared by it
# A direction without this share of the first information has no finite estimate; without that of the largest, nothing
# to tell from at all.
NOTHING_LEFT = 1e-6
NOTHING_AT_ALL = 1e-11
FAR = 200.0  # log hazard ratio between two rows of the data that no finite estimate reaches


@dataclass(frozen=True, kw_only=True)
class CoxResult(Result):
    """A proportional-hazards fit.

    Parameters
    ----------
    names : tuple of str
        Columns.
    coefficients, se, low, high, p : ndarray, shape (p,)
        Log hazard ratios, standard errors, Wald interval and Wald P; NaN for columns without a finite estimate.
    loglik, loglik_null : float
        Partial log likelihood at the estimate and at zero.
    score_test : float
        Score test that all coefficients are zero, chi-square with p degrees of freedom.
    covariance : ndarray, shape (p, p)
    level : float
        Level of the intervals.
    ties : str
        "efron" or "breslow".
    """

    names: tuple[str, ...]
    coefficients: Floats
    se: Floats
    low: Floats
    high: Floats
    p: Floats
    loglik: float
    loglik_null: float
    score_test: float
    covariance: Floats
    level: float
    ties: Ties


def columns_without_information(x: Floats, data: Timed, names: tuple[str, ...]) -> tuple[str, ...]:
    """Name the 0/1 columns with no event on one of their two sides: their hazard ratio has no finite estimate."""
    event = data.event == EVENT
    out = []
    for j, name in enumerate(names):
        values = np.unique(x[:, j])
        if len(values) == 2:
            hits = [event[x[:, j] == value].any() for value in values]
            if not all(hits):
                out.append(name)
    return tuple(out)


def _checked(x: ArrayLike, data: Timed, names: tuple[str, ...]) -> Floats:
    columns = np.asarray(x, dtype=float)
    if columns.ndim != 2 or not len(names) or len(columns) != data.n or columns.shape[1] != len(names):
        raise ModelError("The rows of the design and of the times do not match.")
    if not np.isfinite(columns).all():
        raise ModelError("A value is missing or infinite; blanks must be coded before the fit.")
    if not data.events:
        raise ModelError("No row had the event, so that nothing can be compared.")
    return columns


def _weak_directions(information: Floats, against: Floats, share: float) -> Floats:
    """Directions (p, m) in which ``information`` is less than a share of ``against``."""
    values, vectors = linalg.eigh(information, against)
    return np.asarray(vectors[:, values < share])


def _named(directions: Floats, names: tuple[str, ...]) -> list[str]:
    """The columns that take part in any of the directions."""
    size = np.abs(directions).max(axis=0, keepdims=True)
    part = (np.abs(directions) > 1e-4 * size).any(axis=1)
    return [name for name, mine in zip(names, part, strict=True) if mine]


def _run_off(likelihood: PartialLikelihood, beta: Floats, point: Point, start: Point) -> Floats:
    """Directions (p, m) along which the estimate has no end; none (p, 0) while it may have one."""
    if np.ptp(likelihood.x @ beta) > FAR:
        return np.where(np.abs(beta) > 0.01 * np.abs(beta).max(), beta, 0.0)[:, None]
    return _weak_directions(point.information, start.information, NOTHING_LEFT)


def _climb(likelihood: PartialLikelihood, start: Point) -> tuple[Floats, Point, bool]:
    """Newton's steps with halving, to the maximum or to where a direction has run off."""
    beta, point = np.zeros(len(start.score)), start
    for _ in range(MAX_ITERATIONS):
        if _run_off(likelihood, beta, point, start).size:
            return beta, point, False
        step = np.linalg.solve(point.information, point.score)
        last = bool(point.score @ step < LAST_GAIN)
        trial = likelihood.at(beta + step)
        # Rounding of a sum over all events is no reason to halve a step.
        least = point.loglik - 1e-12 * max(100.0, abs(point.loglik))
        while not trial.loglik >= least and np.abs(step).max() > 1e-12:
            step = step / 2
            trial = likelihood.at(beta + step)
        beta, point = beta + step, trial
        if last:
            return beta, point, True
    return beta, point, False


def _scaled(columns: Floats) -> tuple[Floats, Floats]:
    """The columns centred and of about unit size, and what each was divided by (a power of two, so no digit moves)."""
    centred = columns - columns.mean(axis=0)
    spread = np.sqrt(np.einsum("ij,ij->j", centred, centred) / len(centred))
    scale = np.exp2(np.round(np.log2(np.where(spread > 0, spread, 1.0))))
    return centred / scale, scale


def stratum_numbers(strata: ArrayLike | None) -> NDArray[np.int64] | None:
    """Strata as numbers from 0."""
    return None if strata is None else np.unique(np.asarray(strata), return_inverse=True)[1]


def fit_cox(
    x: ArrayLike,
    data: Timed,
    names: tuple[str, ...],
    *,
    ties: Ties = "efron",
    strata: ArrayLike | None = None,
    level: float = 0.95,
) -> CoxResult:
    """Fit a cause-specific proportional-hazards regression.

    Parameters
    ----------
    x : array_like, shape (n, p)
        Columns without an intercept.
    data : Timed
        Times, events (2, the competing end, counts as censored), entries.
    names : tuple of str
        One name a column.
    ties : {"efron", "breslow"}
        Treatment of tied event times.
    strata : array_like, shape (n,), optional
        Groups with baseline hazards of their own.
    level : float
        Level of the Wald intervals.

    Returns
    -------
    CoxResult
        ``converged`` is False, with the columns named, when a coefficient runs off to infinity (a level without an
        event, columns that put the events in perfect order) or when columns are combinations of others.

    Raises
    ------
    ModelError
        If shapes do not match, a value is missing, or there is no event.
    """
    columns, scale = _scaled(_checked(x, data, names))
    likelihood = PartialLikelihood(columns, data, ties, stratum_numbers(strata))
    start = likelihood.at(np.zeros(len(names)))
    empty = _weak_directions(start.information, np.eye(len(names)), NOTHING_AT_ALL * np.trace(start.information))
    if empty.size or not np.trace(start.information) > 0:
        untold = _named(empty, names) if empty.size else list(names)
        reason = f"nothing in these jobs tells these columns apart: {', '.join(untold)}"
        return _result(data, names, np.zeros(len(names)), start, start, scale, level, ties, untold, reason)
    beta, point, settled = _climb(likelihood, start)
    gone = _run_off(likelihood, beta, point, start)
    adrift = _named(gone, names) if gone.size else []
    reason = "" if settled else "the iteration did not settle"
    if adrift:
        reason = f"no finite estimate for: {', '.join(adrift)}"
    return _result(data, names, beta, start, point, scale, level, ties, adrift, reason)


def _result(
    data: Timed,
    names: tuple[str, ...],
    beta: Floats,
    start: Point,
    point: Point,
    scale: Floats,
    level: float,
    ties: Ties,
    lost: list[str],
    reason: str,
) -> CoxResult:
    """Back in the units of the columns; no number for a column without a finite estimate."""
    unknown = np.isin(np.array(names, dtype=object), np.array(lost, dtype=object))
    covariance = np.full((len(names),) * 2, np.nan)
    known = np.ix_(~unknown, ~unknown)
    covariance[known] = np.linalg.pinv(point.information[known], hermitian=True)
    covariance = covariance / np.outer(scale, scale)
    se = np.sqrt(np.diag(covariance))
    estimate = np.where(unknown, np.nan, beta / scale)
    half = stats.norm.isf((1 - level) / 2) * se
    return CoxResult(
        n=data.n,
        events=data.events,
        converged=not reason,
        reason=reason,
        names=tuple(names),
        coefficients=estimate,
        se=se,
        low=estimate - half,
        high=estimate + half,
        p=stats.chi2.sf((estimate / se) ** 2, 1),
        loglik=point.loglik,
        loglik_null=start.loglik,
        score_test=float(start.score @ np.linalg.pinv(start.information, hermitian=True) @ start.score),
        covariance=covariance,
        level=level,
        ties=ties,
    )
