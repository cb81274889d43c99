"""Logistic regression penalised by Jeffreys' prior (Firth), for few failures and separated data.

Sources: Firth, Biometrika 80 (1993) 27–38; Heinze and Schemper, Statistics in Medicine 21 (2002) 2409–2419 (tests
and profile intervals by the penalised likelihood); Venzon and Moolgavkar, Applied Statistics 37 (1988) 87–94 (the
iteration for the ends of a profile interval); Puhr et al., Statistics in Medicine 36 (2017) 2302–2317 (FLIC: the
intercept that makes the mean chance equal the observed rate).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit, logit

from analysis.errors import ModelError
from analysis.models.results import Result

Floats = NDArray[np.float64]

MAX_ITERATIONS = 300
SAFE_STEPS = 12
MAX_STEP = 5.0
TOLERANCE = 1e-11


@dataclass(frozen=True)
class _Data:
    """What every likelihood evaluation needs."""

    x: Floats
    y: Floats
    weights: Floats
    offset: Floats


@dataclass(frozen=True)
class _Point:
    """Penalised likelihood and its parts at a batch of coefficient vectors, shape (b, p)."""

    beta: Floats
    loglik: Floats
    score: Floats
    information: Floats
    hat: Floats
    p: Floats


def _at(data: _Data, beta: Floats) -> _Point:
    """Evaluate the penalised likelihood at each row of ``beta``."""
    eta = beta @ data.x.T + data.offset
    p = expit(eta)
    w = data.weights * p * (1 - p)
    information = (data.x.T[None, :, :] * w[:, None, :]) @ data.x
    sign, logdet = np.linalg.slogdet(information)
    loglik = (data.weights * (data.y * eta - np.logaddexp(0, eta))).sum(axis=1)
    loglik = np.where(sign > 0, loglik + 0.5 * logdet, -np.inf)
    safe = np.where((sign > 0)[:, None, None], information, np.eye(beta.shape[1]))
    solved = np.linalg.solve(safe, np.broadcast_to(data.x.T, (len(beta), *data.x.T.shape)))
    hat = w * np.einsum("ij,bji->bi", data.x, solved)
    score = (data.weights * (data.y - p) + hat * (0.5 - p)) @ data.x
    return _Point(beta, loglik, score, safe, hat, p)


def _curvature(data: _Data, point: _Point, index: NDArray[np.int64], exact: bool) -> Floats:
    """Curvature for a Newton step: the expected information, or the slope of the score by central differences.

    The expected information makes safe steps anywhere but leaves the penalty's own curvature out, so that far from a
    quadratic (tiny, separated samples) it closes in slowly; near the maximum the exact slope takes over.
    """
    expected = point.information[0][np.ix_(index, index)]
    if not exact:
        return expected
    width = 1e-5 / np.sqrt(np.diag(expected))
    moves = np.zeros((2 * len(index), point.beta.shape[1]))
    rows = np.arange(len(index))
    moves[rows, index], moves[len(index) + rows, index] = width, -width
    scores = _at(data, point.beta + moves).score[:, index]
    slope = (scores[: len(index)] - scores[len(index) :]) / (2 * width[:, None])
    exact_curvature = -(slope + slope.T) / 2
    return exact_curvature if np.linalg.eigvalsh(exact_curvature).min() > 0 else expected


def _uphill(data: _Data, point: _Point, index: NDArray[np.int64], step: Floats) -> _Point | None:
    """The first point along halved steps that does not lower the likelihood."""
    for _ in range(30):
        trial = point.beta.copy()
        trial[0, index] += step
        candidate = _at(data, trial)
        if candidate.loglik[0] > point.loglik[0] - 1e-12 * abs(point.loglik[0]):
            return candidate
        step = step / 2
    return None


def _maximise(data: _Data, start: Floats, free: NDArray[np.bool_]) -> tuple[_Point, bool]:
    """Maximise over the free coefficients, the others held at ``start``; Newton with halved steps."""
    point = _at(data, start[None, :])
    index = np.flatnonzero(free)
    if not len(index):
        return point, True
    before = np.inf
    for turn in range(MAX_ITERATIONS):
        score = point.score[0, index]
        # The decrement is free of the columns' units; a score alone is not.
        decrement = float(score @ np.linalg.solve(point.information[0][np.ix_(index, index)], score))
        if decrement < TOLERANCE**2 or (decrement < 1e-16 and decrement > before / 4):
            return point, True
        before = decrement
        step = np.linalg.solve(_curvature(data, point, index, exact=turn >= SAFE_STEPS), score)
        step *= min(1.0, MAX_STEP / max(np.abs(step).max(), 1e-300))
        better = _uphill(data, point, index, step)
        if better is None:
            return point, decrement < 1e-8
        point = better
    return point, False


def _profile_ends(data: _Data, best: _Point, level: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Both ends of every profile interval at once.

    Returns
    -------
    ends : ndarray, shape (p, 2)
    found : ndarray of bool, shape (p, 2)
        Whether the iteration settled on each end.
    """
    count = best.beta.shape[1]
    target = best.loglik[0] - stats.chi2.ppf(level, 1) / 2
    which = np.repeat(np.arange(count), 2)
    side = np.tile([-1.0, 1.0], count)
    beta = np.repeat(best.beta, 2 * count, axis=0)
    done = np.zeros(2 * count, dtype=bool)
    for _ in range(MAX_ITERATIONS):
        active = np.flatnonzero(~done)
        if not len(active):
            break
        point = _at(data, beta[active])
        inverse = np.linalg.inv(point.information)
        j = which[active]
        gap = target - point.loglik
        spread = np.einsum("bi,bij,bj->b", point.score, inverse, point.score)
        needed = (spread - 2 * gap) / inverse[np.arange(len(active)), j, j]
        push = side[active] * np.sqrt(np.maximum(needed, 0.0))
        total = point.score.copy()
        total[np.arange(len(active)), j] += push
        step = np.einsum("bij,bj->bi", inverse, total)
        free_score = point.score.copy()
        free_score[np.arange(len(active)), j] = 0.0
        slack = np.einsum("bi,bij,bj->b", free_score, inverse, free_score)
        settled = (np.abs(gap) < 1e-9) & (slack < 1e-16)
        length = np.abs(step).max(axis=1)
        step *= np.minimum(1.0, MAX_STEP / np.maximum(length, 1e-300))[:, None]
        step[settled] = 0.0
        beta[active] = point.beta + step
        done[active[settled]] = True
    return beta[np.arange(2 * count), which].reshape(count, 2), done.reshape(count, 2)


