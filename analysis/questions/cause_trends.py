"""What each cause of failure costs, whether this month's causes differ from the year before, and causes never found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from analysis.cohort.features import Cohort
from analysis.models.design import TooFew, too_few
from analysis.models.firth import fit_firth
from analysis.models.intervals import Proportion, wilson
from analysis.questions.causes import NOT_WRITTEN, Causes, causes_of, failed_jobs
from analysis.questions.description import holm
from analysis.questions.rates import trailing
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.records.log import Log

# Fewer failures before the month give nothing to compare it with.
MINIMUM_BEFORE = 10
HALF_YEARS = 6


@dataclass(frozen=True)
class CauseCost:
    """What the failures of one cause took over twelve months.

    Parameters
    ----------
    code, label : str
        Code of the log and its label.
    share : Proportion
        Of all failures of the twelve months.
    irreversible, irreversible_known : int
        Jobs whose processor or storage is lost for good.
    jobs : int
        Jobs behind the failures: every accepted job of their boards, so that each further attempt counts.
    hours : float
        Bench hours of these jobs, where recorded.
    hours_known : int
        Of these jobs, those with recorded hours.
    money : float
        These hours at the bench's cost, and donors where their cost is written; fees are not set against it.
    donors_known : int
        Of these jobs, those with a donor cost written.
    """

    code: str
    label: str
    share: Proportion
    irreversible: int
    irreversible_known: int
    jobs: int
    hours: float
    hours_known: int
    money: float
    donors_known: int


@dataclass(frozen=True)
class CauseChange:
    """One cause this month against the twelve months before it; ``p`` is Fisher's, by Holm's method over the causes."""

    label: str
    now: int
    before: int
    p: float
    verdict: Verdict
    more: bool


@dataclass(frozen=True)
class HalfYear:
    """Failures of half a year without a known cause: looked for and not found, or none written."""

    name: str
    n: int
    not_found: int
    not_written: int
    share: Proportion


@dataclass(frozen=True)
class CauseTrends:
    """Causes over time.

    Parameters
    ----------
    costs : tuple of CauseCost
        Of twelve months, most frequent first.
    month_n, before_n : int
        Failures closed in the month, and in the twelve months before it.
    changes : tuple of CauseChange
        Empty where there is too little to compare.
    halves : tuple of HalfYear
        Up to :data:`HALF_YEARS`, earliest first.
    trend : Verdict or TooFew
        Whether the share without a known cause has a trend over the half-years.
    rising : bool
        Its direction.
    """

    costs: tuple[CauseCost, ...]
    month_n: int
    before_n: int
    changes: tuple[CauseChange, ...]
    halves: tuple[HalfYear, ...]
    trend: Verdict | TooFew
    rising: bool


def cause_trends(log: Log, cohort: Cohort, month: pd.Period) -> CauseTrends:
    """Tell what causes cost and how they change, from failed jobs closed up to the end of a month."""
    now = causes_of(failed_jobs(cohort, (month, month)))
    before = causes_of(failed_jobs(cohort, (month - 12, month - 1)))
    halves, trend, rising = _unexplained(cohort, month)
    return CauseTrends(
        costs=_costs(log, cohort, failed_jobs(cohort, trailing(month))),
        month_n=now.n,
        before_n=before.n,
        changes=_changes(now, before),
        halves=halves,
        trend=trend,
        rising=rising,
    )


def _costs(log: Log, cohort: Cohort, failed: pd.DataFrame) -> tuple[CauseCost, ...]:
    work = _work_of(log, cohort, failed)
    code = failed["failure_cause"].astype(object).where(failed["failure_cause"].notna(), NOT_WRITTEN)
    out = []
    for row in causes_of(failed).rows:
        mine = work[code.eq(row.code).to_numpy(bool)].sum()
        # Hours that are not written cost something too; how many jobs are behind the sum is told beside it.
        money = float(mine["hours"]) * log.settings.bench_hour_cost + float(mine["donors"])
        out.append(
            CauseCost(
                code=row.code,
                label=row.label,
                share=wilson(row.n, len(failed)),
                irreversible=row.irreversible,
                irreversible_known=row.irreversible_known,
                jobs=int(mine["jobs"]),
                hours=float(mine["hours"]),
                hours_known=int(mine["hours_known"]),
                money=money,
                donors_known=int(mine["donors_known"]),
            )
        )
    return tuple(out)


def _work_of(log: Log, cohort: Cohort, failed: pd.DataFrame) -> pd.DataFrame:
    """Jobs, hours and donor costs behind each failure: sums over the accepted jobs of its board, a row a failure."""
    known = cohort.jobs.set_index("job_id")
    jobs = log.tables["jobs"]
    hours, donors = jobs["bench_hours"].astype(float), jobs["donor_cost"].astype(float)
    each = pd.DataFrame(
        {
            "jobs": 1,
            "hours": hours,
            "hours_known": hours.notna(),
            "donors": donors,
            "donors_known": donors.notna(),
        }
    )
    root = jobs["job_id"].map(known["chain_root"])
    worked = jobs["job_id"].map(known["chain_place"]).notna() | jobs["job_id"].eq(root)
    summed = each[worked].groupby(root[worked]).sum()
    return summed.reindex(failed["job_id"]).reset_index(drop=True)


def _changes(now: Causes, before: Causes) -> tuple[CauseChange, ...]:
    """Each cause's share of the failures, month against the year before; small counts, so that the test is exact."""
    if not now.n or before.n < MINIMUM_BEFORE:
        return ()
    earlier = {row.code: row.n for row in before.rows}
    labels = {row.code: row.label for row in (*before.rows, *now.rows)}
    mine = {row.code: row.n for row in now.rows}
    tables = {code: [[mine.get(code, 0), now.n], [earlier.get(code, 0), before.n]] for code in labels}
    p = [float(stats.fisher_exact([[x, n - x] for x, n in table]).pvalue) for table in tables.values()]
    adjusted = holm(np.array(p))
    out = []
    for (code, ((x, n), (x0, n0))), worse in zip(tables.items(), adjusted, strict=True):
        out.append(CauseChange(labels[code], x, x0, float(worse), verdict_of(float(worse)), x * n0 > x0 * n))
    return tuple(sorted(out, key=lambda each: (each.p, -each.now, -each.before, each.label)))


