"""A hash of every job as the log stood at the end of a month, by the month it belongs to.

Late entries and edits are found by comparing such hashes, while work that went on after that day is no change. Codes of
jobs enter as hashes only.
"""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
import pandas as pd

from analysis.cohort.as_of import as_of
from analysis.cohort.outcomes import job_outcomes
from analysis.records.dictionary import BY_NAME, Column, Kind, KnownAt
from analysis.records.log import Log


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
            out.setdefault(str(its_month), {})[short_hash(str(job))] = short_hash(contents[str(job)])
    return {name: dict(sorted(jobs.items())) for name, jobs in sorted(out.items())}


def digest(text: str) -> str:
    """SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


def short_hash(text: str) -> str:
    """Beginning of the hash of a text: of a job's code, or of what the log holds of it."""
    return digest(text)[:16]


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
