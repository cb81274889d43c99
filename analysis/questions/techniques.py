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
from analysis.cohort.work import HOW_UNKNOWN
from analysis.models.design import RARER_NEEDED
from analysis.models.e_value import EValue, e_value
from analysis.models.imputation import impute
from analysis.models.rubin import Pooled, pool
from analysis.questions.contrasts import Contrast
from analysis.questions.description import holm
from analysis.questions.technique_design import COVARIATES, Columns, columns_of, helpers
from analysis.questions.technique_groups import Groups, groups_of, why_refused
from analysis.questions.technique_samples import One, Overlap, Samples
from analysis.questions.terms import PREHEAT
from analysis.questions.verdicts import Verdict, at_most_leaning, verdict_of

Floats = NDArray[np.float64]

RNG_SEED = 6
COPIES, DRAWS = 20, 25  # completed tables, bootstrap samples in each
COMPLETE_DRAWS = 200
# How the settings behind a contrast's arms were entered, by the column of the arms.
HEAT_ENTRY = {
    "install_style": "install_entry",
    **{f"{step}_dose_{unit}": f"{step}_entry" for step in ("install", "reball") for unit in ("c", "s")},
}
UNLIKE = 0.2  # SDs left after weighting from which the arms are not called alike (common practice, no source)
POWER = 0.8
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
        Difference that would be clear in four of five such logs, as a share; after Holm, where nothing else is clear.
    further_jobs : int
        Further first boots at this bench, of any way, until the smallest difference worth acting on would be clear in
        four of five logs, by the same measure.
    how_unknown : bool
        Rests on heat settings of which the log does not say how they were entered: never clear.
    blanks_as_cold : bool
        Rests on installs that count as cold only because no preheat is noted: never clear.
    unlike : tuple of str
        Columns, of technician, quarter and damage, in which the weighted arms are still :data:`UNLIKE` SDs apart; the
        verdict is then held back.
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
    detectable: float = math.nan
    further_jobs: int = 0
    how_unknown: bool = False
    blanks_as_cold: bool = False
    unlike: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        """Jobs in both arms."""
        return self.groups.with_it.n + self.groups.without.n

    @property
    def doubtful(self) -> bool:
        """Whether the arms rest on records that may say nothing: never clear."""
        return self.how_unknown or self.blanks_as_cold


