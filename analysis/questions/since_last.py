"""What the last review said would be watched, and whether the log behind earlier months has changed since.

Each review writes a small JSON file beside its page (:data:`SCHEMA`); the next review reads it. For every month it
keeps a hash of each job as the log stood at the end of the review's month, so that late entries and edits are found,
counted and shown, while work that went on after that day is no change. Codes of jobs enter as hashes only.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analysis import __version__
from analysis.cohort.as_of import as_of
from analysis.cohort.outcomes import job_outcomes
from analysis.errors import ReworkError
from analysis.questions.period import parse_month
from analysis.questions.watch import Watch
from analysis.records.dictionary import BY_NAME, Column, Kind, KnownAt
from analysis.records.log import Log

FORMAT = 1
_MONTH = {"type": "string", "pattern": r"^\d{4}-(0[1-9]|1[0-2])$"}
_TEXT = {"type": "string"}
SCHEMA: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "title": "Summary of a monthly review, read by the next one",
    "type": "object",
    "required": ["format", "month", "log_hash", "code_version", "watched", "limits", "months"],
    "additionalProperties": False,
    "properties": {
        "format": {"const": FORMAT, "description": "Version of this layout."},
        "month": {**_MONTH, "description": "Month reviewed, YYYY-MM."},
        "log_hash": {**_TEXT, "description": "SHA-256 of the whole log as read."},
        "code_version": {**_TEXT, "description": "Version of the program."},
        "watched": {
            "type": "array",
            "description": "What the review said would be watched.",
            "items": {
                "type": "object",
                "required": ["key", "words", "stood", "value", "n"],
                "additionalProperties": False,
                "properties": {
                    "key": {**_TEXT, "description": "What it is, for the next review: factor and code, or a chart."},
                    "words": {**_TEXT, "description": "The sentence of the review."},
                    "stood": {**_TEXT, "description": "Where it stood then, in words with its number of jobs."},
                    "value": {"type": ["number", "null"], "description": "Its number then, null without one."},
                    "n": {"type": "integer", "minimum": 0, "description": "Jobs behind the number."},
                },
            },
        },
        "limits": {
            "type": "array",
            "description": "Limits of the charts in force, enough to simulate each of them again.",
            "items": {
                "type": "object",
                "required": ["chart", "since", "value", "rate", "jobs", "draws", "error", "rng_seed"],
                "additionalProperties": False,
                "properties": {
                    "chart": {**_TEXT, "description": "Name of the chart."},
                    "since": {**_TEXT, "description": "Day from which the limit holds, YYYY-MM-DD."},
                    "value": {"type": "number", "description": "The chart signals at or above it."},
                    "rate": {"type": "number", "description": "Stated chance of a false alarm within these jobs."},
                    "jobs": {"type": "integer", "description": "Jobs the rate is for: a year's."},
                    "draws": {"type": "integer", "description": "Simulated runs."},
                    "error": {"type": "number", "description": "Monte Carlo error of the rate."},
                    "rng_seed": {"type": "integer", "description": "Random seed of the simulation."},
                },
            },
        },
        "months": {
            "type": "object",
            "description": "For each month of first boots (of receipt where there was none yet): jobs as hashes.",
            "propertyNames": _MONTH,
            "additionalProperties": {
                "type": "object",
                "required": ["hash", "jobs"],
                "additionalProperties": False,
                "properties": {
                    "hash": {**_TEXT, "description": "SHA-256 of the month's jobs."},
                    "jobs": {
                        "type": "object",
                        "description": "Hash of a job's code to hash of what the log held of it.",
                        "additionalProperties": _TEXT,
                    },
                },
            },
        },
    },
}


@dataclass(frozen=True)
class Watched:
    """One thing a review said would be watched.

    Parameters
    ----------
    key : str
        What it is: factor and code ("donor_lot LOT-19") or the name of a chart.
    words : str
        The sentence of the review.
    stood : str
        Where it stood then, in words with its number of jobs.
    value : float or None
        Its number then.
    n : int
        Jobs behind the number.
    """

    key: str
    words: str
    stood: str
    value: float | None
    n: int


@dataclass(frozen=True)
class Summary:
    """What one review leaves for the next; ``months`` maps YYYY-MM to hash of job code to hash of content.

    ``limits`` are the charts' limits in force (see :data:`SCHEMA`).
    """

    month: pd.Period
    log_hash: str
    code_version: str
    watched: tuple[Watched, ...]
    months: Mapping[str, Mapping[str, str]]
    limits: tuple[Mapping[str, Any], ...] = ()


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


def month_hashes(log: Log, month: pd.Period) -> dict[str, dict[str, str]]:
    """Hash every job as the log stood at the end of a month.

    Of a job then open only what was known at intake and its boot tests with the work before them count: the rest may
    rightly be filled in later. Of a closed job everything counts, its donor's facts too.

    Returns
    -------
    dict
        YYYY-MM of the first boot (of receipt where there is none) to hash of job code to hash of content.
    """
    then = as_of(log, month.end_time)
    outcomes = job_outcomes(then)
    when = outcomes["first_boot_month"].where(outcomes["first_boot_month"].notna(), outcomes["received_month"])
    contents = _contents(then)
    out: dict[str, dict[str, str]] = {}
    for job, its_month in zip(outcomes["job_id"], when, strict=True):
        if not pd.isna(its_month):
            out.setdefault(str(its_month), {})[_short(str(job))] = _short(contents[str(job)])
    return {name: dict(sorted(jobs.items())) for name, jobs in sorted(out.items())}


def changes_since(last: Summary, log: Log) -> tuple[MonthChange, ...]:
    """Find the months whose jobs, as they stood at the end of the last review's month, are no longer what they were."""
    now = month_hashes(log, last.month)
    old = {job: content for jobs in last.months.values() for job, content in jobs.items()}
    new = {job: content for jobs in now.values() for job, content in jobs.items()}
    codes = {_short(str(job)): str(job) for job in log.tables["jobs"]["job_id"]}
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
    return not known or any(_short(str(job)) in known for job in log.tables["jobs"]["job_id"])


