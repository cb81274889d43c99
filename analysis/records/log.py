"""The log as a whole: files in, typed tables with every finding out. The files are only ever read."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from analysis.errors import LogError
from analysis.records.convert import Context, cell_problems, convert, empty_column
from analysis.records.delimited import RawTable, read_delimited, unreadable_file
from analysis.records.dictionary import BY_NAME, TABLES, Table
from analysis.records.problems import Problem, Severity
from analysis.records.rulebook import Book
from analysis.records.settings import FILE, Settings, read_settings


@dataclass(frozen=True)
class Log:
    """A log of past jobs.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Every table of the dictionary, typed, every declared column present, with ``_line``.
    folder : Path
        Where it was read from.
    settings : Settings
        From bench.toml.
    problems : tuple of Problem
        Everything that was found.
    hash : str
        SHA-256 of the content; the order of rows and columns, encoding and delimiter do not change it.
    set_aside : mapping of str to tuple of Problem
        Jobs left out whole, with their faults; empty until :meth:`without_faulty_jobs`.
    rows_read : mapping of str to int
        Rows read from each file that is there.
    """

    tables: Mapping[str, pd.DataFrame]
    folder: Path = Path()
    settings: Settings = field(default_factory=Settings)
    problems: tuple[Problem, ...] = ()
    hash: str = ""
    set_aside: Mapping[str, tuple[Problem, ...]] = field(default_factory=dict)
    rows_read: Mapping[str, int] = field(default_factory=dict)

    @classmethod
    def from_tables(
        cls, tables: Mapping[str, pd.DataFrame], settings: Settings | None = None, folder: Path = Path()
    ) -> Log:
        """Make a log from typed tables in memory, without checking them."""
        full = {table.name: tables.get(table.name, empty_table(table)) for table in TABLES}
        return cls(full, folder, settings or Settings(), (), hash_of(full))

    @property
    def invented(self) -> bool:
        """Whether the settings say that the data are invented."""
        return self.settings.invented

    @property
    def faults(self) -> tuple[Problem, ...]:
        """The findings that are faults."""
        return tuple(p for p in self.problems if p.severity is Severity.FAULT)

    @property
    def last_date(self) -> pd.Timestamp:
        """Latest date written anywhere in the log; NaT when there is none."""
        jobs, tests = self.tables["jobs"], self.tables["boot_tests"]
        latest = [jobs["received_date"].max(), jobs["closed_date"].max(), tests["test_date"].max()]
        known = [date for date in latest if not pd.isna(date)]
        return max(known) if known else pd.NaT

    def without_faulty_jobs(self) -> Log:
        """Return the log without the jobs that have a fault, each set aside whole.

        Raises
        ------
        LogError
            If a fault belongs to no job, so that setting jobs aside does not mend it.
        """
        by_job, homeless = _faults_by_job(self)
        if homeless:
            shown = "\n  ".join(problem.line_text() for problem in homeless[:5])
            more = f"\n  … and {len(homeless) - 5} more" if len(homeless) > 5 else ""
            raise LogError(
                f"the log has faults that belong to no single job:\n  {shown}{more}",
                rule="A report can set aside faulty jobs, but not a faulty file.",
                todo="Mend these first; 'rework check' lists every fault.",
                where=str(self.folder),
            )
        if not by_job:
            return self
        kept = {
            name: table[~table["job_id"].isin(list(by_job))].reset_index(drop=True) if "job_id" in table else table
            for name, table in self.tables.items()
        }
        return replace(self, tables=kept, set_aside=by_job)


def empty_table(table: Table) -> pd.DataFrame:
    """A table without rows."""
    frame = pd.DataFrame({column.name: empty_column(column, 0) for column in table.columns})
    frame["_line"] = pd.Series([], dtype=int)
    return frame


def hash_of(tables: Mapping[str, pd.DataFrame]) -> str:
    """SHA-256 over the rows of all tables, sorted."""
    digest = hashlib.sha256()
    for table in TABLES:
        rows = tables[table.name][list(table.names)].to_csv(index=False, header=False, lineterminator="\n")
        digest.update(f"{table.name}\n".encode())
        for row in sorted(rows.splitlines()):
            digest.update(row.encode() + b"\n")
    return digest.hexdigest()


def _faults_by_job(log: Log) -> tuple[dict[str, tuple[Problem, ...]], list[Problem]]:
    """Faults with the jobs they make unusable; a faulty donor or technician takes the jobs that name it along."""
    jobs = log.tables["jobs"]
    keys = {"donors.csv": "donor_id", "technicians.csv": "technician_id"}
    found: dict[str, list[Problem]] = {}
    homeless: list[Problem] = []
    for problem in log.faults:
        if problem.job:
            found.setdefault(problem.job, []).append(problem)
            continue
        key = keys.get(problem.file)
        table = log.tables[problem.file.removesuffix(".csv")]
        named = table.loc[table["_line"].eq(problem.line), key].dropna() if key and problem.line else []
        if not len(named):
            homeless.append(problem)
            continue
        for job in jobs.loc[jobs[key].isin(named), "job_id"].dropna():
            found.setdefault(str(job), []).append(problem)
    return {job: tuple(problems) for job, problems in found.items()}, homeless


def _jobs_of(raw: RawTable) -> list[str]:
    at = raw.headings.get("job_id")
    return [row[at].strip() for row in raw.rows] if at is not None else [""] * len(raw.rows)


def _convert_table(
    raw: RawTable, settings: Settings, today: dt.date
) -> tuple[pd.DataFrame, list[Problem], set[tuple[int, str]]]:
    context = Context(settings, raw.delimiter, today)
    jobs = _jobs_of(raw)
    columns, problems = {}, list(raw.problems)
    refused: set[tuple[int, str]] = set()
    for column in raw.table.columns:
        at = raw.headings.get(column.name)
        if at is None:
            columns[column.name] = empty_column(column, len(raw.rows))
            continue
        converted = convert([row[at] for row in raw.rows], column, context)
        columns[column.name] = converted.values
        problems += cell_problems(converted, column, raw.table, raw.lines, jobs)
        refused |= {(position, column.name) for position, _, _ in converted.bad}
    frame = pd.DataFrame(columns, index=range(len(raw.rows)))
    frame["_line"] = raw.lines
    return frame, problems, refused


def _read_files(folder: Path) -> dict[str, RawTable]:
    """Read every file of the log that is there.

    Raises
    ------
    LogError
        If there is no folder or no jobs.csv.
    """
    if not folder.is_dir():
        what = "is a file" if folder.exists() else "does not exist"
        todo = "Name the folder that holds jobs.csv, or make one with 'rework blank-log'."
        raise LogError(f"{folder} {what}.", rule="A log is a folder of CSV files.", todo=todo)
    if not (folder / "jobs.csv").is_file():
        there = sorted(path.name for path in folder.iterdir())[:8]
        raise LogError(
            f"{folder} holds no jobs.csv" + (f"; it holds {', '.join(there)}." if there else "; it is empty."),
            rule="The one file a log must have is jobs.csv.",
            todo="Make empty files to fill with 'rework blank-log', or rename yours.",
        )
    raws = {}
    for table in TABLES:
        path = folder / table.file
        if path.is_file():
            try:
                raws[table.name] = read_delimited(path, table)
            except OSError as error:
                raws[table.name] = unreadable_file(table, error.strerror or "not readable")
    return raws


def _strangers(folder: Path) -> list[Problem]:
    """CSV files that are no part of a log."""
    known = {table.file for table in TABLES}
    rule = f"one of: {', '.join(sorted(known))}"
    todo = "Rename it if it is meant to be read; otherwise leave it."
    return [
        Problem(
            path.name, 0, "", "", "a CSV file that is no table of the log", rule, todo, Severity.WARNING, "stranger"
        )
        for path in sorted(folder.glob("*.csv"))
        if path.name not in known
    ]


def read_log(folder: Path, today: dt.date | None = None) -> Log:
    """Read and check a log; every finding is in ``problems``.

    Parameters
    ----------
    folder : Path
        Holds jobs.csv and, as far as they are kept, the other tables and bench.toml.
    today : date, optional
        Dates after it are faults; by default the computer's date.

    Raises
    ------
    LogError
        If there is no folder, no jobs.csv, or jobs.csv cannot be used at all.
    SettingsError
        If bench.toml cannot be used.
    """
    from analysis.records.rules import all_rules, range_problems

    folder = Path(folder)
    settings = read_settings(folder) if (folder / FILE).is_file() else Settings()
    raws = _read_files(folder)
    tables, problems, refused, ragged = {}, _strangers(folder), {}, set()
    for table in TABLES:
        raw = raws.get(table.name)
        if raw is None or not raw.usable:
            tables[table.name] = empty_table(table)
            problems += list(raw.problems) if raw else []
            continue
        tables[table.name], found, refused[table.name] = _convert_table(raw, settings, today or dt.date.today())
        problems += found
        ragged |= set(raw.ragged_jobs)
    problems += range_problems(tables, refused)
    if all(raw.usable for raw in raws.values()):
        problems += all_rules(Book(tables, refused, frozenset(ragged)))
    order = {table.file: i for i, table in enumerate(TABLES)}
    problems.sort(key=lambda p: (order.get(p.file, 99), p.line, BY_NAME_ORDER.get((p.file, p.column), 0), p.code))
    rows_read = {name: len(raw.rows) for name, raw in raws.items()}
    return Log(tables, folder, settings, tuple(problems), hash_of(tables), {}, rows_read)


BY_NAME_ORDER = {(table.file, column.name): i for table in BY_NAME.values() for i, column in enumerate(table.columns)}
