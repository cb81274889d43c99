"""What changed when first boots fell: candidate explanations, each with what it could account for. Exploratory.

Every candidate is looked at in the same way, and P values are adjusted by Holm's method over all of them. An
explanation found here is a place to look first, never a finding: jobs were not given out by lot.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import logit

from analysis.cohort.features import Cohort
from analysis.errors import ModelError
from analysis.models.standardise import Rows, Toll, toll
from analysis.questions.description import holm
from analysis.questions.expected import ExpectedModel
from analysis.questions.factors import FACTORS, PERSON, Factor, level_of, with_settings
from analysis.questions.terms import PREHEAT
from analysis.questions.verdicts import Verdict, at_most_leaning, verdict_of
from analysis.questions.watch import Chart, Signal
from analysis.records.log import Log

# A group, and the jobs of the period outside it, need this many jobs to be compared.
MINIMUM_GROUP = 3
LISTED = 3
ORDER = tuple(Verdict)
# A share that rose by less is no change worth the name; common practice, no source.
ROSE = 0.1
NOTHING = "nothing we log explains it"
# Held by nearly all jobs of the period and hardly any before: a group that took over cannot be told from its days.
TOOK_OVER, HARDLY_BEFORE, BEFORE_NEEDED = 0.8, 0.2, 10


@dataclass(frozen=True)
class Candidate:
    """One level of one factor.

    Parameters
    ----------
    factor, level : str
        In words.
    column, code : str
        As the log has them.
    n, failed : int
        Jobs of the period in the group, and how many of them failed.
    share, share_before : float
        Share of the jobs with a record of the factor, in the period and before.
    recorded, recorded_before : int
        Jobs with a record of the factor.
    toll : Toll
        Odds of failure against the period's other jobs, and successes the change in odds and share accounts for.
    adjusted_p : float
        By Holm's method over all candidates.
    verdict : Verdict
        On the successes accounted for, after adjustment; it has no direction of its own.
    jobs : tuple of str
        Jobs of the period in the group.
    """

    factor: str
    level: str
    column: str
    code: str
    n: int
    failed: int
    share: float
    share_before: float
    recorded: int
    recorded_before: int
    toll: Toll
    adjusted_p: float
    verdict: Verdict
    jobs: tuple[str, ...]

    @property
    def became_commoner(self) -> bool:
        """Whether its share of the jobs rose; what was never recorded before counts as new."""
        return not self.recorded_before or self.share - self.share_before >= ROSE


@dataclass(frozen=True)
class TookOver:
    """A level that nearly all jobs of the period have and hardly any had before: there is nothing to compare it with.

    Parameters
    ----------
    factor, level, column, code : str
        As in :class:`Candidate`.
    n, failed, recorded : int
        Jobs of the period in it, how many of them failed, and jobs with a record of the factor.
    before, recorded_before : int
        The same of earlier jobs.
    """

    factor: str
    level: str
    column: str
    code: str
    n: int
    failed: int
    recorded: int
    before: int
    recorded_before: int


@dataclass(frozen=True)
class Covered:
    """A person's jobs that failed more often, most of whose failures belong to another explanation as sure.

    Parameters
    ----------
    person, by : Candidate
    shared_failures : int
        Failures of the person that are also the other's.
    rest_failed, rest : int
        Failures among the person's jobs outside the other explanation, and those jobs.
    """

    person: Candidate
    by: Candidate
    shared_failures: int
    rest_failed: int
    rest: int


@dataclass(frozen=True)
class WhatChanged:
    """Candidate explanations of a period.

    Parameters
    ----------
    jobs, before : int
        Jobs of the period and earlier ones, both with an expected chance.
    unseen : int
        Jobs of the period left out because the model never saw their kind.
    observed, expected : float
        Successes of the period, seen and expected by intake facts.
    mix : float
        Successes by which the period's own mix of jobs lowers the expectation, against the earlier mix (negative:
        easier jobs); it is no part of the shortfall.
    candidates : tuple of Candidate
        All that were compared, smallest P first.
    listed : tuple of Candidate
        The short list: those that did worse than the others and cost successes, surest first; of those as sure, first
        what became more common, then what was as common before, then people. A person whose failures are mostly those
        of an explanation as sure is not among them. Only these explain anything, however small the P of one that did
        better.
    covered : Covered or None
        The person left out of the short list for that reason.
    took_over : tuple of TookOver
        Levels that came to hold nearly all jobs, which no comparison within the period can judge.
    exploratory : bool
        Always true.
    """

    jobs: int
    before: int
    unseen: int
    observed: float
    expected: float
    mix: float
    candidates: tuple[Candidate, ...]
    listed: tuple[Candidate, ...]
    covered: Covered | None = None
    took_over: tuple[TookOver, ...] = ()
    exploratory: bool = True

    @property
    def shortfall(self) -> float:
        """Successes missing against the expectation; negative when there were more."""
        return self.expected - self.observed

    @property
    def explained(self) -> bool:
        """Whether any candidate is at least "leaning" after adjustment; otherwise :data:`NOTHING`."""
        return any(each.verdict is not Verdict.CANNOT_TELL for each in self.listed)


def what_changed(log: Log, cohort: Cohort, model: ExpectedModel, jobs: Collection[str]) -> WhatChanged:
    """Compare a period's jobs with one another and with all tested before its first.

    Parameters
    ----------
    log, cohort
        The log and its jobs.
    model : ExpectedModel
        Gives every job its chance by intake facts.
    jobs : collection of str
        Jobs of the period: those of a signal or of a month.

    Raises
    ------
    ModelError
        If none of the jobs has a first boot and an expected chance.
    """
    rows = cohort.first_boots
    rows = rows.assign(chance=model.chances(rows))
    mine = rows["job_id"].isin(jobs)
    unseen = int((mine & rows["chance"].isna()).sum())
    period = rows[mine & rows["chance"].notna()]
    if period.empty:
        raise ModelError(
            "None of the jobs asked about has a first boot with an expected chance.",
            rule="What changed is told of jobs with a first-boot result of a kind the model has seen.",
            todo="Choose a month or a signal with tested jobs.",
        )
    earlier = rows[rows["first_boot_date"].lt(period["first_boot_date"].min()) & rows["chance"].notna() & ~mine]
    period, earlier = with_settings(log, period, earlier)
    observed, expected = float(period["first_boot"].sum()), float(period["chance"].sum())
    mix = len(period) * float(earlier["chance"].mean()) - expected if len(earlier) else 0.0
    candidates = _candidates(period, earlier)
    if cohort.blanks_as_cold:
        candidates = tuple(map(_seldom_noted, candidates))
    costly = [each for each in candidates if each.toll.odds_ratio > 1 and each.toll.lost > 0]
    # Smallest P first, as they come: by size a level that most jobs share would stand above a small bad lot. What was
    # as common before may have gone bad, but it is not what changed; people come last, for whoever got the bad lot
    # would else stand above it.
    costly.sort(key=lambda each: (ORDER.index(each.verdict), each.column == PERSON, not each.became_commoner))
    covered = _covered(costly, set(period.loc[period["first_boot"].eq(0), "job_id"]))
    listed = tuple(each for each in costly if covered is None or each is not covered.person)[:LISTED]
    took_over = _took_over(period, earlier)
    return WhatChanged(
        len(period), len(earlier), unseen, observed, expected, mix, candidates, listed, covered, took_over
    )


def _seldom_noted(candidate: Candidate) -> Candidate:
    """A candidate; one of preheat is never clear, since what failed may only be noted less often."""
    if candidate.column != PREHEAT.column:
        return candidate
    return replace(candidate, verdict=at_most_leaning(candidate.verdict))


def _covered(costly: list[Candidate], failed: set[str]) -> Covered | None:
    """The surest person, if over half of the failures are those of another explanation as sure or surer."""
    person = next((each for each in costly if each.column == PERSON), None)
    if person is None or person.verdict is Verdict.CANNOT_TELL:
        return None
    own = set(person.jobs)
    for other in costly:
        if other.column == PERSON or ORDER.index(other.verdict) > ORDER.index(person.verdict):
            continue
        shared, rest = own & set(other.jobs), own - set(other.jobs)
        if 2 * len(shared & failed) > person.failed:
            return Covered(person, other, len(shared & failed), len(rest & failed), len(rest))
    return None


def period_of(chart: Chart, signal: Signal) -> tuple[str, ...]:
    """Jobs to look at for a signal: from the first of the interval of its beginning to the end of its month.

    Jobs from before the likeliest beginning and after the signal are what the suspected ones are compared with.
    """
    days = chart.points["day"]
    inside = days.ge(signal.earliest) & days.le(signal.day.to_period("M").end_time)
    return tuple(str(job) for job in chart.points.loc[inside, "job_id"])


def _candidates(period: pd.DataFrame, earlier: pd.DataFrame) -> tuple[Candidate, ...]:
    """Every level with enough jobs inside and outside, smallest P first."""
    found = []
    for factor in FACTORS:
        now = period[period[factor.column].notna()]
        then = earlier[earlier[factor.column].notna()]
        counts = now[factor.column].astype(str).value_counts().sort_index()
        for code, n in counts.items():
            if n < MINIMUM_GROUP or len(now) - n < MINIMUM_GROUP:
                continue
            cost = toll(_rows(now, factor, code), _rows(then, factor, code))
            # Of two levels each is what the other is not: one test serves both, told of the one that did worse.
            if len(counts) > 2 or cost.odds_ratio > 1:
                found.append((factor, str(code), now, then, cost))
    if not found:
        return ()
    adjusted = holm(np.array([each[-1].p for each in found]))
    out = [_candidate(*each, float(worse)) for each, worse in zip(found, adjusted, strict=True)]
    return tuple(sorted(out, key=lambda c: (c.toll.p, -c.toll.lost, c.factor, c.code)))


def _took_over(period: pd.DataFrame, earlier: pd.DataFrame) -> tuple[TookOver, ...]:
    out = []
    for factor in FACTORS:
        now = period[period[factor.column].notna()]
        then = earlier.loc[earlier[factor.column].notna(), factor.column].astype(str)
        counts = now[factor.column].astype(str).value_counts()
        if counts.empty or len(then) < BEFORE_NEEDED:
            continue
        code, n = str(counts.index[0]), int(counts.iloc[0])
        before = int(then.eq(code).sum())
        if n >= max(MINIMUM_GROUP, TOOK_OVER * len(now)) and before <= HARDLY_BEFORE * len(then):
            failed = int(now.loc[now[factor.column].astype(str).eq(code), "first_boot"].eq(0).sum())
            level = level_of(factor, code)
            out.append(TookOver(factor.name, level, factor.column, code, n, failed, len(now), before, len(then)))
    return tuple(out)


def _rows(frame: pd.DataFrame, factor: Factor, code: object) -> Rows:
    return Rows(
        frame["first_boot"].to_numpy(float),
        logit(frame["chance"].to_numpy(float)),
        frame[factor.column].astype(str).eq(str(code)).to_numpy(bool),
    )


def _candidate(
    factor: Factor, code: str, now: pd.DataFrame, then: pd.DataFrame, cost: Toll, adjusted_p: float
) -> Candidate:
    inside = now[factor.column].astype(str).eq(code)
    before = then[factor.column].astype(str).eq(code)
    return Candidate(
        factor=factor.name,
        level=level_of(factor, code),
        column=factor.column,
        code=code,
        n=int(inside.sum()),
        failed=int(now.loc[inside, "first_boot"].eq(0).sum()),
        share=float(inside.mean()),
        share_before=float(before.mean()) if len(then) else float("nan"),
        recorded=len(now),
        recorded_before=len(then),
        toll=cost,
        adjusted_p=adjusted_p,
        verdict=verdict_of(adjusted_p),
        jobs=tuple(str(job) for job in now.loc[inside, "job_id"]),
    )
