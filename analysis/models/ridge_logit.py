"""Many weighted logistic fits at once, held together by a weak normal prior: the work horse of the bootstrap.

Source of the prior's width: Gelman, Jakulin, Pittau and Su, Annals of Applied Statistics 2 (2008) 1360–1383, who scale
their weakly informative prior to 2.5 (theirs is a Cauchy; from memory). It keeps a fit finite where an arm or a level
has one outcome only, and moves an effect of one log odds by about a hundredth.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.errors import UnconvergedError
from analysis.models.column_pairs import products, symmetric

Floats = NDArray[np.float64]

WEAK_SD = 2.5
MAX_ITERATIONS = 50
MAX_STEP = 4.0
FEW = 8  # fits
LONG = 5_000  # rows
NEARLY_NOTHING = 1e-10  # precision of the intercept: a sample of one outcome only leaves it without an end


def precision_of(prior_sd: Floats | float, width: int) -> Floats:
    """Precision of the prior of each coefficient, shape (p,); none for the intercept."""
    precision = np.broadcast_to(np.asarray(prior_sd, dtype=float), (width,)) ** -2.0
    return np.where(np.arange(width) == 0, 0.0, precision)


def height(beta: Floats, columns: Floats, y: Floats, weights: Floats, precision: Floats) -> Floats:
    """Penalised log likelihood of each fit, shape (b,)."""
    return _at(beta, columns, y, weights, precision)[0]


def _at(beta: Floats, columns: Floats, y: Floats, weights: Floats, precision: Floats) -> tuple[Floats, Floats]:
    """Penalised log likelihood of each fit, shape (b,), and the chances of its rows, shape (b, n)."""
    eta = beta @ columns
    small = np.exp(-np.abs(eta))
    told = y * eta - np.maximum(eta, 0.0) - np.log1p(small)
    value = np.einsum("bn,bn->b", weights, told) - (precision * beta**2).sum(axis=1) / 2
    return value, np.where(eta >= 0, 1.0, small) / (1.0 + small)


def information_of(x: Floats, p: Floats, precision: Floats) -> Floats:
    """Negative Hessian of the penalised log likelihood of one fit at chances ``p`` (n,), shape (p, p)."""
    information = (x * (p * (1 - p))[:, None]).T @ x + np.diag(precision)
    information[0, 0] += NEARLY_NOTHING
    return np.asarray(information)


class _Crossed:
    """Sums over the rows of weight times the product of every two columns, for many sets of weights."""

    def __init__(self, columns: Floats, sets: int) -> None:
        """Of columns, shape (p, n).

        For more than :data:`FEW` sets all products are worked out beforehand, so that the sums are one product of
        matrices; for a few sets, or :data:`LONG` columns, that would take longer than a product of matrices for each.
        """
        self._columns = columns
        self._products = products(columns) if sets > FEW and columns.shape[1] < LONG else None

    def sums(self, weights: Floats) -> Floats:
        """The sums, shape (b, p, p), for weights of shape (b, n)."""
        if self._products is not None:
            return symmetric(weights @ self._products.T, len(self._columns))
        return np.array([(self._columns * each) @ self._columns.T for each in weights])


class _Curvatures:
    """Negative Hessians of many fits, made anew for every step; of long or few ones only where the last serve no more.

    There the curvature takes nearly all of the time, and next to the top it hardly changes: it is kept as long as each
    step is a third of the one before or less, so that what is left when a fit has settled is less than its tolerance
    still.
    """

    def __init__(self, columns: Floats, sets: int, precision: Floats) -> None:
        self._crossed, self._precision = _Crossed(columns, sets), precision
        width, n = columns.shape
        self._kept = np.empty((sets, width, width)) if sets <= FEW or n >= LONG else None
        self._size, self._stale = np.full(sets, np.inf), np.ones(sets, dtype=bool)

    def at(self, fits: NDArray[np.intp], weights: Floats) -> Floats:
        """Those of some fits, shape (b, p, p), for weights of shape (b, n) that hold ``p (1 - p)``."""
        if self._kept is None:
            return self._made(weights)
        stale = self._stale[fits]
        if stale.any():
            alike = stale.all() and (weights == weights[0]).all()  # all fits of the same rows start at the same place
            self._kept[fits[stale]] = self._made(weights[:1] if alike else weights[stale])
        return self._kept[fits]

    def stepped(self, fits: NDArray[np.intp], step: Floats, whole: NDArray[np.bool_]) -> None:
        """Note how long the steps of some fits were, and whether they were taken whole."""
        size = np.abs(step).max(axis=1)
        self._stale[fits] = (size > self._size[fits] / 3) | ~whole
        self._size[fits] = size

    def _made(self, weights: Floats) -> Floats:
        information, at = self._crossed.sums(weights), np.arange(len(self._precision))
        information[:, at, at] += self._precision
        information[:, 0, 0] += NEARLY_NOTHING
        return information


def _step(information: Floats, score: Floats) -> Floats:
    """Newton's step of each fit, shape (b, p), no longer than :data:`MAX_STEP` in any coefficient."""
    step = np.asarray(np.linalg.solve(information, score[:, :, None])[:, :, 0])
    return step * np.minimum(1.0, MAX_STEP / np.maximum(np.abs(step).max(axis=1), 1e-300))[:, None]


