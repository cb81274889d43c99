"""Does a way of working help? Every declared contrast, put side by side on boards alike, or refused with the reason."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from analysis.cohort.ledger import Ledger
from analysis.cohort.technique_rows import TechniqueRows
from analysis.models.e_value import EValue, e_value
from analysis.models.imputation import impute
from analysis.models.overlap_weights import (
    Arms,
    compare,
    effective_n,
    imbalance,
    models_of,
    propensity,
    stratified_samples,
)
from analysis.models.rubin import Pooled, pool
from analysis.questions.contrasts import Contrast
from analysis.questions.description import holm
from analysis.questions.technique_design import COVARIATES, Columns, columns_of, helpers
from analysis.questions.technique_groups import RARER_NEEDED, Groups, groups_of, why_refused
from analysis.questions.verdicts import Verdict, verdict_of

Floats = NDArray[np.float64]

RNG_SEED = 6
COPIES, DRAWS = 20, 25  # completed tables, bootstrap samples in each
COMPLETE_DRAWS = 200
EVEN = (0.1, 0.9)  # chance of the arm within which a job could have gone either way (common practice, no source)
POWER_SUM = float(stats.norm.isf(0.025) + stats.norm.isf(0.2))  # 80 % power at a two-sided 5 % level


@dataclass(frozen=True)
class Effort:
    """How many completed tables and bootstrap samples are made; studies take fewer than reports."""

    copies: int = COPIES
    draws: int = DRAWS
    complete_draws: int = COMPLETE_DRAWS


@dataclass(frozen=True)
class Refused:
    """A contrast that cannot be answered, and why."""

    contrast: Contrast
    groups: Groups
    why: str
    ledger: Ledger


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
    """

    either_way: float
    effective: tuple[float, float]
    before: float
    after: float


@dataclass(frozen=True)
class Told:
    """An answered contrast.

    Parameters
    ----------
    contrast, groups, ledger
        What was asked, of whom.
    chances : tuple of float
        Standardised chance of first boot with and without, in the overlap population.
    difference, robust : Pooled
        Standardised and doubly robust difference, as shares.
    complete : Pooled or None
        Standardised difference from jobs without blanks alone; None where they are too few.
    complete_n : int
        Jobs without blanks.
    failure_ratio : tuple of float
        Ratio of the chances of failure with its 95 % interval.
    e_value : EValue
    overlap : Overlap
    adjusted_p : float
        P of ``difference`` by Holm's method over all contrasts answered.
    verdict : Verdict
    detectable : float
        Difference that such jobs would show in four of five logs, as a share (80 % power, single comparison).
    further_jobs : int
        Further jobs of these arms until the smallest difference worth acting on would be shown in four of five logs.
    """

    contrast: Contrast
    groups: Groups
    ledger: Ledger
    chances: tuple[float, float]
    difference: Pooled
    robust: Pooled
    complete: Pooled | None
    complete_n: int
    failure_ratio: tuple[float, float, float]
    e_value: EValue
    overlap: Overlap
    adjusted_p: float
    verdict: Verdict
    detectable: float
    further_jobs: int

    @property
    def n(self) -> int:
        """Jobs in both arms."""
        return self.groups.with_it.n + self.groups.without.n


Answer = Told | Refused


@dataclass(frozen=True)
class _Pending:
    """An answered contrast before Holm's adjustment."""

    told: Told
    p: float


def techniques(
    found: TechniqueRows,
    contrasts: tuple[Contrast, ...],
    smallest_points: float = 10.0,
    least: int = 10,
    effort: Effort | None = None,
) -> tuple[Answer, ...]:
    """Answer every contrast, or refuse it.

    Parameters
    ----------
    found : TechniqueRows
        Jobs with a first boot.
    contrasts : tuple of Contrast
        Declared ones and the shop's own.
    smallest_points : float
        Smallest difference worth acting on, in percentage points.
    least : int
        Jobs needed in either arm.
    effort : Effort, optional
        Completed tables and bootstrap samples.

    Returns
    -------
    tuple of Told or Refused
        In the order given. Contrasts declared beforehand are adjusted for one another; those of the shop's own for all.
    """
    effort = effort or Effort()
    completed = completed_columns(found.rows, contrasts, effort)
    answers: list[_Pending | Refused] = []
    for place, contrast in enumerate(contrasts):
        rng = np.random.default_rng([RNG_SEED, place])
        answers.append(_answer(found, contrast, completed, smallest_points, least, effort, rng))
    return _with_verdicts(answers)


def completed_columns(rows: pd.DataFrame, contrasts: tuple[Contrast, ...], effort: Effort) -> list[Columns]:
    """What is adjusted for, without blanks, several times; the arms and the outcome help to fill them."""
    if len(rows) < 2:
        return []
    arms = [contrast.arm(rows) for contrast in contrasts]
    rng = np.random.default_rng(RNG_SEED)
    return [columns_of(table) for table in impute(rows, COVARIATES, helpers(rows, arms), effort.copies, rng)]


