"""Random intercepts of groups of jobs whose case mix is known: how far each group stands from the others.

Model, for job i of group k, with ``o`` the log odds that its case mix gives it::

    logit P(success) = o_i + alpha_k
    alpha_k ~ normal(a, tau)     a ~ normal(0, 2.5)     tau ~ half-normal(scale)

``a`` is integrated out exactly, so that the intercepts are jointly normal beforehand; ``tau`` is integrated over points
of equal prior mass; given ``tau`` the intercepts are taken as normal around their posterior mean to first order
(Laplace, with the shift of the mode by the third derivative). The case mix is estimated elsewhere, by comparison within
the groups; its uncertainty is carried on to first order: a step of its coefficients moves the intercepts by
``-H^-1 G`` of that step (H the curvature of the intercepts, G the cross curvature). The spread of the groups is not
allowed to move the case mix: that would give part of a good group's advantage to its mix. But what an unsure case mix
alone could have set apart is no evidence of a spread between groups, so that the weight of each ``tau`` takes the full
covariance of the estimates (in simulation: without it, twice as many shops of equal groups had one marked).

Groups are compared with the mean of their own intercepts, so that ``a`` drops out.

Sources: Tierney and Kadane, JASA 81 (1986) 82–86 (Laplace); Rue, Martino and Chopin, JRSS B 71 (2009) 319–392 (on a
grid, and the shift; from memory); Goldstein and Spiegelhalter, JRSS A 159 (1996) 385–443 (ranks with their intervals;
from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analysis.errors import UnconvergedError
from analysis.models.binary import BLOCK_CELLS, chances
from analysis.models.grouped_rows import GroupedRows, grouped
from analysis.models.pooled import INTERCEPT_SD, TAU_SCALE, _half_normal, _quantile
from analysis.models.results import Result

Floats = NDArray[np.float64]
Places = NDArray[np.int64]

POINTS = 12
NEWTON_STEPS, SETTLED = 60, 1e-12
NOT_FOUND = "the mode of the intercepts was not found at every point of the grid"


@dataclass(frozen=True)
class MixUncertainty:
    """What is not known of the case mix.

    Parameters
    ----------
    x : ndarray, shape (n, m)
        Columns of the case mix, of the same jobs as the intercepts.
    covariance : ndarray, shape (m, m)
        Of their coefficients.
    """

    x: Floats
    covariance: Floats


def conditional_modes(rows: GroupedRows, precision: Floats, fits: int = 1) -> tuple[Floats, Floats, Floats, bool]:
    """Modes of the intercepts given their normal prior, by Newton's method with halved steps.

    Parameters
    ----------
    rows : GroupedRows
    precision : ndarray, shape (g, k, k)
        Inverse covariance of the intercepts' prior, one for each point.
    fits : int
        Fits that the points belong to, equally many one after the other; those of a fit settle together.

    Returns
    -------
    alpha : ndarray, shape (g, k)
    log_mass : ndarray, shape (g,)
        Laplace's value of the log likelihood with the intercepts integrated out.
    information : ndarray, shape (g, k, k)
    settled : bool
    """
    k = precision.shape[-1]
    alpha, diagonal = np.zeros((len(precision), k)), np.arange(k)

    def posterior(at: Floats) -> tuple[Floats, Floats, Floats]:
        value, slope, weight = rows.curvature(at)
        pull = (precision @ at[..., None])[..., 0]
        information = precision.copy()
        information[:, diagonal, diagonal] += weight
        return value - 0.5 * (at * pull).sum(axis=1), slope - pull, information

    value, slope, information = posterior(alpha)
    settled = False
    for _ in range(NEWTON_STEPS):
        step = np.linalg.solve(information, slope[..., None])[..., 0]
        open_still = (step * slope).sum(axis=1).reshape(fits, -1).max(axis=1) >= SETTLED
        settled = not open_still.any()
        if settled:
            break
        step *= np.repeat(open_still, len(step) // fits)[:, None]
        for _ in range(30):
            reached, new_slope, new_information = posterior(alpha + step)
            worse = reached < value - 1e-12 * np.abs(value)
            if not worse.any():
                break
            step[worse] /= 2
        alpha, value, slope, information = alpha + step, reached, new_slope, new_information
    log_mass = value + 0.5 * np.linalg.slogdet(precision)[1] - 0.5 * np.linalg.slogdet(information)[1]
    return alpha, log_mass, information, settled


@dataclass(frozen=True, kw_only=True)
class RandomIntercepts(Result):
    """Posterior of the groups' intercepts.

    Parameters
    ----------
    names : tuple of str
        Groups, sorted, shape (k,).
    tau : ndarray, shape (g,)
        Points of the SD between groups.
    weight : ndarray, shape (g,)
        Their posterior weight; they add up to one.
    location : ndarray, shape (g, k)
        Mean of the intercepts given the SD.
    covariance : ndarray, shape (g, k, k)
        Of the intercepts given the SD, the uncertainty of the case mix included.
    """

    names: tuple[str, ...]
    tau: Floats
    weight: Floats
    location: Floats
    covariance: Floats

    def above_mean(self) -> Floats:
        """Posterior chance that each intercept lies above the mean of all, shape (k,)."""
        centre, spread = _from_mean(self.shown().location, self.covariance)
        return np.asarray(self.weight @ special.ndtr(centre / spread))

    def distance(self, level: float = 0.95) -> tuple[Floats, Floats, Floats]:
        """Posterior mean and interval of each intercept's distance from the mean of all (log odds), each (k,)."""
        centre, spread = _from_mean(self.shown().location, self.covariance)
        ends = [_quantile(self.weight, centre, spread, q) for q in ((1 - level) / 2, (1 + level) / 2)]
        return np.asarray(self.weight @ centre), ends[0], ends[1]

    def draws(self, number: int, rng: np.random.Generator) -> Floats:
        """Draws of the intercepts, shape (number, k)."""
        root = np.linalg.cholesky(self.shown().covariance)
        point = rng.choice(len(self.weight), number, p=self.weight)
        noise = rng.standard_normal((number, len(self.names)))
        return np.asarray(self.location[point] + (root[point] @ noise[..., None])[..., 0])