def _unexplained(cohort: Cohort, month: pd.Period) -> tuple[tuple[HalfYear, ...], Verdict | TooFew, bool]:
    first = month - (6 * HALF_YEARS - 1)
    failed = failed_jobs(cohort, (first, month))
    ended = failed["ended_date"].dt.to_period("M")
    # Half-years count back from the month, so that the last one is always whole.
    half = np.array([(each.ordinal - first.ordinal) // 6 for each in ended], dtype=np.int64)
    found = failed["failure_cause"]
    not_found, not_written = found.eq("not_found").fillna(False).to_numpy(bool), found.isna().to_numpy(bool)
    halves = []
    for k in np.unique(half):
        mine = half == k
        # A log that starts within the half-year names it from its own first month.
        start = max(first + int(6 * k), cohort.jobs["received_date"].min().to_period("M"))
        end = first + int(6 * k) + 5
        a, b, n = int(not_found[mine].sum()), int(not_written[mine].sum()), int(mine.sum())
        halves.append(HalfYear(f"{start.strftime('%b %Y')} to {end.strftime('%b %Y')}", n, a, b, wilson(a + b, n)))
    y = (not_found | not_written).astype(float)
    few = too_few(y)
    if few is not None or len(halves) < 2:
        return tuple(halves), few or TooFew(int(y.sum()), int(len(y) - y.sum()), None), False
    years = (failed["ended_date"] - first.start_time).dt.days.to_numpy(float) / 365.25
    fit = fit_firth(np.column_stack([np.ones(len(y)), years]), y, ("start", "a year")).shown()
    return tuple(halves), verdict_of(float(fit.p[1])), bool(fit.coefficients[1] > 0)