def fit_many(
    x: Floats,
    y: Floats,
    weights: Floats,
    prior_sd: Floats | float = WEAK_SD,
    start: Floats | None = None,
    tolerance: float = 1e-8,
) -> Floats:
    """Fit one logistic regression for each row of weights.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Design, the intercept in column 0.
    y : ndarray, shape (n,) or (b, n)
        Outcomes, 0 or 1; the same for all fits, or those of each.
    weights : ndarray, shape (b, n)
        Frequencies of the rows in each fit.
    prior_sd : ndarray, shape (p,), or float
        SD of the normal prior of each coefficient around zero, in log odds; that of the intercept is not used. Infinite
        for maximum likelihood.
    start : ndarray, shape (p,), optional
        Where to start, such as the fit of all rows; all zero by default.
    tolerance : float
        Largest change of a coefficient at which a fit has settled.

    Returns
    -------
    ndarray, shape (b, p)

    Raises
    ------
    UnconvergedError
        If a fit does not settle.
    """
    width = x.shape[1]
    precision = precision_of(prior_sd, width)
    columns = np.ascontiguousarray(x.T)
    curvatures = _Curvatures(columns, len(weights), precision)
    y = np.broadcast_to(y, weights.shape)
    if start is None:  # with many rows samples are much the same, so that all start where the first one ends
        alike = len(weights) > FEW and len(x) >= LONG
        start = fit_many(x, y[0], weights[:1], prior_sd)[0] if alike else np.zeros(width)
    out = np.tile(start, (len(weights), 1))
    left, length = np.arange(len(weights)), np.ones(len(weights))
    reached_so_far, chances = _at(out, columns, y, weights, precision)
    for _ in range(MAX_ITERATIONS):
        p, often = chances[left], weights[left]
        score = (often * (y[left] - p)) @ x - precision * out[left]
        step = _step(curvatures.at(left, often * (p * (1 - p))), score) * length[left, None]
        tried = out[left] + step
        reached, there = _at(tried, columns, y[left], often, precision)
        # Far from the top a whole step can overshoot and the steps then swing for ever: go half as far.
        uphill = reached >= reached_so_far[left] - 1e-9 * np.abs(reached_so_far[left])
        at = left[uphill]
        out[at], reached_so_far[at], chances[at] = tried[uphill], reached[uphill], there[uphill]
        settled = uphill & (length[left] == 1.0) & (np.abs(step).max(axis=1) < tolerance)
        curvatures.stepped(left, step, uphill & (length[left] == 1.0))
        length[left] = np.where(uphill, 1.0, length[left] / 2)
        left = left[~settled]
        if not len(left):
            return out
    raise UnconvergedError(
        f"A logistic fit on {x.shape[0]} rows did not settle.",
        rule="Numbers of a fit that did not converge are never shown.",
        todo="Usually a column is nearly constant; merge its levels or leave it out.",
    )
