"""Which jobs a log must do without so that no fault is left, and which faults no job can take with it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from analysis.records.problems import Problem, Severity, plural, visible

_OWNERS = {"donors.csv": "donor_id", "technicians.csv": "technician_id"}


@dataclass(frozen=True)
class LeftOut:
    """Jobs to leave out.

    Parameters
    ----------
    by_job : dict of str to tuple of Problem
        Each job to be left out with its faults. A job without a code of its own is named by its line.
    lines : frozenset of (str, int)
        File and line of faulty rows, which go even where their job's code could not be read.
    homeless : tuple of Problem
        Faults that leaving out jobs does not mend.
    strays : dict of str to int
        Rows of each other file that go although no job of jobs.csv goes with them: they name a job that is not there.
    """

    by_job: dict[str, tuple[Problem, ...]]
    lines: frozenset[tuple[str, int]]
    homeless: tuple[Problem, ...]
    strays: dict[str, int]

    def kept(self, name: str, table: pd.DataFrame) -> pd.DataFrame:
        """The rows of a table that stay; donors and technicians are kept, for other jobs may name them."""
        if "job_id" not in table:
            return table
        gone = table["job_id"].isin(list(self.by_job))
        lines = [line for file, line in self.lines if file == f"{name}.csv"]
        return table[~(gone | table["_line"].isin(lines))].reset_index(drop=True)


def strays_told(strays: Mapping[str, int]) -> str:
    """One sentence on the rows that no job of jobs.csv takes along; empty without any."""
    told = [
        f"{plural(n, 'row')} of {file} {'names a job that is' if n == 1 else 'name jobs that are'} not in jobs.csv"
        f" and {'is' if n == 1 else 'are'} left out"
        for file, n in strays.items()
    ]
    return f"{'; '.join(told)}." if told else ""


def _alike(code: str) -> str:
    return re.sub(r"[\W_]", "", code).casefold()


def jobs_left_out(tables: Mapping[str, pd.DataFrame], faults: Sequence[Problem]) -> LeftOut:
    """Give every fault to the jobs it makes unusable.

    A faulty donor or technician takes the jobs that name it along. A code that was refused also takes the job along
    whose code differs only by spaces, signs or case, since the row may be a part of it.
    """
    jobs = tables["jobs"]
    known = set(jobs["job_id"].dropna())
    alike: dict[str, list[str]] = {}
    found: dict[str, list[Problem]] = {}
    lines: set[tuple[str, int]] = set()
    homeless: list[Problem] = []
    for problem in faults:
        if problem.file in _OWNERS:
            named = _jobs_naming(tables, problem)
            if named is None:
                homeless.append(problem)
            for job in named or []:
                found.setdefault(job, []).append(problem)
            continue
        if not problem.line or (problem.file != "jobs.csv" and not problem.job) or problem.code in _OF_THE_FILE:
            homeless.append(problem)
            continue
        lines.add((problem.file, problem.line))
        name = problem.job or f"{problem.file}:{problem.line}"
        found.setdefault(name, []).append(problem)
        if problem.job and problem.job not in known:
            alike = alike or _grouped(known)
            for job in alike.get(_alike(problem.job), []):
                found.setdefault(job, []).append(problem)
    by_job = {job: tuple(problems) for job, problems in found.items()}
    return LeftOut(by_job, frozenset(lines), tuple(homeless), _strays(by_job, known))


def _strays(by_job: Mapping[str, Sequence[Problem]], known: set[str]) -> dict[str, int]:
    """Count the faulty rows, by file, whose job is no row of jobs.csv, not even one that could not be read."""
    lines = {
        (problem.file, problem.line)
        for job, problems in by_job.items()
        if job not in known and not any(problem.file == "jobs.csv" for problem in problems)
        for problem in problems
    }
    return dict(sorted(Counter(file for file, _ in lines).items()))


_OF_THE_FILE = ("duplicate-heading", "missing-column", "no-headings", "quotes", "nul-byte", "encoding")


def _grouped(known: set[str]) -> dict[str, list[str]]:
    groups: dict[str, list[str]] = {}
    for job in known:
        groups.setdefault(_alike(job), []).append(job)
    return groups


_NAMED = 5  # jobs named of those that go with a donor or technician
_MOST_FOLLOWED = 200  # faults whose jobs are sought; with more, the file as a whole is to be mended


def with_the_jobs_that_go(tables: Mapping[str, pd.DataFrame], problems: Sequence[Problem]) -> list[Problem]:
    """The findings; each fault of a donor or technician says which jobs a report sets aside with it."""
    out, followed = [], 0
    for problem in problems:
        if (
            problem.file in _OWNERS
            and problem.severity is Severity.FAULT
            and problem.line
            and followed < _MOST_FOLLOWED
        ):
            followed += 1
            jobs = _jobs_naming(tables, problem) or []
            more = f" and {len(jobs) - _NAMED} more" if len(jobs) > _NAMED else ""
            named = f" Until then a report sets aside with it: {', '.join(map(visible, jobs[:_NAMED]))}{more}."
            problem = replace(problem, todo=problem.todo + named if jobs else problem.todo)
        out.append(problem)
    return out


def _jobs_naming(tables: Mapping[str, pd.DataFrame], problem: Problem) -> list[str] | None:
    """Jobs that name the donor or technician on a faulty row, in jobs.csv or in a boot test; None when unknown."""
    key = _OWNERS[problem.file]
    table = tables[problem.file.removesuffix(".csv")]
    codes = table.loc[table["_line"].eq(problem.line), key].dropna() if problem.line else table[key].iloc[:0]
    if not len(codes):
        return None
    users = [frame for name, frame in tables.items() if key in frame and "job_id" in frame]
    return sorted({str(job) for frame in users for job in frame.loc[frame[key].isin(codes), "job_id"].dropna()})
