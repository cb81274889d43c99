"""A contrast's estimates from one completed table, with the variances of a technician-stratified bootstrap."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.overlap_influence import variances
from analysis.models.overlap_weights import (
    Arms,
    Models,
    compare,
    compared,
    effective_n,
    imbalance,
    imbalance_of_levels,
    models_of,
    propensity,
    stratified_samples,
    variance_if_equal,
)
from analysis.questions.contrasts import Contrast
from analysis.questions.technique_design import FEWEST, Codes, Columns, small_together

Floats = NDArray[np.float64]

BY_FORMULA = 5_000  # jobs compared from which variances are worked out without samples
NAMES = ("difference", "robust", "log_failure_ratio")
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
    models : Models
        The fits behind it; those of the next completed table are near them.
    """

    chances: tuple[float, float]
    estimate: Mapping[str, float]
    variance: Mapping[str, float]
    if_equal: float
    df: float
    overlap: Overlap
    models: Models


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

    def of(self, table: Columns, contrast: Contrast, before: One | None = None) -> One:
        """Estimates from one completed table; ``before`` are those from another, to start from."""
        part = table.part(self.keep, contrast.columns)
        rows = self.rows[self.keep]
        arms = Arms(rows["first_boot"].to_numpy(float), self.arm[self.keep], part.x, part.prior_sd)
        models = models_of(arms, before.models if before else None)
        whole = compared(arms, models.chosen[None], models.outcome[None], np.ones((1, len(arms.y))))
        e = propensity(arms, models)
        return One(
            chances=(float(whole.with_it[0]), float(whole.without[0])),
            estimate={name: float(getattr(whole, name)[0]) for name in NAMES},
            variance=self._variances(arms, models, _strata(rows)),
            if_equal=variance_if_equal(arms, e, models.outcome[:-1]),
            df=float(max(len(arms.y) - part.x.shape[1] - 1, 2)),
            overlap=_overlap(arms, e, part.watched),
            models=models,
        )

    def _variances(self, arms: Arms, models: Models, strata: Codes) -> dict[str, float]:
        """By the bootstrap; from :data:`BY_FORMULA` rows on by the formula that it comes to with many samples."""
        if len(arms.y) >= BY_FORMULA:
            return variances(arms, models, strata)
        drawn = compare(arms, models, stratified_samples(strata, self.draws, self.rng))
        return {name: float(getattr(drawn, name).var(ddof=1)) for name in NAMES}


def _strata(rows: pd.DataFrame) -> Codes:
    """Technician of each row; those with hardly a job together, since a stratum of one or two hardly varies."""
    return small_together(pd.factorize(rows["technician_id"])[0] + 1, FEWEST)  # blanks, -1, are a stratum too


def _overlap(arms: Arms, e: Floats, watched: Mapping[str, Codes]) -> Overlap:
    h = np.where(arms.arm == 1, 1 - e, e)
    return Overlap(
        either_way=float(np.mean((e > EVEN[0]) & (e < EVEN[1]))),
        effective=(effective_n(h[arms.arm == 1]), effective_n(h[arms.arm == 0])),
        before=imbalance(arms, np.ones(len(h))),
        after=imbalance(arms, h),
        left={name: imbalance_of_levels(arms, h, level) for name, level in watched.items()},
    )
