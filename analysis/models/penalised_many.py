"""The penalised likelihood of ``penalised.py`` maximised for many outcomes on the same rows at once.

For simulations that draw the outcomes of a log hundreds of times: the products of each two columns are taken once, so
that the curvatures of all draws come from one product of matrices.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.models.binary import blocks, chances
from analysis.models.column_pairs import Pairs, forms, symmetric
from analysis.models.penalised import MAX_STEP

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

STEPS = 200
BATCH_CELLS = 2**21


@dataclass(frozen=True)
class Maxima:
    """Maxima of the penalised likelihood, one a draw of the outcomes.

    Parameters
    ----------
    beta : ndarray, shape (b, p)
    loglik : ndarray, shape (b,)
        Penalised log likelihood.
    covariance : ndarray, shape (b, p, p)
        Inverse of the expected information of all columns.
    settled : ndarray of bool, shape (b,)
    """

    beta: Floats
    loglik: Floats
    covariance: Floats
    settled: Flags


class _Rows:
    """A design and the products of its columns."""

    def __init__(self, x: Floats) -> None:
        self.x, self.width, self.pairs = x, x.shape[1], Pairs.of(x)

    def point(self, beta: Floats, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Penalised log likelihood (b,), score (b, p), information and its inverse (b, p, p)."""
        p, score, loglik = np.empty_like(y), np.zeros_like(beta), np.zeros(len(beta))
        sums = np.zeros((len(beta), self.width * (self.width + 1) // 2))
        for rows in blocks(len(self.x), max(beta.shape)):
            eta = beta @ self.pairs.columns[:, rows]
            p[:, rows], log_sum = chances(eta)
            loglik += (y[:, rows] * eta - log_sum).sum(axis=1)
            sums += (p[:, rows] * (1 - p[:, rows])) @ self.pairs[rows].T
        information = symmetric(sums, self.width)
        sign, logdet = np.linalg.slogdet(information)
        safe = np.where((sign > 0)[:, None, None], information, np.eye(self.width))
        inverse = np.asarray(np.linalg.inv(safe))
        for rows in blocks(len(self.x), max(beta.shape)):
            here = p[:, rows]
            leverage = here * (1 - here) * forms(inverse, self.pairs[rows])
            score += (y[:, rows] - here + leverage * (0.5 - here)) @ self.x[rows]
        return np.where(sign > 0, loglik + 0.5 * logdet, -np.inf), score, safe, inverse


def maximise_many(x: Floats, y: Floats, start: Floats, free: Flags, tolerance: float) -> Maxima:
    """Maximise over the free coefficients, the others held at ``start``.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Design; columns of about one in size, none aliased.
    y : ndarray, shape (b, n)
        Outcomes, 0 or 1, one row a draw.
    start : ndarray, shape (p,)
    free : ndarray of bool, shape (p,)
    tolerance : float
        Distance from the maximum, in standard errors, at which a draw is done.
    """
    rows, size = _Rows(x), max(1, BATCH_CELLS // max(len(x), 1))
    parts = [_maximise(rows, y[i : i + size], start, free, tolerance) for i in range(0, len(y), size)]
    return Maxima(*(np.concatenate([getattr(part, name) for part in parts]) for name in Maxima.__dataclass_fields__))


def _maximise(rows: _Rows, y: Floats, start: Floats, free: Flags, tolerance: float) -> Maxima:
    """Newton's method with the expected information; a step that does not climb is halved."""
    at = np.flatnonzero(free)
    beta = np.repeat(start[None, :], len(y), axis=0)
    step, settled = np.zeros_like(beta), np.zeros(len(y), dtype=bool)
    value = np.full(len(y), -np.inf)
    covariance = np.zeros((len(y), rows.width, rows.width))
    for _ in range(STEPS):
        open_ = np.flatnonzero(~settled)
        if not len(open_):
            break
        loglik, score, information, inverse = rows.point(beta[open_] + step[open_], y[open_])
        climbs = loglik >= value[open_] - 1e-12 * np.abs(loglik)
        up = open_[climbs]
        beta[up] += step[up]
        value[up], covariance[up] = loglik[climbs], inverse[climbs]
        ahead = np.linalg.solve(information[climbs][:, at[:, None], at], score[climbs][:, at, None])[..., 0]
        settled[up] = (ahead * score[climbs][:, at]).sum(axis=1) < tolerance**2
        length = np.abs(ahead).max(axis=1, initial=1e-300)
        step[up] = 0.0
        step[up[:, None], at] = ahead * np.minimum(1.0, MAX_STEP / length)[:, None]
        step[open_[~climbs]] /= 2
    return Maxima(beta, value, covariance, settled)