def _end_by_bisection(data: _Data, best: _Point, j: int, side: float, level: float) -> float:
    """One end of one profile interval, slowly and surely; infinite when the likelihood never falls far enough."""
    target = best.loglik[0] - stats.chi2.ppf(level, 1) / 2
    free = np.ones(best.beta.shape[1], dtype=bool)
    free[j] = False
    inside, start = best.beta[0, j], best.beta[0].copy()
    step = 2.0 * float(np.sqrt(np.linalg.inv(best.information[0])[j, j]))
    outside = None
    for _ in range(40):
        start[j] = inside + side * step
        point, _ = _maximise(data, start, free)
        if point.loglik[0] < target:
            outside = float(start[j])
            break
        inside, start, step = float(start[j]), point.beta[0].copy(), step * 1.5
    if outside is None:
        return float(side * np.inf)
    for _ in range(60):
        middle = (inside + outside) / 2
        start[j] = middle
        point, _ = _maximise(data, start, free)
        inside, outside = (middle, outside) if point.loglik[0] >= target else (inside, middle)
    return (inside + outside) / 2


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
    loglik, loglik_null : float
        Penalised log likelihood of the fit, and with every column but the intercept held at zero.
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
    loglik_null: float
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


def _checked(x: Floats, y: Floats, weights: Floats | None, offset: Floats | None) -> _Data:
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    w = np.ones(len(y)) if weights is None else np.asarray(weights, dtype=float)
    o = np.zeros(len(y)) if offset is None else np.asarray(offset, dtype=float)
    if x.ndim != 2 or len(x) != len(y):
        raise ModelError("The rows of the design and of the outcomes do not match.")
    if not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(o).all()):
        raise ModelError("A value is missing or infinite; blanks must be coded before the fit.")
    if ((y < 0) | (y > 1)).any() or (w < 0).any():
        raise ModelError("Outcomes must lie between 0 and 1 and weights must not be negative.")
    return _Data(x, y, w, o)


