"""Many weighted logistic fits at once, held together by a weak normal prior: the work horse of the bootstrap.

Source of the prior's width: Gelman, Jakulin, Pittau and Su, Annals of Applied Statistics 2 (2008) 1360–1383, who scale
their weakly informative prior to 2.5 (theirs is a Cauchy; from memory). It keeps a fit finite where an arm or a level
has one outcome only, and moves an effect of one log odds by about a hundredth.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from analysis.errors import UnconvergedError

Floats = NDArray[np.float64]

WEAK_SD = 2.5
MAX_ITERATIONS = 50
MAX_STEP = 4.0


def precision_of(prior_sd: Floats | float, width: int) -> Floats:
    """Precision of the prior of each coefficient, shape (p,); none for the intercept."""
    precision = np.broadcast_to(np.asarray(prior_sd, dtype=float), (width,)) ** -2.0
    return np.where(np.arange(width) == 0, 0.0, precision)


def height(beta: Floats, columns: Floats, y: Floats, weights: Floats, precision: Floats) -> Floats:
    """Penalised log likelihood of each fit, shape (b,)."""
    eta = beta @ columns
    return np.asarray(
        (weights * (y * eta - np.logaddexp(0.0, eta))).sum(axis=1) - (precision * beta**2).sum(axis=1) / 2
    )


def _newton_step(
    beta: Floats, columns: Floats, products: Floats, y: Floats, weights: Floats, precision: Floats
) -> Floats:
    """Newton's step of each fit, shape (b, p), no longer than :data:`MAX_STEP` in any coefficient.

    ``products`` holds the products of every two columns, shape (n, p * (p + 1) / 2), so that the information of all
    fits is one product of matrices; one for each fit takes several times as long.
    """
    at, (upper, lower) = np.arange(len(columns)), np.triu_indices(len(columns))
    p = expit(beta @ columns)
    score = (weights * (y - p)) @ columns.T - precision * beta
    information = np.empty((len(beta), len(columns), len(columns)))
    information[:, upper, lower] = information[:, lower, upper] = (weights * p * (1 - p)) @ products
    information[:, at, at] += precision
    information[:, 0, 0] += 1e-10  # a sample of one outcome only leaves the intercept without an end
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
        Where to start, such as the fit of all rows.
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
    upper, lower = np.triu_indices(width)
    products = (columns[upper] * columns[lower]).T
    out = np.tile(np.zeros(width) if start is None else start, (len(weights), 1))
    left, length = np.arange(len(weights)), np.ones(len(weights))
    y = np.broadcast_to(y, weights.shape)
    reached_so_far = height(out, columns, y, weights, precision)
    for _ in range(MAX_ITERATIONS):
        step = _newton_step(out[left], columns, products, y[left], weights[left], precision) * length[left, None]
        tried = out[left] + step
        reached = height(tried, columns, y[left], weights[left], precision)
        # Far from the top a whole step can overshoot and the steps then swing for ever: go half as far.
        uphill = reached >= reached_so_far[left] - 1e-9 * np.abs(reached_so_far[left])
        out[left[uphill]], reached_so_far[left[uphill]] = tried[uphill], reached[uphill]
        settled = uphill & (length[left] == 1.0) & (np.abs(step).max(axis=1) < tolerance)
        length[left] = np.where(uphill, 1.0, length[left] / 2)
        left = left[~settled]
        if not len(left):
            return out
    raise UnconvergedError(
        f"A logistic fit on {x.shape[0]} rows did not settle.",
        rule="Numbers of a fit that did not converge are never shown.",
        todo="Usually a column is nearly constant; merge its levels or leave it out.",
    )
