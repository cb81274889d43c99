"""Groups put side by side on the same case mix, the mix learned within the groups.

First a logistic fit penalised by Jeffreys' prior with a column for each group: its case-mix coefficients come from jobs
of the same group alone, so that a good group with hard jobs does not make hard jobs look easy. Then random intercepts
of the groups on top of that mix, its uncertainty carried on (see ``random_intercepts.py``). Numerics of the penalised
fit are in ``penalised.py``.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import ModelError, UnconvergedError
from analysis.models.penalised import Data, maximise
from analysis.models.pooled import TAU_SCALE
from analysis.models.random_intercepts import (
    MixUncertainty,
    RandomIntercepts,
    above_mean_of_many,
    fit_random_intercepts,
)

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class WithinRows:
    """Jobs with their case mix and their group.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Design: intercept, columns of groups, columns of the case mix; no aliased columns.
    mix : ndarray of bool, shape (p,)
        Which columns are case mix.
    group : ndarray of str, shape (n,)
        Group of each job.
    compared : ndarray of bool, shape (n,)
        Jobs of the groups that are compared; the others only help to learn the case mix.
    """

    x: Floats
    mix: Flags
    group: NDArray[np.object_]
    compared: Flags

    @functools.cached_property
    def centred(self) -> Floats:
        """Case-mix columns of all jobs less their mean over the jobs compared, shape (n, m)."""
        columns = self.x[:, self.mix]
        return np.asarray(columns - columns[self.compared].mean(axis=0))


@dataclass(frozen=True)
class CaseMix:
    """The penalised fit with a column for each group.

    Parameters
    ----------
    beta : ndarray, shape (p,)
    covariance : ndarray, shape (p, p)
        Inverse of the expected information.
    offset : ndarray, shape (n,)
        Log odds of each job by its case mix, relative to the average of the jobs compared.
    """

    beta: Floats
    covariance: Floats
    offset: Floats


def fit_case_mix(rows: WithinRows, y: Floats) -> CaseMix:
    """Learn the case mix within the groups.

    Parameters
    ----------
    rows : WithinRows
    y : ndarray, shape (n,)
        Outcomes, 0 or 1.

    Raises
    ------
    ModelError
        If rows and outcomes do not match.
    UnconvergedError
        If the fit did not settle.
    """
    n, width = rows.x.shape
    if len(y) != n or not np.isin(y, (0.0, 1.0)).all():
        raise ModelError("Every row needs one outcome, 0 or 1.")
    data = Data.of(rows.x, np.asarray(y, float))
    best, settled = maximise(data, np.zeros(width), np.ones(width, dtype=bool))
    if not settled:
        raise UnconvergedError(
            f"The case mix of {n} jobs could not be learned: the iteration did not settle.",
            rule="Numbers of a fit that did not converge are never shown.",
            todo="Look for a column with a nearly empty level; merge it or leave it blank.",
        )
    return case_mix(rows, best.beta[0], best.inverse[0])


def case_mix(rows: WithinRows, beta: Floats, covariance: Floats) -> CaseMix:
    """The case mix that coefficients of the rows' columns make."""
    return CaseMix(beta, covariance, rows.centred @ beta[rows.mix])


def compare_groups(rows: WithinRows, y: Floats, mix: CaseMix, tau_scale: float = TAU_SCALE) -> RandomIntercepts:
    """Random intercepts of the groups compared, on top of a case mix.

    Raises
    ------
    ModelError
        If there are fewer than two groups to compare.
    """
    here = rows.compared
    uncertain = MixUncertainty(rows.centred[here], mix.covariance[np.ix_(rows.mix, rows.mix)])
    return fit_random_intercepts(y[here], mix.offset[here], rows.group[here], uncertain, tau_scale=tau_scale)


def above_means(rows: WithinRows, y: Floats, mixes: Sequence[CaseMix]) -> Floats:
    """Chances of lying above the mean that the comparison gives for many outcomes of the same jobs, shape (b, k).

    Parameters
    ----------
    rows : WithinRows
    y : ndarray, shape (b, n)
        Outcomes, one row a fit.
    mixes : sequence of CaseMix
        That of each fit.

    Raises
    ------
    ModelError, UnconvergedError
        As :func:`compare_groups`, or if a fit does not settle.
    """
    here = rows.compared
    covariance = np.array([mix.covariance[np.ix_(rows.mix, rows.mix)] for mix in mixes])
    offset = np.array([mix.offset[here] for mix in mixes])
    return above_mean_of_many(y[:, here], offset, rows.group[here], MixUncertainty(rows.centred[here], covariance))
