"""What the last review said would be watched, and whether the log behind earlier months has changed since."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from analysis import __version__
from analysis.questions.job_hashes import month_hashes, short_hash
from analysis.questions.review_summary import Summary, Watched
from analysis.questions.watch import Watch
from analysis.records.log import Log


@dataclass(frozen=True)
class MonthChange:
    """Jobs of a month that were added, changed or taken away since the last review; a moved job is changed.

    ``jobs`` names those of them that are in the log now.
    """

    month: str
    added: int
    changed: int
    removed: int
    jobs: tuple[str, ...] = field(default=(), compare=False)


def summarise(log: Log, month: pd.Period, watched: tuple[Watched, ...], charts: Watch | None = None) -> Summary:
    """Make the summary of a review.

    Parameters
    ----------
    log : Log
        The log as read.
    month : Period
        Month reviewed.
    watched : tuple of Watched
        What the review says will be watched.
    charts : Watch, optional
        Whose limits in force are stored with their random seed.
    """
    limits = () if charts is None else _limits(charts)
    return Summary(month, log.hash, __version__, watched, month_hashes(log, month), limits)


def _limits(charts: Watch) -> tuple[Mapping[str, Any], ...]:
    drawn = [] if charts.primary is None else [charts.primary, *charts.others]
    return tuple(
        {"chart": chart.name, "since": f"{day:%Y-%m-%d}", **vars(limit)}
        for chart in drawn
        for day, limit in chart.limits[-1:]
    )


def changes_since(last: Summary, log: Log) -> tuple[MonthChange, ...]:
    """Find the months whose jobs, as they stood at the end of the last review's month, are no longer what they were."""
    now = month_hashes(log, last.month)
    old = {job: content for jobs in last.months.values() for job, content in jobs.items()}
    new = {job: content for jobs in now.values() for job, content in jobs.items()}
    codes = {short_hash(str(job)): str(job) for job in log.tables["jobs"]["job_id"]}
    out = []
    for name in sorted({*last.months, *now}):
        before, after = last.months.get(name, {}), now.get(name, {})
        added = sum(job not in old for job in after)
        removed = sum(job not in new for job in before)
        # A job that moved to another month is a change of both.
        moved = sum(job in new and job not in after for job in before)
        changed = moved + sum(job in old and before.get(job) != content for job, content in after.items())
        if added or changed or removed:
            touched = [codes[job] for job, content in after.items() if before.get(job) != content]
            out.append(MonthChange(name, added, changed, removed, tuple(sorted(touched))))
    return tuple(out)


def shares_jobs(last: Summary, log: Log) -> bool:
    """Whether the log holds any job that the summary knew; otherwise it is the summary of another log."""
    known = {job for jobs in last.months.values() for job in jobs}
    return not known or any(short_hash(str(job)) in known for job in log.tables["jobs"]["job_id"])
