"""What a penalised logistic fit says in percentage points: average differences and the curve of a setting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit, logit

from analysis.models.firth import FirthResult
from analysis.models.terms import FittedCurve

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """Average difference in the chance of success, in percentage points, with an interval.

    Parameters
    ----------
    points, low, high : float
        Percentage points.
    """

    points: float
    low: float
    high: float


def average_difference(fit: FirthResult, x: Floats, column: int, siblings: tuple[int, ...] = ()) -> Difference:
    """Average difference that one column makes, everything else as it was in each row.

    For a 0/1 column of a category: this level against the reference level, in all rows. For a number: one step more
    than recorded. The interval takes the ends of the profile interval of the coefficient with the other coefficients
    held, so that it excludes zero exactly when the odds ratio's interval excludes one. It covers 93–97 % where 95 are
    stated (``tests/studies/points.py``: 150 and 500 jobs, levels of 7 to 40 % of them).

    Parameters
    ----------
    fit : FirthResult
        With intervals.
    x : ndarray, shape (n, p)
        Design of the rows to average over.
    column : int
        Position of the column.
    siblings : tuple of int
        All columns of the same category, set to zero in both arms; empty for a number.
    """
    beta = fit.coefficients.copy()
    beta[0] = fit.flic_intercept
    beta[list(siblings)] = 0.0
    without = x @ beta
    start = expit(without).mean()

    def points(coefficient: float) -> float:
        return float(100 * (expit(without + coefficient).mean() - start))

    return Difference(points(fit.coefficients[column]), points(fit.low[column]), points(fit.high[column]))


@dataclass(frozen=True)
class ChanceCurve:
    """Chance of success over a setting, averaged over the rows as they were.

    Parameters
    ----------
    x : ndarray, shape (k,)
        Settings.
    chance, low, high : ndarray, shape (k,)
        Average chance and pointwise band at the level of the fit.
    recorded : ndarray
        Settings recorded.
    """

    x: Floats
    chance: Floats
    low: Floats
    high: Floats
    recorded: Floats

    @property
    def best(self) -> float:
        """Setting with the highest average chance."""
        return float(self.x[int(np.argmax(self.chance))])

    @property
    def may_be_best(self) -> tuple[float, float]:
        """Lowest and highest setting whose band reaches the highest average chance.

        The setting that is truly best lies among them in some 95 of 100 logs in which the curve is told at all (by
        simulation: ``tests/models/test_effects.py``).
        """
        among = self.x[self.high >= self.chance.max()]
        return float(among[0]), float(among[-1])


def chance_curve(
    fit: FirthResult, x: Floats, columns: tuple[int, ...], term: FittedCurve, recorded: Floats, grid: Floats
) -> ChanceCurve:
    """Average chance if every row with a recorded setting had had each setting of a grid.

    Parameters
    ----------
    fit : FirthResult
        Fit with the curve among its columns.
    x : ndarray, shape (n, p)
        Design of the rows with a recorded setting.
    columns : tuple of int
        Positions of the curve's columns, without its indicator.
    term : FittedCurve
        The curve.
    recorded : ndarray, shape (n,)
        Settings recorded in these rows.
    grid : ndarray, shape (k,)
        Settings to show.

    Returns
    -------
    ChanceCurve
        Band by the delta method on the scale of the log odds of the average chance, with the covariance of the
        penalised fit.
    """
    beta = fit.coefficients.copy()
    beta[0] = fit.flic_intercept
    basis, own = term.at(grid), beta[list(columns)]
    beta[list(columns)] = 0.0
    others = x @ beta
    values, spread = [], []
    for row in basis:
        p = expit(others + row @ own)
        mean = np.clip(p.mean(), 1e-9, 1 - 1e-9)  # a setting at which all fail has no slope, but a chance
        weight = p * (1 - p)
        slope = weight @ x / len(x)
        slope[list(columns)] = weight.mean() * row
        slope /= mean * (1 - mean)
        values.append(mean)
        spread.append(np.sqrt(slope @ fit.covariance @ slope))
    z = stats.norm.isf((1 - fit.level) / 2)
    middle, half = logit(np.array(values)), z * np.array(spread)
    return ChanceCurve(grid, np.array(values), expit(middle - half), expit(middle + half), recorded)