def _flic(data: _Data, beta: Floats) -> float:
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


def _drop_test(data: _Data, best: _Point, columns: list[int]) -> float:
    """Twice the penalised log likelihood lost by holding ``columns`` at zero (penalty of the full design kept)."""
    start = best.beta[0].copy()
    start[columns] = 0.0
    free = np.ones(len(start), dtype=bool)
    free[columns] = False
    point, _ = _maximise(data, start, free)
    return max(0.0, 2 * float(best.loglik[0] - point.loglik[0]))


def _intervals(data: _Data, best: _Point, level: float) -> tuple[Floats, Floats, Floats]:
    ends, found = _profile_ends(data, best, level)
    for j, k in zip(*np.nonzero(~found), strict=True):
        ends[j, k] = _end_by_bisection(data, best, int(j), -1.0 if k == 0 else 1.0, level)
    p = [stats.chi2.sf(_drop_test(data, best, [j]), 1) for j in range(ends.shape[0])]
    return ends[:, 0], ends[:, 1], np.asarray(p)


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
    data = _checked(x, y, weights, offset)
    width = data.x.shape[1]
    if len(data.y) <= width or np.linalg.matrix_rank(data.x) < width:
        raise ModelError(f"{width} columns cannot be told apart from {len(data.y)} rows.")
    best, converged = _maximise(data, np.zeros(width), np.ones(width, dtype=bool))
    covariance = np.linalg.inv(best.information[0])
    w = data.weights * best.p[0] * (1 - best.p[0])
    share = np.divide(best.hat[0], data.weights, out=np.zeros_like(w), where=data.weights > 0)
    augmented = np.linalg.inv((data.x.T * (w * (1 + share))) @ data.x)
    empty = np.empty(0)
    low, high, p = _intervals(data, best, level) if intervals and converged else (empty, empty, empty)
    null = _drop_test(data, best, list(range(1, width))) if width > 1 else 0.0
    beta = best.beta[0]
    return FirthResult(
        n=round(float(data.weights.sum())),
        events=round(float(data.weights @ data.y)),
        converged=converged,
        reason="" if converged else "the iteration did not settle; look for a column that is nearly constant",
        names=tuple(names),
        coefficients=beta,
        se=np.sqrt(np.diag(covariance)),
        se_augmented=np.sqrt(np.diag(augmented)),
        low=low,
        high=high,
        p=p,
        loglik=float(best.loglik[0]),
        loglik_null=float(best.loglik[0]) - null / 2,
        flic_intercept=_flic(data, beta),
        covariance=covariance,
        level=level,
    )


def term_test(x: Floats, y: Floats, columns: tuple[int, ...], label: str) -> TermTest:
    """Penalised likelihood-ratio test of a term with one or more columns."""
    data = _checked(x, y, None, None)
    best, _ = _maximise(data, np.zeros(data.x.shape[1]), np.ones(data.x.shape[1], dtype=bool))
    statistic = _drop_test(data, best, list(columns))
    return TermTest(label=label, statistic=statistic, df=len(columns), p=float(stats.chi2.sf(statistic, len(columns))))
