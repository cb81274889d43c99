"""What a setting does to the chance between two of its values, averaged over the jobs as they were."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit

from analysis.models.firth import FirthResult
from analysis.models.terms import FittedCurve

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SettingDifference:
    """Average difference in the chance of success of one setting against another.

    Parameters
    ----------
    setting, against : float
        In the unit of the curve.
    points, low, high : float
        Percentage points and their interval, within -100 to 100.
    """

    setting: float
    against: float
    points: float
    low: float
    high: float


def setting_difference(
    fit: FirthResult,
    x: Floats,
    columns: tuple[int, ...],
    term: FittedCurve,
    setting: float,
    against: float,
) -> SettingDifference:
    """Compare two settings, every row given the one and then the other.

    Parameters
    ----------
    fit : FirthResult
        Fit with the curve among its columns.
    x : ndarray, shape (n, p)
        Design of the rows to average over.
    columns : tuple of int
        Positions of the curve's columns.
    term : FittedCurve
        The curve.
    setting, against : float

    Returns
    -------
    SettingDifference
        Interval by the delta method with the covariance of the penalised fit, at the level of the fit.
    """
    beta = fit.coefficients.copy()
    beta[0] = fit.flic_intercept
    means, slopes = [], []
    for basis in term.at(np.array([setting, against])):
        moved = x.copy()
        moved[:, list(columns)] = basis
        p = expit(moved @ beta)
        means.append(float(p.mean()))
        slopes.append(((p * (1 - p))[:, None] * moved).mean(axis=0))
    slope = slopes[0] - slopes[1]
    half = float(stats.norm.isf((1 - fit.level) / 2) * np.sqrt(slope @ fit.covariance @ slope))
    points = means[0] - means[1]
    # The delta method knows no ends: chances differ by a hundred points at most.
    low, high = max(points - half, -1.0), min(points + half, 1.0)
    return SettingDifference(setting, against, 100 * points, 100 * low, 100 * high)
