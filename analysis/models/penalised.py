"""The likelihood penalised by Jeffreys' prior: its value, its maximum, the ends of its profile.

Sources: Firth, Biometrika 80 (1993) 27–38; Heinze and Schemper, Statistics in Medicine 21 (2002) 2409–2419; Venzon and
Moolgavkar, Applied Statistics 37 (1988) 87–94 (the iteration for the ends of a profile interval).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.models.binary import blocks, chances
from analysis.models.column_pairs import Pairs, forms, symmetric

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.integer]

MAX_ITERATIONS = 300
SAFE_STEPS = 3
CUBE = 0.5  # evaluations that an exact curvature costs, for each column
MAX_STEP = 5.0
NEAR = 1.0  # log odds
TOLERANCE = 1e-11
LOST = 1e-12  # of a test's statistic
SETTLED = 1e-9  # standard errors that the end of an interval may be off
AT_THE_END = 1e-4  # of the log likelihood
BATCH_CELLS = 2**25  # chances held at once
CUBE_CELLS = 2**22  # derivatives of informations held at once


@dataclass(frozen=True)
class Data:
    """What every evaluation needs.

    Parameters
    ----------
    y, weights, offset : ndarray, shape (n,)
    pairs : Pairs
        The design column by column, and products of its columns.
    """

    y: Floats
    weights: Floats
    offset: Floats
    pairs: Pairs

    @classmethod
    def of(cls, x: Floats, y: Floats, weights: Floats | None = None, offset: Floats | None = None) -> Data:
        """Make them from a design; without weights every row counts once."""
        n = len(y)
        return cls(
            y, np.ones(n) if weights is None else weights, np.zeros(n) if offset is None else offset, Pairs.of(x)
        )

    @property
    def x(self) -> Floats:
        """The design, shape (n, p)."""
        return self.pairs.columns.T

    def log_odds(self, beta: Floats, rows: slice) -> Floats:
        """Of some rows at each coefficient vector, shape (b, len(rows))."""
        return np.asarray(beta @ self.pairs.columns[:, rows] + self.offset[rows])


@dataclass(frozen=True)
class Point:
    """The penalised likelihood and its parts at a batch of coefficient vectors, shape (b, p)."""

    beta: Floats
    loglik: Floats
    score: Floats
    information: Floats
    inverse: Floats

    @property
    def parts(self) -> tuple[Floats, ...]:
        """Every array, the coefficients first."""
        return self.beta, self.loglik, self.score, self.information, self.inverse

    def __getitem__(self, at: Places | Flags | slice) -> Point:
        """Some of the batch."""
        return Point(*(part[at] for part in self.parts))

    def put(self, at: Places, others: Point) -> None:
        """Set some of the batch to other points."""
        for part, other in zip(self.parts, others.parts, strict=True):
            part[at] = other


def leverages(data: Data, inverse: Floats, w: Floats, rows: slice) -> Floats:
    """Diagonal of the weighted hat matrix for some rows; ``w`` has shape (b, len(rows)), ``inverse`` (b, p, p)."""
    return np.asarray(w * data.pairs.forms(inverse, rows))


def evaluate(data: Data, beta: Floats) -> Point:
    """Evaluate at each row of ``beta``, shape (b, p)."""
    batch = max(1, BATCH_CELLS // max(len(data.y), 1))
    if len(beta) <= batch:
        return _evaluate(data, beta)
    parts = [_evaluate(data, beta[i : i + batch]).parts for i in range(0, len(beta), batch)]
    return Point(*(np.concatenate(each) for each in zip(*parts, strict=True)))


def _evaluate(data: Data, beta: Floats) -> Point:
    (count, width), n = beta.shape, len(data.y)
    p = np.empty((count, n))
    loglik, sums = np.zeros(count), np.zeros((count, width * (width + 1) // 2))
    for rows in blocks(n, max(count, width)):
        weights, eta = data.weights[rows], data.log_odds(beta, rows)
        p[:, rows], log_sum = chances(eta)
        sums += data.pairs.sums(weights * p[:, rows] * (1 - p[:, rows]), rows)
        loglik += eta @ (weights * data.y[rows]) - log_sum @ weights
    information = symmetric(sums, width)
    sign, logdet = np.linalg.slogdet(information)
    loglik = np.where(sign > 0, loglik + 0.5 * logdet, -np.inf)
    safe = np.where((sign > 0)[:, None, None], information, np.eye(width))
    inverse, score = np.asarray(np.linalg.inv(safe)), np.zeros_like(beta)
    for rows in blocks(n, max(count, width)):
        weights, here = data.weights[rows], p[:, rows]
        pull = weights * (data.y[rows] - here)
        pull += leverages(data, inverse, weights * here * (1 - here), rows) * (0.5 - here)
        score += pull @ data.x[rows]
    return Point(beta, loglik, score, safe, inverse)


def exact_curvature(data: Data, point: Point) -> Floats:
    """Negative second derivatives of the penalised likelihood, the penalty's own included, shape (b, p, p).

    With I the information and h the leverages, in which the penalty's slope is the sum of h (1/2 - p) x: its slope
    in turn is the sum of h (1/2 - 3 p (1 - p)) x x' less half the trace of I^-1 dI/db_j I^-1 dI/db_k.
    """
    size = max(1, CUBE_CELLS // point.beta.shape[1] ** 3)
    return np.concatenate([_exact(data, point[i : i + size]) for i in range(0, len(point.beta), size)])


def _exact(data: Data, point: Point) -> Floats:
    count, width = point.beta.shape
    several = width * (width + 1) // 2
    slopes, pull = np.zeros((count * width, several)), np.zeros((count, several))
    for rows in blocks(len(data.y), count * width):
        p, _ = chances(data.log_odds(point.beta, rows))
        spread, pairs = p * (1 - p), data.pairs[rows]
        w = data.weights[rows] * spread
        tilted = (w * (1 - 2 * p))[:, None, :] * data.pairs.columns[:, rows]
        slopes += tilted.reshape(count * width, -1) @ pairs.T
        pull += (w * forms(point.inverse, pairs) * (0.5 - 3 * spread)) @ pairs.T
    turned = point.inverse[:, None] @ symmetric(slopes, width).reshape(count, width, width, width)
    trace = np.einsum("bjik,blki->bjl", turned, turned, optimize=True)
    return np.asarray(point.information - symmetric(pull, width) + trace / 2)


def _of_the_free(matrices: Floats, free: Flags) -> Floats:
    """Matrices (b, p, p) with the rows and columns of held coefficients (b, p) replaced by those of the identity."""
    both = free[:, :, None] & free[:, None, :]
    return np.where(both, matrices, np.eye(free.shape[1]))


def _ahead(matrices: Floats, score: Floats) -> Floats:
    return np.asarray(np.linalg.solve(matrices, score[..., None])[..., 0])


def _steps(data: Data, point: Point, score: Floats, free: Flags, expected: Floats, exact: Flags) -> Floats:
    """Newton steps by the expected information, or by the exact curvature where wanted and where it is one of a peak.

    The expected information makes safe steps anywhere but leaves the penalty's own curvature out, so that far from a
    quadratic (tiny, separated samples) it closes in slowly; near the maximum the exact one takes over.
    """
    step, at = expected.copy(), np.flatnonzero(exact)
    if len(at):
        curvature = _of_the_free(exact_curvature(data, point[at]), free[at])
        peaked = np.linalg.eigvalsh(curvature)[:, 0] > 0
        step[at[peaked]] = _ahead(curvature[peaked], score[at[peaked]])
    return step * np.minimum(1.0, MAX_STEP / np.maximum(np.abs(step).max(axis=1), 1e-300))[:, None]


def _steps_left(decrement: Floats, last: Floats, enough: float) -> Floats:
    """How many more steps it takes if each closes in as the last one did."""
    share = np.clip(decrement / last, 1e-300, 1 - 1e-9)
    return np.asarray(np.log(enough / np.maximum(decrement, enough)) / np.log(share))


def _uphill(data: Data, point: Point, step: Floats) -> tuple[Point, Flags]:
    """The first points along halved steps that do not lower the likelihood, and whether there was one."""
    reached, open_ = point[:], np.arange(len(step))
    out = Point(*(part.copy() for part in reached.parts))
    for _ in range(30):
        candidate = evaluate(data, point.beta[open_] + step[open_])
        climbs = candidate.loglik > point.loglik[open_] - 1e-12 * np.abs(point.loglik[open_])
        out.put(open_[climbs], candidate[climbs])
        open_ = open_[~climbs]
        if not len(open_):
            break
        step[open_] /= 2
    return out, ~np.isin(np.arange(len(step)), open_)


def climb(data: Data, start: Floats, free: Flags, enough: float = TOLERANCE**2) -> tuple[Point, Flags]:
    """Maximise from several starts at once, each over its free coefficients; Newton with halved steps.

    Parameters
    ----------
    data : Data
    start : ndarray, shape (b, p)
        The held coefficients stay as they are here.
    free : ndarray of bool, shape (b, p)
    enough : float
        About twice the log likelihood that may still be missing at the end.

    Returns
    -------
    point : Point
    settled : ndarray of bool, shape (b,)
    """
    point = evaluate(data, start)
    settled: Flags = np.array(~free.any(axis=1))
    open_ = np.flatnonzero(~settled)
    before = np.full(len(start), np.inf)
    for turn in range(MAX_ITERATIONS):
        if not len(open_):
            break
        here, own = point[open_], free[open_]
        score = np.where(own, here.score, 0.0)
        expected = _ahead(_of_the_free(here.information, own), score)
        # The decrement is free of the columns' units; a score alone is not.
        decrement, last = (score * expected).sum(axis=1), before[open_]
        there = (decrement < enough) | ((decrement < 1e-16) & (decrement > last / 4))
        settled[open_[there]], before[open_] = True, decrement
        slow = (turn >= SAFE_STEPS) & (_steps_left(decrement, last, enough) > CUBE * start.shape[1])
        left = np.flatnonzero(~there)
        if not len(left):
            break
        step = _steps(data, here[left], score[left], own[left], expected[left], slow[left])
        better, climbed = _uphill(data, here[left], step)
        point.put(open_[left], better)
        settled[open_[left[~climbed]]] = decrement[left[~climbed]] < 1e-8
        open_ = open_[left[climbed]]
    return point, settled


def maximise(data: Data, start: Floats, free: Flags) -> tuple[Point, bool]:
    """Maximise over the free coefficients (p,), the others held at ``start`` (p,).

    Returns
    -------
    point : Point
        A batch of one.
    settled : bool
    """
    point, settled = climb(data, start[None, :], free[None, :])
    return point, bool(settled[0])


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
        # All begin at the estimate.
        point = evaluate(data, beta[active]) if turn else best[np.zeros(len(active), dtype=int)]
        j, own = which[active], np.arange(len(active))
        gap = target - point.loglik
        spread = np.einsum("bi,bij,bj->b", point.score, point.inverse, point.score)
        needed = (spread - 2 * gap) / point.inverse[own, j, j]
        total = point.score.copy()
        total[own, j] += side[active] * np.sqrt(np.maximum(needed, 0.0))
        step = np.einsum("bij,bj->bi", point.inverse, total)
        # Along the profile the likelihood is flat in all other coefficients: what an end is off by after a step, in
        # standard errors, is of the order of the square of the step's size.
        square = np.einsum("bi,bi->b", step, total)
        settled = (np.abs(gap) < AT_THE_END) & (square < SETTLED)
        length = np.abs(step).max(axis=1)
        step *= np.minimum(1.0, MAX_STEP / np.maximum(length, 1e-300))[:, None]
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


def lost_without(data: Data, best: Point, held: Sequence[Sequence[int]]) -> Floats:
    """Twice the penalised log likelihood lost by holding columns at zero, for each of several choices of columns.

    The penalty of the full design is kept (Heinze and Schemper 2002).
    """
    starts = [_start_without(best, list(columns)) for columns in held]
    free = np.ones((len(held), best.beta.shape[1]), dtype=bool)
    for own, columns in zip(free, held, strict=True):
        own[list(columns)] = False
    point, _ = climb(data, np.array(starts), free, LOST)
    return np.asarray(np.maximum(0.0, 2 * (best.loglik[0] - point.loglik)))


def _start_without(best: Point, columns: list[int]) -> Floats:
    """Where the maximum with columns held at zero would lie if the likelihood were that of a normal."""
    covariance = best.inverse[0]
    moved = np.linalg.solve(covariance[np.ix_(columns, columns)], best.beta[0, columns])
    shift = covariance[:, columns] @ moved
    free = np.ones(len(shift), dtype=bool)
    free[columns] = False
    near = np.abs(shift[free]).max(initial=0.0) < NEAR  # further off the likelihood is not that of a normal
    return np.where(free, best.beta[0] - (shift if near else 0.0), 0.0)
