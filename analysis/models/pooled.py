"""Logistic regression with partial pooling: the chance of one intake, from few and unequal jobs.

Model, with x the columns of :class:`analysis.models.pooled_design.PooledDesign`::

    logit P(success) = a + x b + u[family]
    a ~ normal(0, 2.5)          log odds of the average job; weak: 1 to 99 % lies within two SD
    b_j ~ normal(0, sigma)      sigma ~ half-normal(1)
    u_k ~ normal(0, tau)        tau ~ half-normal(0.5)

The posterior is integrated over a grid of (sigma, tau); given both, the coefficients are taken as normal (Laplace). The
normal has the curvature at the mode and lies around the posterior mean to first order rather than around the mode: with
few jobs the posterior is skew, and the mode lies up to a point or two of the chance off.

Sources: Tierney and Kadane, JASA 81 (1986) 82–86 (Laplace); Rue, Martino and Chopin, JRSS B 71 (2009) 319–392 (the same
on a grid, and the mean's shift by the third derivative, which they call simplified Laplace; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analysis.cohort.ledger import Ledger
from analysis.errors import ModelError
from analysis.models.binary import blocks
from analysis.models.column_pairs import forms, products
from analysis.models.pooled_design import PooledDesign, PooledTerm, Rows, fit_pooled_design
from analysis.models.pooled_modes import log_mass, modes, near, problem_of, shift
from analysis.models.results import Result

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

INTERCEPT_SD = 2.5
SIGMA_SCALE, TAU_SCALE = 1.0, 0.5
SIGMA_POINTS, TAU_POINTS = 10, 8
MASS_KEPT = 0.999  # of the grid's posterior mass; the lightest points are dropped
MANY_ROWS = 5_000  # from so many on points of the grid without mass are left out beforehand; no bench's year has them
LEVEL = 0.8
HERMITE = np.polynomial.hermite_e.hermegauss(21)


@dataclass(frozen=True)
class Chances:
    """Posterior of the chance of each intake.

    Parameters
    ----------
    mean, low, high : ndarray, shape (m,)
        Posterior mean and the ends of the central interval.
    unseen_family : ndarray of bool, shape (m,)
        Intakes of a family the model has never seen; the spread between families is then part of the interval.
    level : float
        Of the interval.
    """

    mean: Floats
    low: Floats
    high: Floats
    unseen_family: Flags
    level: float


@dataclass(frozen=True, kw_only=True)
class PooledFit(Result):
    """A fitted pooled model.

    Parameters
    ----------
    design : PooledDesign
        Frozen columns.
    sigma, tau : ndarray, shape (g,)
        Points of the grid: SD of the effects and of the families.
    weight : ndarray, shape (g,)
        Posterior weight of each point; they add up to one.
    location : ndarray, shape (g, p)
        Mean of the coefficients, given the point.
    covariance : ndarray, shape (g, p, p)
        Of the coefficients, given the point.
    """

    design: PooledDesign
    sigma: Floats
    tau: Floats
    weight: Floats
    location: Floats
    covariance: Floats

    def log_odds(self, frame: pd.DataFrame) -> tuple[Floats, Floats]:
        """Mean and SD of each row's log odds at each point of the grid, both of shape (g, m).

        Raises
        ------
        UnseenLevelError
            If a row lies outside what the model has seen.
        """
        parts = [(centre, spread) for _, centre, spread in self._by_blocks(frame)]
        if not parts:
            return np.empty((len(self.weight), 0)), np.empty((len(self.weight), 0))
        return np.hstack([centre for centre, _ in parts]), np.hstack([spread for _, spread in parts])

    def _by_blocks(self, frame: Rows) -> Iterator[tuple[slice, Floats, Floats]]:
        """The same for a few rows at a time: 80 points times a million rows do not fit a memory."""
        looked = self.design.look(frame)
        columns = np.ascontiguousarray(self.design.matrix(looked).T)
        unseen = self.design.unseen_family(looked)
        for rows in blocks(len(looked), len(self.weight)):
            variance = forms(self.covariance, products(columns[:, rows]))
            variance += self.tau[:, None] ** 2 * unseen[rows]
            yield rows, self.location @ columns[:, rows], np.sqrt(variance)

    def mean_chances(self, frame: Rows) -> Floats:
        """Posterior mean of the chance of each row, shape (m,)."""
        out = np.empty(len(frame))
        for rows, centre, spread in self.shown()._by_blocks(frame):
            out[rows] = self.weight @ _averaged(centre, spread)
        return out

    def where_seen(self, frame: pd.DataFrame) -> Floats:
        """Posterior mean of the chance, NaN for rows outside what the model has seen, shape (m,)."""
        looked = self.design.look(frame)
        first, kind = self.design.equal(looked)
        different = looked.take(first)
        seen = self.design.seen(different)
        out = np.full(len(different), np.nan)
        if seen.any():
            out[seen] = self.mean_chances(different.take(seen))
        return out[kind]

    __call__ = where_seen

    def chances(self, frame: pd.DataFrame, level: float = LEVEL) -> Chances:
        """Posterior mean and interval of the chance of each row.

        Parameters
        ----------
        frame : DataFrame, shape (m, ...)
        level : float
            Of the central interval.

        Raises
        ------
        UnseenLevelError
            If a row has a level other than a family, or a number, outside what the model has seen.
        UnconvergedError
            If the fit did not settle.
        """
        mean, low, high = np.empty((3, len(frame)))
        for rows, centre, spread in self.shown()._by_blocks(frame):
            mean[rows] = self.weight @ _averaged(centre, spread)
            low[rows] = special.expit(_quantile(self.weight, centre, spread, (1 - level) / 2))
            high[rows] = special.expit(_quantile(self.weight, centre, spread, (1 + level) / 2))
        return Chances(mean, low, high, self.design.unseen_family(frame), level)

    def effects(self) -> pd.DataFrame:
        """Posterior mean and SD of each coefficient in log odds, one row a column of the design."""
        mean = self.weight @ self.location
        spread = np.diagonal(self.covariance, axis1=1, axis2=2) + (self.location - mean) ** 2
        return pd.DataFrame({"name": self.design.names, "mean": mean, "sd": np.sqrt(self.weight @ spread)})


def _averaged(centre: Floats, spread: Floats) -> Floats:
    """Mean chance where the log odds are normal, by Gauss–Hermite; ``centre`` and ``spread`` have shape (g, m)."""
    nodes, mass = HERMITE
    out, cells = np.zeros_like(centre), np.empty_like(centre)
    with np.errstate(over="ignore"):  # the chance is zero there
        for node, share in zip(nodes, mass / mass.sum(), strict=True):
            np.multiply(spread, -node, out=cells)
            np.exp(np.subtract(cells, centre, out=cells), out=cells)
            out += np.divide(share, np.add(cells, 1.0, out=cells), out=cells)
    return out


def _quantile(weight: Floats, centre: Floats, spread: Floats, q: float) -> Floats:
    """Quantile of a mixture of normals a column, by bisection; ``centre`` and ``spread`` have shape (g, m)."""
    reach = 9 * spread
    low, high = (centre - reach).min(axis=0), (centre + reach).max(axis=0)
    for _ in range(50):
        middle = (low + high) / 2
        below = weight @ special.ndtr((middle - centre) / spread) < q
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2)


def _half_normal(q: Floats) -> Floats:
    """Quantiles of the half-normal distribution; scipy.stats would take longer to import than the whole fit."""
    return np.asarray(special.ndtri((1 + q) / 2))


def _grid(families_n: int, points: tuple[int, int]) -> tuple[Floats, Floats]:
    """Points of equal prior mass: quantiles of the half-normal priors at the middle of equal steps."""
    sigma = SIGMA_SCALE * _half_normal((np.arange(points[0]) + 0.5) / points[0])
    # Without families there is no SD to integrate over.
    tau = TAU_SCALE * _half_normal((np.arange(points[1]) + 0.5) / points[1]) if families_n else np.zeros(1)
    pairs = np.array([(s, t) for s in sigma for t in tau])
    return pairs[:, 0], pairs[:, 1]


def _precisions(sigma: Floats, tau: Floats, effects_n: int, families_n: int) -> Floats:
    out = np.empty((len(sigma), 1 + effects_n + families_n))
    out[:, 0] = INTERCEPT_SD**-2
    out[:, 1 : 1 + effects_n] = sigma[:, None] ** -2
    if families_n:
        out[:, 1 + effects_n :] = tau[:, None] ** -2
    return out


def _kept(weight: Floats) -> NDArray[np.intp]:
    """Points that hold nearly all of the mass, in their order on the grid."""
    heaviest = np.argsort(-weight, kind="stable")
    enough = int(np.searchsorted(np.cumsum(weight[heaviest]), MASS_KEPT)) + 1
    return np.sort(heaviest[:enough])


def fit_pooled(
    frame: pd.DataFrame,
    y: ArrayLike,
    terms: Sequence[PooledTerm],
    family: str | None = None,
    *,
    ledger: Ledger | None = None,
    log_hash: str = "",
    points: tuple[int, int] = (SIGMA_POINTS, TAU_POINTS),
) -> PooledFit:
    """Fit the pooled model.

    Parameters
    ----------
    frame : DataFrame, shape (n, ...)
        Rows with a known outcome.
    y : array_like, shape (n,)
        0/1 outcomes.
    terms : sequence of Category or Number
    family : str, optional
        Column of the term whose levels have an SD of their own.
    ledger, log_hash
        Kept with the result.
    points : tuple of int
        Points of the grid for sigma and for tau.

    Raises
    ------
    ModelError
        If there are no rows, or an outcome is neither 0 nor 1.
    """
    outcome = np.asarray(y, dtype=float)
    if len(outcome) != len(frame) or not np.isin(outcome, (0.0, 1.0)).all():
        raise ModelError("Every row needs one outcome, 0 or 1.")
    design = fit_pooled_design(frame, terms, family)
    # Rows that are equal, as most are in a bootstrap sample or in a large log, are worked through once.
    looked = design.look(frame)
    rows, kind = design.equal(looked, outcome.astype(np.int64))
    x = design.matrix(looked.take(rows))
    sigma, tau = _grid(design.families_n, points)
    precision = _precisions(sigma, tau, x.shape[1] - 1 - design.families_n, design.families_n)
    middle = len(sigma) // 2
    alone = problem_of(x, outcome[rows], precision[[middle]], np.bincount(kind).astype(float))
    warm, *_ = modes(alone, np.zeros((1, x.shape[1])))
    everywhere = replace(alone, precision=precision)
    if len(outcome) >= MANY_ROWS:
        points_kept, warm = near(everywhere, warm)
        sigma, tau, everywhere = sigma[points_kept], tau[points_kept], replace(alone, precision=precision[points_kept])
    mode, value, information, settled = modes(everywhere, warm)
    weight = special.softmax(log_mass(value, information, everywhere.precision))
    kept = _kept(weight)
    inverse = np.asarray(np.linalg.inv(information[kept]), dtype=np.float64)
    covariance = (inverse + inverse.transpose(0, 2, 1)) / 2
    return PooledFit(
        n=len(outcome),
        events=int(outcome.sum()),
        converged=settled,
        reason="" if settled else "the mode of the coefficients was not found at every point of the grid",
        ledger=ledger,
        log_hash=log_hash,
        design=design,
        sigma=sigma[kept],
        tau=tau[kept],
        weight=weight[kept] / weight[kept].sum(),
        location=mode[kept] + shift(everywhere, mode[kept], covariance),
        covariance=covariance,
    )


def pooled_fitter(
    terms: Sequence[PooledTerm], family: str | None
) -> Callable[[pd.DataFrame, Floats], PooledFit | None]:
    """The pooled model as one step from rows and outcomes to a predictor, for those that fit many times over."""

    def fit(frame: pd.DataFrame, y: Floats) -> PooledFit | None:
        found = fit_pooled(frame, y, terms, family)
        return found if found.converged else None

    return fit
