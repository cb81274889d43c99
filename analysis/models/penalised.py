"""The likelihood penalised by Jeffreys' prior: its value, its maximum, the ends of its profile.

Sources: Firth, Biometrika 80 (1993) 27–38; Heinze and Schemper, Statistics in Medicine 21 (2002) 2409–2419; Venzon and
Moolgavkar, Applied Statistics 37 (1988) 87–94 (the iteration for the ends of a profile interval).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.models.binary import chances

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MAX_ITERATIONS = 300
SAFE_STEPS = 12
MAX_STEP = 5.0
NEAR = 1.0  # log odds
TOLERANCE = 1e-11
# Rows are taken in blocks that fit a processor's cache, coefficient vectors in batches that fit the memory.
BLOCK_CELLS = 2**16
BATCH_CELLS = 2**22


@dataclass(frozen=True)
class Data:
    """What every evaluation needs.

    Parameters
    ----------
    x : ndarray, shape (n, p)
    y, weights, offset : ndarray, shape (n,)
    columns : ndarray, shape (p, n)
        The design again, column by column, so that products run along memory.
    """

    x: Floats
    y: Floats
    weights: Floats
    offset: Floats
    columns: Floats


@dataclass(frozen=True)
class Point:
    """The penalised likelihood and its parts at a batch of coefficient vectors, shape (b, p)."""

    beta: Floats
    loglik: Floats
    score: Floats
    information: Floats
    inverse: Floats


def leverages(columns: Floats, inverse: Floats, w: Floats) -> Floats:
    """Diagonal of the weighted hat matrix, shape (b, n); ``w`` has shape (b, n), ``inverse`` (b, p, p)."""
    return np.asarray(w * ((inverse @ columns) * columns).sum(axis=-2))


def evaluate(data: Data, beta: Floats) -> Point:
    """Evaluate at each row of ``beta``, shape (b, p), without ever holding (b, p, n) numbers at once."""
    n = len(data.y)
    batch = max(1, BATCH_CELLS // max(n, 1))
    parts = [_evaluate(data, beta[i : i + batch]) for i in range(0, len(beta), batch)]
    if len(parts) == 1:
        return parts[0]
    return Point(
        beta,
        np.concatenate([part.loglik for part in parts]),
        np.concatenate([part.score for part in parts]),
        np.concatenate([part.information for part in parts]),
        np.concatenate([part.inverse for part in parts]),
    )


def _evaluate(data: Data, beta: Floats) -> Point:
    count, width = beta.shape
    rows = max(1024, BLOCK_CELLS // (count * width))
    blocks = [slice(i, i + rows) for i in range(0, len(data.y), rows)]
    p, w = np.empty((count, len(data.y))), np.empty((count, len(data.y)))
    loglik, information = np.zeros(count), np.zeros((count, width, width))
    for block in blocks:
        eta = beta @ data.columns[:, block] + data.offset[block]
        p[:, block], log_sum = chances(eta)
        w[:, block] = data.weights[block] * p[:, block] * (1 - p[:, block])
        loglik += eta @ (data.weights[block] * data.y[block]) - log_sum @ data.weights[block]
        information += (data.columns[:, block] * w[:, None, block]) @ data.x[block]
    sign, logdet = np.linalg.slogdet(information)
    loglik = np.where(sign > 0, loglik + 0.5 * logdet, -np.inf)
    safe = np.where((sign > 0)[:, None, None], information, np.eye(width))
    inverse = np.linalg.inv(safe)
    pull = data.weights * (data.y - p)
    for block in blocks:
        pull[:, block] += leverages(data.columns[:, block], inverse, w[:, block]) * (0.5 - p[:, block])
    return Point(beta, loglik, pull @ data.x, safe, inverse)


def _curvature(data: Data, point: Point, index: NDArray[np.int64], exact: bool) -> Floats:
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
    scores = evaluate(data, point.beta + moves).score[:, index]
    slope = (scores[: len(index)] - scores[len(index) :]) / (2 * width[:, None])
    exact_curvature = -(slope + slope.T) / 2
    return exact_curvature if np.linalg.eigvalsh(exact_curvature).min() > 0 else expected


def _uphill(data: Data, point: Point, index: NDArray[np.int64], step: Floats) -> Point | None:
    """The first point along halved steps that does not lower the likelihood."""
    for _ in range(30):
        trial = point.beta.copy()
        trial[0, index] += step
        candidate = evaluate(data, trial)
        if candidate.loglik[0] > point.loglik[0] - 1e-12 * abs(point.loglik[0]):
            return candidate
        step = step / 2
    return None


def maximise(data: Data, start: Floats, free: Flags) -> tuple[Point, bool]:
    """Maximise over the free coefficients, the others held at ``start``; Newton with halved steps.

    Returns
    -------
    point : Point
        A batch of one.
    settled : bool
    """
    point = evaluate(data, start[None, :])
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


def _repeated(point: Point, times: int) -> Point:
    """The same point so many times over."""
    parts = (point.beta, point.loglik, point.score, point.information, point.inverse)
    return Point(*(np.repeat(part, times, axis=0) for part in parts))


def _profile_ends(data: Data, best: Point, level: float) -> tuple[Floats, Flags]:
    """Both ends of every profile interval at once, shape (p, 2), and whether the iteration settled on each."""
    count = best.beta.shape[1]
    target = best.loglik[0] - stats.chi2.ppf(level, 1) / 2
    which = np.repeat(np.arange(count), 2)
    side = np.tile([-1.0, 1.0], count)
    beta = np.repeat(best.beta, 2 * count, axis=0)
    done = np.zeros(2 * count, dtype=bool)
    for turn in range(MAX_ITERATIONS):
        active = np.flatnonzero(~done)
        if not len(active):
            break
        point = evaluate(data, beta[active]) if turn else _repeated(best, len(active))  # all begin at the estimate
        j, own = which[active], np.arange(len(active))
        gap = target - point.loglik
        spread = np.einsum("bi,bij,bj->b", point.score, point.inverse, point.score)
        needed = (spread - 2 * gap) / point.inverse[own, j, j]
        total = point.score.copy()
        total[own, j] += side[active] * np.sqrt(np.maximum(needed, 0.0))
        step = np.einsum("bij,bj->bi", point.inverse, total)
        free_score = point.score.copy()
        free_score[own, j] = 0.0
        slack = np.einsum("bi,bij,bj->b", free_score, point.inverse, free_score)
        settled = (np.abs(gap) < 1e-9) & (slack < 1e-16)
        length = np.abs(step).max(axis=1)
        step *= np.minimum(1.0, MAX_STEP / np.maximum(length, 1e-300))[:, None]
        step[settled] = 0.0
        beta[active] = point.beta + step
        done[active[settled]] = True
    return beta[np.arange(2 * count), which].reshape(count, 2), done.reshape(count, 2)


def _end_by_bisection(data: Data, best: Point, j: int, side: float, level: float) -> float:
    """One end of one profile interval, slowly and surely; infinite when the likelihood never falls far enough."""
    target = best.loglik[0] - stats.chi2.ppf(level, 1) / 2
    free = np.ones(best.beta.shape[1], dtype=bool)
    free[j] = False
    inside, start = best.beta[0, j], best.beta[0].copy()
    step = 2.0 * float(np.sqrt(best.inverse[0, j, j]))
    outside = None
    for _ in range(40):
        start[j] = inside + side * step
        point, _ = maximise(data, start, free)
        if point.loglik[0] < target:
            outside = float(start[j])
            break
        inside, start, step = float(start[j]), point.beta[0].copy(), step * 1.5
    if outside is None:
        return float(side * np.inf)
    for _ in range(60):
        middle = (inside + outside) / 2
        start[j] = middle
        point, _ = maximise(data, start, free)
        inside, outside = (middle, outside) if point.loglik[0] >= target else (inside, middle)
    return (inside + outside) / 2


def profile_interval(data: Data, best: Point, level: float) -> tuple[Floats, Floats]:
    """Low and high ends of every coefficient's profile interval, shape (p,) each."""
    ends, found = _profile_ends(data, best, level)
    for j, k in zip(*np.nonzero(~found), strict=True):
        ends[j, k] = _end_by_bisection(data, best, int(j), -1.0 if k == 0 else 1.0, level)
    return ends[:, 0], ends[:, 1]


def lost_without(data: Data, best: Point, columns: list[int]) -> float:
    """Twice the penalised log likelihood lost by holding ``columns`` at zero (penalty of the full design kept)."""
    covariance = best.inverse[0]
    # Where the maximum would lie if the likelihood were that of a normal: a step or two nearer than the estimate.
    moved = np.linalg.solve(covariance[np.ix_(columns, columns)], best.beta[0, columns])
    shift = covariance[:, columns] @ moved
    free = np.ones(len(shift), dtype=bool)
    free[columns] = False
    near = np.abs(shift[free]).max(initial=0.0) < NEAR  # further off the likelihood is not that of a normal
    start = np.where(free, best.beta[0] - (shift if near else 0.0), 0.0)
    point, _ = maximise(data, start, free)
    return max(0.0, 2 * float(best.loglik[0] - point.loglik[0]))