Answer = Told | Refused


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
        Where too much work cannot be dated only donors are compared, on every first boot.
    """
    effort = effort or Effort()
    tables = tables_for(found.rows, contrasts, effort)
    answers: list[Answer] = []
    for place, contrast in enumerate(contrasts):
        if found.undatable is not None and not contrast.of_donor:
            answers.append(_undatable(found, contrast, found.undatable.why))
            continue
        completed = tables[contrast.exploratory]
        rng = np.random.default_rng([RNG_SEED, place])
        answers.append(_answer(found, contrast, completed, smallest_points, least, effort, rng))
    return _with_verdicts(answers, smallest_points / 100, len(found.rows))


def _undatable(found: TechniqueRows, contrast: Contrast, why: str) -> Refused:
    """Refuse without a count of either arm: a plain rate of these jobs would mislead as much as a difference."""
    nobody = groups_of(found.rows, np.full(len(found.rows), np.nan))
    return Refused(contrast, nobody, why, found.ledger.then(("work of too many not dated", len(found.rows))))


def tables_for(rows: pd.DataFrame, contrasts: tuple[Contrast, ...], effort: Effort) -> dict[bool, list[Columns]]:
    """Completed tables by whether a contrast is exploratory.

    The shop's own help to fill blanks for themselves only, so that adding one moves no declared answer.
    """
    declared = tuple(each for each in contrasts if not each.exploratory)
    first = completed_columns(rows, declared, effort)
    return {False: first, True: completed_columns(rows, contrasts, effort) if declared != contrasts else first}


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
) -> Answer:
    arm = contrast.arm(found.rows)
    groups = groups_of(found.rows, arm)
    keep = ~np.isnan(arm)
    blank = found.rows[contrast.column].isna().to_numpy(bool)
    ledger = found.ledger.then(
        ("not recorded which way", int((blank & ~keep).sum())), ("neither of the two ways", int((~blank & ~keep).sum()))
    )
    if why := why_refused(groups, contrast, least):
        return Refused(contrast, groups, why, ledger)
    samples = Samples(found.rows, arm, keep, effort.draws, rng)
    each: list[One] = []
    for table in completed:
        each.append(samples.of(table, contrast, each[-1] if each else None))
    overlap = each[0].overlap
    if min(overlap.effective) < least:
        amount, name = min(zip(overlap.effective, contrast.arms, strict=True))
        why = (
            f"the jobs that could have gone either way amount to only {math.floor(amount)} with '{name}' (at least"
            f" {least} are needed): the others differ in boards, people or time, or that way is too rare to tell"
        )
        return Refused(contrast, groups, why, ledger)
    complete = _complete_case(replace(samples, draws=effort.complete_draws), completed[0], contrast)
    entry = HEAT_ENTRY.get(contrast.column)
    how_unknown = entry is not None and bool(found.rows.loc[keep, entry].eq(HOW_UNKNOWN).any())
    told = _told(contrast, groups, ledger, each, complete)
    cold = contrast.column == PREHEAT.column and found.blank_preheats > 0
    return replace(told, how_unknown=how_unknown, blanks_as_cold=cold)


def _complete_case(samples: Samples, table: Columns, contrast: Contrast) -> tuple[int, Pooled | None]:
    """The same from jobs without blanks alone; None where an arm or an outcome has too few of them."""
    rows = samples.rows
    whole = samples.keep & rows[list(contrast.columns)].notna().all(axis=1).to_numpy(bool)
    arm, won = samples.arm[whole], rows["first_boot"].to_numpy(float)[whole]
    if min(arm.sum(), (1 - arm).sum(), won.sum(), (1 - won).sum()) < RARER_NEEDED:
        return int(whole.sum()), None
    one = replace(samples, keep=whole).of(table, contrast)
    value, variance = one.estimate["difference"], max(one.variance["difference"], one.if_equal)
    return int(whole.sum()), Pooled(value, math.sqrt(variance), one.df, 0.0, variance, 0.0)


def _told(
    contrast: Contrast,
    groups: Groups,
    ledger: Ledger,
    each: list[One],
    complete: tuple[int, Pooled | None],
) -> Told:
    df = each[0].df
    # A bootstrap sees no spread in an arm with hardly a failure (or success): never under what equal arms would have.
    short = np.mean([one.if_equal for one in each]) / np.mean([one.variance["difference"] for one in each])
    wider = max(1.0, float(short))
    pooled = {
        name: pool([one.estimate[name] for one in each], [wider * one.variance[name] for one in each], df)
        for name in each[0].estimate
    }
    ratio = pooled["log_failure_ratio"]
    ends = (ratio.estimate, *ratio.interval())
    shown = (math.exp(ends[0]), math.exp(ends[1]), math.exp(ends[2]))
    overlap = each[0].overlap
    return Told(
        contrast=contrast,
        groups=groups,
        ledger=ledger,
        chances=(float(np.mean([o.chances[0] for o in each])), float(np.mean([o.chances[1] for o in each]))),
        difference=pooled["difference"],
        robust=pooled["robust"],
        complete=complete[1],
        complete_n=complete[0],
        failure_ratio=shown,
        e_value=e_value(*shown),
        overlap=overlap,
        adjusted_p=1.0,
        verdict=Verdict.CANNOT_TELL,
        unlike=tuple(name for name, left in overlap.left.items() if left > UNLIKE),
    )


def _with_verdicts(answers: list[Answer], smallest: float, jobs: int) -> tuple[Answer, ...]:
    """Holm's adjustment: the declared contrasts among themselves, the shop's own among all.

    How many jobs it takes is measured by the same adjustment, where no other contrast is clear.
    """
    told = [answer for answer in answers if isinstance(answer, Told)]
    declared = [each for each in told if not each.contrast.exploratory]
    adjusted = dict(zip(map(id, told), _holm(told), strict=True)) | dict(
        zip(map(id, declared), _holm(declared), strict=True)
    )
    out: list[Answer] = []
    for answer in answers:
        if isinstance(answer, Told):
            p = adjusted[id(answer)]
            compared = len(told) if answer.contrast.exploratory else len(declared)
            apart = (clear_from(compared) + float(stats.norm.isf(1 - POWER))) * answer.difference.se
            needed = jobs * max(0.0, (apart / smallest) ** 2 - 1)  # as many of these ways among them as so far
            verdict = at_most_leaning(verdict_of(p)) if answer.doubtful else verdict_of(p)
            answer = replace(answer, adjusted_p=p, verdict=verdict, detectable=apart, further_jobs=math.ceil(needed))
        out.append(answer)
    return tuple(out)


def clear_from(compared: int) -> float:
    """Standard errors from which one of so many contrasts is clear, where no other is (Holm's first step)."""
    return float(stats.norm.isf(0.05 / (2 * compared)))


def _holm(told: list[Told]) -> list[float]:
    """Adjusted P; arms that are not alike count as no evidence, so that they lend the others none."""
    return [float(p) for p in holm(np.array([1.0 if each.unlike else each.difference.p for each in told]))]
