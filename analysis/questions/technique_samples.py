"""A contrast's estimates from one completed table, with the variances of a technician-stratified bootstrap."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.overlap_weights import (
    Arms,
    compare,
    effective_n,
    imbalance,
    models_of,
    propensity,
    stratified_samples,
    variance_if_equal,
)
from analysis.questions.contrasts import Contrast
from analysis.questions.technique_design import FEWEST, Codes, Columns, small_together

Floats = NDArray[np.float64]

EVEN = (0.1, 0.9)  # chance of the arm within which a job could have gone either way (common practice, no source)


@dataclass(frozen=True)
class Overlap:
    """How far the two arms were given to like boards.

    Parameters
    ----------
    either_way : float
        Share of the jobs whose chance of the arm was 10 to 90 %.
    effective : tuple of float
        Jobs of equal weight that either arm amounts to.
    before, after : float
        Largest difference between the arms in what is adjusted for, in SDs, before and after weighting.
    left : mapping of str to float
        Largest difference after weighting in technician, quarter and damage at intake, in SDs, by column.
    """

    either_way: float
    effective: tuple[float, float]
    before: float
    after: float
    left: Mapping[str, float]


@dataclass(frozen=True)
class One:
    """A completed table's estimates, and how far they are from sure.

    Parameters
    ----------
    chances : tuple of float
        Standardised chance of success with and without.
    estimate, variance : mapping of str to float
        Difference, doubly robust difference and log failure ratio, and the variances of their bootstrap.
    if_equal : float
        Variance of the difference where the arms make none.
    df : float
        Rows less coefficients.
    overlap : Overlap
    """

    chances: tuple[float, float]
    estimate: Mapping[str, float]
    variance: Mapping[str, float]
    if_equal: float
    df: float
    overlap: Overlap


@dataclass(frozen=True)
class Samples:
    """Technician-stratified bootstrap of the rows of a contrast.

    Parameters
    ----------
    rows : DataFrame, shape (n, ...)
    arm : ndarray, shape (n,)
    keep : ndarray of bool, shape (n,)
        Rows compared.
    draws : int
    rng : Generator
    """

    rows: pd.DataFrame
    arm: Floats
    keep: NDArray[np.bool_]
    draws: int
    rng: np.random.Generator

    def of(self, table: Columns, contrast: Contrast) -> One:
        """Estimates from one completed table."""
        part = table.part(self.keep, contrast.columns)
        rows = self.rows[self.keep]
        arms = Arms(rows["first_boot"].to_numpy(float), self.arm[self.keep], part.x, part.prior_sd)
        models = models_of(arms)
        whole = compare(arms, models, np.ones((1, len(arms.y))))
        drawn = compare(arms, models, stratified_samples(_strata(rows), self.draws, self.rng))
        e = propensity(arms, models)
        names = ("difference", "robust", "log_failure_ratio")
        return One(
            chances=(float(whole.with_it[0]), float(whole.without[0])),
            estimate={name: float(getattr(whole, name)[0]) for name in names},
            variance={name: float(getattr(drawn, name).var(ddof=1)) for name in names},
            if_equal=variance_if_equal(arms, e),
            df=float(max(len(arms.y) - part.x.shape[1] - 1, 2)),
            overlap=_overlap(arms, e, part.watched),
        )


def _strata(rows: pd.DataFrame) -> Codes:
    """Technician of each row; those with hardly a job together, since a stratum of one or two hardly varies."""
    return small_together(pd.factorize(rows["technician_id"])[0], FEWEST)


def _overlap(arms: Arms, e: Floats, watched: Mapping[str, Codes]) -> Overlap:
    h = np.where(arms.arm == 1, 1 - e, e)
    return Overlap(
        either_way=float(np.mean((e > EVEN[0]) & (e < EVEN[1]))),
        effective=(effective_n(h[arms.arm == 1]), effective_n(h[arms.arm == 0])),
        before=imbalance(arms, np.ones(len(h))),
        after=imbalance(arms, h),
        left={
            name: imbalance(arms, h, np.asarray(level[:, None] == np.unique(level), dtype=float))
            for name, level in watched.items()
        },
    )