def _from_mean(location: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Mean and SD of each intercept's distance from the mean of all, given the SD between groups, (..., k)."""
    k = location.shape[-1]
    off_mean = np.eye(k) - 1 / k
    variance = np.diagonal(off_mean @ covariance @ off_mean, axis1=-2, axis2=-1)
    return location @ off_mean, np.sqrt(variance)


def rank_intervals(draws: Floats, level: float = 0.95) -> tuple[Places, Places]:
    """Lowest and highest rank of each group (1 the highest intercept), shape (k,) each.

    Parameters
    ----------
    draws : ndarray, shape (d, k)
        From :meth:`RandomIntercepts.draws`.
    level : float
    """
    ranks = 1 + np.argsort(np.argsort(-draws, axis=1), axis=1)
    low, high = (np.quantile(ranks, q, axis=0, method="inverted_cdf") for q in ((1 - level) / 2, (1 + level) / 2))
    return low.astype(np.int64), high.astype(np.int64)


def fit_random_intercepts(
    y: ArrayLike,
    offset: ArrayLike,
    group: ArrayLike,
    mix: MixUncertainty | None = None,
    *,
    tau_scale: float = TAU_SCALE,
    points: int = POINTS,
) -> RandomIntercepts:
    """Fit the intercepts of the groups.

    Parameters
    ----------
    y : array_like, shape (n,)
        0/1 outcomes.
    offset : array_like, shape (n,)
        Log odds that the case mix gives each job.
    group : array_like of str, shape (n,)
    mix : MixUncertainty, optional
        Without it the case mix counts as known.
    tau_scale : float
        Scale of the half-normal prior of the SD between groups, in log odds.
    points : int
        Of the grid of that SD.

    Raises
    ------
    ModelError
        If lengths differ, an outcome is neither 0 nor 1, or there are fewer than two groups.
    """
    rows, names = grouped(y, offset, group)
    tau, prior = _grid(tau_scale, points, len(names))
    one = GroupedRows(rows.y[None], rows.offset[None], rows.member)
    many = None if mix is None else MixUncertainty(mix.x, mix.covariance[None])
    weight, location, covariance, settled = _posterior(one, many, prior)
    return RandomIntercepts(
        n=len(rows.y),
        events=int(rows.y.sum()),
        converged=settled,
        reason="" if settled else NOT_FOUND,
        names=names,
        tau=tau,
        weight=weight[0],
        location=location[0],
        covariance=covariance[0],
    )


def above_mean_of_many(y: Floats, offset: Floats, group: ArrayLike, mix: MixUncertainty) -> Floats:
    """What :meth:`RandomIntercepts.above_mean` says of many outcomes of the same jobs, shape (b, k).

    Parameters
    ----------
    y, offset : ndarray, shape (b, n)
        As for :func:`fit_random_intercepts`, one row a fit.
    group : array_like of str, shape (n,)
    mix : MixUncertainty
        With a covariance for each fit, shape (b, m, m).

    Raises
    ------
    ModelError
        As there.
    UnconvergedError
        If a fit does not settle.
    """
    member = grouped(y[0], offset[0], group)[0].member
    _, prior = _grid(TAU_SCALE, POINTS, member.shape[1])
    out = []
    at_once = max(1, BLOCK_CELLS // (POINTS * y.shape[1]))
    for first in range(0, len(y), at_once):
        some = slice(first, first + at_once)
        rows, unsure = GroupedRows(y[some], offset[some], member), MixUncertainty(mix.x, mix.covariance[some])
        weight, location, covariance, settled = _posterior(rows, unsure, prior)
        if not settled:
            raise UnconvergedError(f"Of several fits on {y.shape[1]} rows one did not settle: {NOT_FOUND}.")
        centre, spread = _from_mean(location, covariance)
        out.append((weight[..., None] * special.ndtr(centre / spread)).sum(axis=1))
    return np.concatenate(out)


def _posterior(rows: GroupedRows, mix: MixUncertainty | None, prior: Floats) -> tuple[Floats, Floats, Floats, bool]:
    """Weight (b, g), mean (b, g, k) and covariance (b, g, k, k) at each point of the grid, and whether all settled.

    Parameters
    ----------
    rows : GroupedRows
        With outcomes and offsets of every fit, (b, n).
    mix : MixUncertainty or None
        With a covariance for each fit, (b, m, m).
    prior : ndarray, shape (g, k, k)
    """
    b, (g, k, _) = len(rows.y), prior.shape
    # A single fit's rows serve all its points as they are: a large log need not be held once for each.
    each = rows if b == 1 else GroupedRows(np.repeat(rows.y, g, axis=0), np.repeat(rows.offset, g, axis=0), rows.member)
    precision = np.tile(np.linalg.inv(prior), (b, 1, 1))
    alpha, log_mass, information, settled = conditional_modes(each, precision, b)
    inverse = np.asarray(np.linalg.inv(information))
    covariance = (inverse + inverse.transpose(0, 2, 1)) / 2
    skew = each.skewness(alpha) * np.diagonal(covariance, axis1=1, axis2=2)
    location = alpha + 0.5 * (covariance @ skew[..., None])[..., 0]
    if mix is not None:
        log_mass = log_mass + _told_by_mix(rows, mix, prior).ravel()
        moved = _moved(each, alpha, covariance, mix.x)
        covariance = covariance + moved @ np.repeat(mix.covariance, g, axis=0) @ moved.transpose(0, 2, 1)
    weight = special.softmax(log_mass.reshape(b, g), axis=1)
    return weight, location.reshape(b, g, k), covariance.reshape(b, g, k, k), settled


def _grid(tau_scale: float, points: int, k: int) -> tuple[Floats, Floats]:
    """Points of equal prior mass of the SD between groups (g,), and the intercepts' prior covariance (g, k, k)."""
    tau = tau_scale * _half_normal((np.arange(points) + 0.5) / points)
    return tau, tau[:, None, None] ** 2 * np.eye(k) + INTERCEPT_SD**2


def _moved(rows: GroupedRows, alpha: Floats, covariance: Floats, x: Floats) -> Floats:
    """How far a step of each coefficient of the case mix moves each intercept, (g, k, m)."""
    cross = np.zeros((*alpha.shape, x.shape[1]))
    for at, part in rows.parts(alpha.size):
        p, _ = chances(part.log_odds(alpha))
        cross += (part.member.T * (p * (1 - p))[:, None, :]) @ x[at]
    return np.asarray(-covariance @ cross)


def _told_by_mix(rows: GroupedRows, mix: MixUncertainty, prior: Floats) -> Floats:
    """What the log evidence of each point changes by when the case mix is unsure, (b, g).

    Ratio of the normal evidences of the separate estimates with their full covariance and with that given the mix.
    """
    b = len(rows.y)
    loose = np.repeat(np.eye(prior.shape[1])[None] / INTERCEPT_SD**2, b, axis=0)
    apart, _, information, _ = conditional_modes(rows, loose, b)
    given = np.asarray(np.linalg.inv(information))
    moved = _moved(rows, apart, given, mix.x)
    full = given + moved @ mix.covariance @ moved.transpose(0, 2, 1)
    at = apart[:, None]
    return _log_normal(at, full[:, None] + prior) - _log_normal(at, given[:, None] + prior)


def _log_normal(at: Floats, covariance: Floats) -> Floats:
    """Log density of a normal around zero without its constant, shape (...); ``at`` is (..., k)."""
    solved = np.linalg.solve(covariance, np.broadcast_to(at, covariance.shape[:-1])[..., None])[..., 0]
    return np.asarray(-0.5 * (at * solved).sum(axis=-1) - 0.5 * np.linalg.slogdet(covariance)[1])


def above_mean_of_estimates(estimate: Floats, information: Floats, moved: Floats, mix: Floats) -> Floats:
    """Posterior chance of lying above the mean when the separate estimates of the groups are normal.

    What :meth:`RandomIntercepts.above_mean` comes to where every group has many jobs; for simulations of large logs.

    Parameters
    ----------
    estimate : ndarray, shape (b, k)
        Separate estimates of the intercepts, one row a draw.
    information : ndarray, shape (k,)
        Their information, the case mix known.
    moved : ndarray, shape (k, m)
        How far a step of each coefficient of the case mix moves the estimates.
    mix : ndarray, shape (m, m)
        Covariance of the coefficients.
    """
    k = len(information)
    tau, prior = _grid(TAU_SCALE, POINTS, k)
    given = np.asarray(np.linalg.inv(np.linalg.inv(prior) + np.diag(information)))
    pull = given * information[None, None, :]
    step = pull @ moved
    covariance = given + step @ mix @ step.transpose(0, 2, 1)
    full = np.diag(1 / information) + moved @ mix @ moved.T + prior
    weight = special.softmax(np.array([_log_normal(np.repeat(each[None], len(tau), 0), full) for each in estimate]), 1)
    off_mean = np.eye(k) - 1 / k
    spread = np.sqrt(np.diagonal(off_mean @ covariance @ off_mean, axis1=1, axis2=2))
    centre = np.einsum("gij,bj->bgi", off_mean @ pull, estimate)
    return np.asarray((weight[:, :, None] * special.ndtr(centre / spread)).sum(axis=1))