def summary_text(summary: Summary) -> str:
    """The summary as the JSON text that stands beside the page."""
    months = {
        name: {"hash": _digest(json.dumps(jobs, sort_keys=True)), "jobs": dict(jobs)}
        for name, jobs in summary.months.items()
    }
    content = {
        "format": FORMAT,
        "month": str(summary.month),
        "log_hash": summary.log_hash,
        "code_version": summary.code_version,
        "watched": [vars(each) for each in summary.watched],
        "limits": [dict(each) for each in summary.limits],
        "months": months,
    }
    return json.dumps(content, indent=1, allow_nan=False, ensure_ascii=False) + "\n"


def read_summary(path: Path) -> Summary | None:
    """Read what the last review left; None where there is no file.

    Raises
    ------
    ReworkError
        If the file is not what a review writes.
    """
    if not path.is_file():
        return None
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        _refuse_other_layouts(content)
        months = {name: dict(entry["jobs"]) for name, entry in content["months"].items()}
        for name, jobs in months.items():
            if content["months"][name]["hash"] != _digest(json.dumps(jobs, sort_keys=True)):
                raise ValueError(f"the hash of {name} does not fit its jobs")
        watched = tuple(Watched(**each) for each in content["watched"])
        month = parse_month(content["month"])
        limits = tuple(dict(each) for each in content["limits"])
        return Summary(month, str(content["log_hash"]), str(content["code_version"]), watched, months, limits)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, ReworkError) as error:
        raise ReworkError(
            f"The summary of the last review cannot be used ({_plain(error)}).",
            rule="It is the JSON file that a review writes beside its page and is never edited by hand.",
            todo="Make the review of the earlier month again, or move the file away to go on without it.",
            where=str(path),
        ) from error


def _plain(error: Exception) -> str:
    """The reason without the names of Python's own errors."""
    return error.found if isinstance(error, ReworkError) else str(error) or "it is damaged"


def _refuse_other_layouts(content: Any) -> None:
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise ValueError(f"its layout is not number {FORMAT}")
    missing = [key for key in SCHEMA["required"] if key not in content]
    if missing:
        raise ValueError(f"it lacks {', '.join(missing)}")


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _short(text: str) -> str:
    return _digest(text)[:16]


def _contents(log: Log) -> dict[str, str]:
    """Everything of each job that may not change without being seen, as one text."""
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    ids = jobs["job_id"].astype(str)
    closed = (jobs["closed_date"].notna() | jobs["outcome"].notna()).to_numpy(bool)
    columns = BY_NAME["jobs"].columns
    whole, at_intake = (
        _lines(jobs, [c for c in columns if all_of or c.known_at is KnownAt.INTAKE]) for all_of in (True, False)
    )
    parts = {job: [w if c else i] for job, w, i, c in zip(ids, whole, at_intake, closed, strict=True)}
    open_jobs = set(ids[~closed])
    reached = tests.groupby("job_id")["test_no"].max().astype(float)
    for name in ("boot_tests", "chip_sides", "heat_steps"):
        rows = log.tables[name]
        own = rows["job_id"].astype(str)
        if name != "boot_tests":
            before = rows["before_test_no"].astype("Float64").to_numpy(float, na_value=1.0)
            done = before <= own.map(reached).fillna(0).to_numpy(float)
            rows = rows[done | ~own.isin(open_jobs).to_numpy()]
        for job, line in sorted(zip(rows["job_id"].astype(str), _lines(rows, BY_NAME[name].columns), strict=True)):
            if job in parts:
                parts[job].append(f"{name} {line}")
    donors = log.tables["donors"].drop_duplicates("donor_id")
    facts = dict(zip(donors["donor_id"], _lines(donors, BY_NAME["donors"].columns), strict=True))
    for job, donor, is_closed in zip(ids, jobs["donor_id"], closed, strict=True):
        if is_closed and not pd.isna(donor):
            parts[job].append(facts.get(donor, ""))
    return {job: "\n".join(lines) for job, lines in parts.items()}


def _lines(rows: pd.DataFrame, columns: Any) -> list[str]:
    """Each row as one text, blanks as nothing, numbers written one way whatever their type."""
    cells = [_texts(rows[column.name], column) for column in columns]
    return ["\t".join(row) for row in zip(*cells, strict=True)] if len(rows) else []


def _texts(values: pd.Series, column: Column) -> list[str]:
    if column.kind in (Kind.NUMBER, Kind.INTEGER, Kind.YES_NO):
        numbers = values.astype("Float64").to_numpy(float, na_value=np.nan)
        return ["" if np.isnan(number) else repr(float(number)) for number in numbers]
    return ["" if pd.isna(value) else str(value) for value in values]
