"""Where the posterior of the pooled model is highest at each point of its grid, and how it curves there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from analysis.models.binary import blocks, chances
from analysis.models.column_pairs import Pairs, forms, symmetric

Floats = NDArray[np.float64]

NEWTON_STEPS, SETTLED = 60, 1e-9
LIGHT = 16.0  # a point lighter by such a difference of logs has a ten-millionth of the mass of the best


@dataclass(frozen=True)
class Point:
    """Log likelihood plus log prior without its constants (g,), its slope (g, p), its negative Hessian (g, p, p)."""

    value: Floats
    slope: Floats
    information: Floats


@dataclass(frozen=True)
class Problem:
    """Rows, how often each stands there, products of their columns, and the prior precisions of the grid, (g, p)."""

    x: Floats
    y: Floats
    often: Floats
    precision: Floats
    pairs: Pairs

    def slopes(self, beta: Floats) -> Floats:
        """The slopes alone, shape (g, p)."""
        out = -self.precision * beta
        for rows in blocks(len(self.y), max(beta.shape)):
            p = special.expit(beta @ self.pairs.columns[:, rows])
            out += (self.often[rows] * (self.y[rows] - p)) @ self.x[rows]
        return out

    def at(self, beta: Floats) -> Point:
        """Evaluate at one row of coefficients a point of the grid, shape (g, p), or at one for all points, (1, p)."""
        count, width = beta.shape
        value, slope = -0.5 * (self.precision * beta**2).sum(axis=1), -self.precision * beta
        curvatures = np.zeros((count, width * (width + 1) // 2))
        for rows in blocks(len(self.y), max(count, width)):
            y, often = self.y[rows], self.often[rows]
            eta = beta @ self.pairs.columns[:, rows]
            p, log_sum = chances(eta)
            value += eta @ (often * y) - log_sum @ often
            slope += (often * (y - p)) @ self.x[rows]
            curvatures += self.pairs.sums(often * (p * (1 - p)), rows)
        information = symmetric(curvatures, width)
        if count < len(self.precision):
            information = np.repeat(information, len(self.precision), axis=0)
        information[:, range(width), range(width)] += self.precision
        return Point(value, slope, information)


def problem_of(x: Floats, y: Floats, precision: Floats, often: Floats | None = None) -> Problem:
    """Rows that each stand there once, or so often."""
    return Problem(x, y, np.ones(len(y)) if often is None else often, precision, Pairs.of(x))


def modes(problem: Problem, start: Floats) -> tuple[Floats, Floats, Floats, bool]:
    """Newton's method at every point of the grid at once, the step halved where it does not climb.

    Parameters
    ----------
    problem : Problem
    start : ndarray, shape (1, p)
        Where all points start: what the rows say there is worked out once.

    Returns
    -------
    beta, value, information, settled
    """
    beta, point = start, problem.at(start)
    for _ in range(NEWTON_STEPS):
        step = np.linalg.solve(point.information, point.slope[..., None])[..., 0]
        if float((step * point.slope).sum(axis=1).max()) < SETTLED:
            return np.broadcast_to(beta, step.shape), point.value, point.information, True
        for _ in range(30):
            reached = problem.at(beta + step)
            worse = reached.value < point.value - 1e-12 * np.abs(point.value)
            if not worse.any():
                break
            step[worse] /= 2
        beta, point = beta + step, reached
    return beta, point.value, point.information, False


def log_mass(value: Floats, information: Floats, precision: Floats) -> Floats:
    """Of each point of the grid, but for a constant (Laplace)."""
    return value + 0.5 * np.log(precision).sum(axis=1) - 0.5 * np.linalg.slogdet(information)[1]


def near(problem: Problem, start: Floats) -> tuple[NDArray[np.intp], Floats]:
    """Points of the grid that may have any mass, and their modes to start from, for very many rows.

    What the rows say is then nearly quadratic around one point's mode, ``start`` (1, p): points that are
    :data:`LIGHT` below the best by it are left out, and the others climb with the curvature held as it is there, for
    which slopes are enough. In the end each is weighed by its own curvature, as ever. What is left out, some 1e-7 of
    the mass, can move a point at the cut of the mass in or out about once in thousands of fits, 4e-5 of a chance.
    """
    point = problem.at(start)
    steps = np.linalg.solve(point.information, point.slope[..., None])[..., 0]
    mass = log_mass(point.value + 0.5 * (steps * point.slope).sum(axis=1), point.information, problem.precision)
    kept = np.flatnonzero(mass > mass.max() - LIGHT)
    some, inverse = replace(problem, precision=problem.precision[kept]), np.linalg.inv(point.information[kept])
    beta, before = start + steps[kept], np.inf
    for _ in range(NEWTON_STEPS):
        slope = some.slopes(beta)
        step = (inverse @ slope[..., None])[..., 0]
        left = float((step * slope).sum(axis=1).max())
        if left > before:  # not near enough
            return kept, start
        if left < SETTLED / 100:
            break
        beta, before = beta + step, left
    return kept, beta


def shift(problem: Problem, mode: Floats, covariance: Floats) -> Floats:
    """From the mode to the posterior mean, by the third derivative of the log likelihood, shape (g, p)."""
    pulled = np.zeros_like(mode)
    for rows in blocks(len(problem.y), max(mode.shape)):
        p, _ = chances(mode @ problem.pairs.columns[:, rows])
        pulled += (
            -problem.often[rows] * p * (1 - p) * (1 - 2 * p) * forms(covariance, problem.pairs[rows])
        ) @ problem.x[rows]
    return np.asarray(0.5 * (pulled[:, None, :] @ covariance)[:, 0, :])