def _answer(
    found: TechniqueRows,
    contrast: Contrast,
    completed: list[Columns],
    smallest_points: float,
    least: int,
    effort: Effort,
    rng: np.random.Generator,
) -> _Pending | Refused:
    arm = contrast.arm(found.rows)
    groups = groups_of(found.rows, arm)
    keep = ~np.isnan(arm)
    blank = found.rows[contrast.column].isna().to_numpy(bool)
    ledger = found.ledger.then(
        ("not recorded which way", int((blank & ~keep).sum())), ("neither of the two ways", int((~blank & ~keep).sum()))
    )
    if why := why_refused(groups, contrast, least):
        return Refused(contrast, groups, why, ledger)
    samples = _Samples(found.rows, arm, keep, effort.draws, rng)
    each = [samples.of(table, contrast) for table in completed]
    overlap = each[0].overlap
    if min(overlap.effective) < least:
        why = "hardly any job could have gone either way: the two were given to different boards or by different people"
        return Refused(contrast, groups, why, ledger)
    complete = _complete_case(replace(samples, draws=effort.complete_draws), completed[0], contrast)
    return _told(contrast, groups, ledger, each, complete, smallest_points)


@dataclass(frozen=True)
class _One:
    """A completed table's estimates and the variances of their bootstrap."""

    chances: tuple[float, float]
    estimate: dict[str, float]
    variance: dict[str, float]
    df: float
    overlap: Overlap


@dataclass(frozen=True)
class _Samples:
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

    def of(self, table: Columns, contrast: Contrast) -> _One:
        """Estimates from one completed table."""
        x, prior_sd = table.part(self.keep, contrast.columns)
        rows = self.rows[self.keep]
        arms = Arms(rows["first_boot"].to_numpy(float), self.arm[self.keep], x, prior_sd)
        models = models_of(arms)
        strata = pd.factorize(rows["technician_id"])[0]
        whole = compare(arms, models, np.ones((1, len(x))))
        drawn = compare(arms, models, stratified_samples(strata, self.draws, self.rng))
        e = propensity(arms, models)
        h = np.where(arms.arm == 1, 1 - e, e)
        overlap = Overlap(
            float(np.mean((e > EVEN[0]) & (e < EVEN[1]))),
            (effective_n(h[arms.arm == 1]), effective_n(h[arms.arm == 0])),
            imbalance(arms, np.ones(len(h))),
            imbalance(arms, h),
        )
        names = ("difference", "robust", "log_failure_ratio")
        estimate = {name: float(getattr(whole, name)[0]) for name in names}
        variance = {name: float(getattr(drawn, name).var(ddof=1)) for name in names}
        chances = (float(whole.with_it[0]), float(whole.without[0]))
        return _One(chances, estimate, variance, float(max(len(x) - x.shape[1] - 1, 2)), overlap)


def _complete_case(samples: _Samples, table: Columns, contrast: Contrast) -> tuple[int, Pooled | None]:
    """The same from jobs without blanks alone; None where an arm or an outcome has too few of them."""
    rows = samples.rows
    whole = samples.keep & rows[list(contrast.columns)].notna().all(axis=1).to_numpy(bool)
    arm, won = samples.arm[whole], rows["first_boot"].to_numpy(float)[whole]
    if min(arm.sum(), (1 - arm).sum(), won.sum(), (1 - won).sum()) < RARER_NEEDED:
        return int(whole.sum()), None
    one = replace(samples, keep=whole).of(table, contrast)
    value, variance = one.estimate["difference"], one.variance["difference"]
    return int(whole.sum()), Pooled(value, math.sqrt(variance), one.df, 0.0, variance, 0.0)


def _told(
    contrast: Contrast,
    groups: Groups,
    ledger: Ledger,
    each: list[_One],
    complete: tuple[int, Pooled | None],
    smallest_points: float,
) -> _Pending:
    df = each[0].df
    pooled = {
        name: pool([o.estimate[name] for o in each], [o.variance[name] for o in each], df) for name in each[0].estimate
    }
    ratio = pooled["log_failure_ratio"]
    ends = (ratio.estimate, *ratio.interval())
    shown = (math.exp(ends[0]), math.exp(ends[1]), math.exp(ends[2]))
    difference = pooled["difference"]
    n = groups.with_it.n + groups.without.n
    needed = n * (POWER_SUM * difference.se / (smallest_points / 100)) ** 2
    told = Told(
        contrast=contrast,
        groups=groups,
        ledger=ledger,
        chances=(float(np.mean([o.chances[0] for o in each])), float(np.mean([o.chances[1] for o in each]))),
        difference=difference,
        robust=pooled["robust"],
        complete=complete[1],
        complete_n=complete[0],
        failure_ratio=shown,
        e_value=e_value(*shown),
        overlap=each[0].overlap,
        adjusted_p=1.0,
        verdict=Verdict.CANNOT_TELL,
        detectable=POWER_SUM * difference.se,
        further_jobs=max(0, math.ceil(needed) - n),
    )
    return _Pending(told, difference.p)


def _with_verdicts(answers: list[_Pending | Refused]) -> tuple[Answer, ...]:
    """Holm's adjustment: the declared contrasts among themselves, the shop's own among all."""
    pending = [a for a in answers if isinstance(a, _Pending)]
    declared = [a for a in pending if not a.told.contrast.exploratory]
    own = dict(zip(map(id, declared), holm(np.array([a.p for a in declared])), strict=True))
    among_all = dict(zip(map(id, pending), holm(np.array([a.p for a in pending])), strict=True))
    out: list[Answer] = []
    for answer in answers:
        if isinstance(answer, Refused):
            out.append(answer)
            continue
        p = float(own.get(id(answer), among_all[id(answer)]))
        out.append(replace(answer.told, adjusted_p=p, verdict=verdict_of(p)))
    return tuple(out)
