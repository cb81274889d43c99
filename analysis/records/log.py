"""The log as a whole: files in, typed tables with every finding out. The files are only ever read."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.errors import LogError
from analysis.records.coded import Coded, coded_tables
from analysis.records.convert import Context, cell_problems, convert, empty_column
from analysis.records.delimited import RawTable, no_file, read_delimited, unreadable_file
from analysis.records.dictionary import BY_NAME, TABLES, Table
from analysis.records.entering.replacing import JOURNAL
from analysis.records.hiding import hide_personal
from analysis.records.loghash import hash_of
from analysis.records.on_disk import not_a_file, unchanged
from analysis.records.problems import Problem, Severity
from analysis.records.rulebook import WHOLE_COLUMN, Book
from analysis.records.setting_aside import jobs_left_out, with_the_jobs_that_go
from analysis.records.settings import FILE as SETTINGS_FILE
from analysis.records.settings import Settings, examine_settings

FILES = (*(table.file for table in TABLES), SETTINGS_FILE)

KEPT_ASIDE = "not_placed.csv"  # what an import could not place; beside the log, not part of it


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
    jobs_set_aside : int
        Rows of jobs.csv that went with them. A code that only other tables name is in ``set_aside`` but is no job.
    strays_left_out : mapping of str to int
        Rows of each other file left out although no job went with them: they name a job that is not in jobs.csv.
    rows_read : mapping of str to int
        Rows read from each file that is there.
    rows_set_aside : DataFrame
        Of the jobs set aside whose row could be read: ``received_date`` and ``outcome``.
    several_tests : frozenset of str
        In a log cut at a day, the jobs that have several boot tests in the whole log.
    """

    tables: Mapping[str, pd.DataFrame]
    folder: Path = Path()
    settings: Settings = field(default_factory=Settings)
    problems: tuple[Problem, ...] = ()
    hash: str = ""
    set_aside: Mapping[str, tuple[Problem, ...]] = field(default_factory=dict)
    jobs_set_aside: int = 0
    strays_left_out: Mapping[str, int] = field(default_factory=dict)
    rows_read: Mapping[str, int] = field(default_factory=dict)
    rows_set_aside: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["received_date", "outcome"]))
    several_tests: frozenset[str] = frozenset()

    @classmethod
    def from_tables(cls, tables: Mapping[str, pd.DataFrame], settings: Settings | None = None) -> Log:
        """Make a log from typed tables in memory, without checking them."""
        full = {table.name: tables.get(table.name, empty_table(table)) for table in TABLES}
        return cls(full, Path(), settings or Settings(), (), hash_of(coded_tables(full)))

    @property
    def invented(self) -> bool:
        """Whether the settings say that the data are invented."""
        return self.settings.invented

    @property
    def failures_set_aside(self) -> int:
        """Jobs set aside that read as closed and not recovered."""
        return int(self.rows_set_aside["outcome"].eq("not_recovered").sum())

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
        """Return the log without the jobs that have a fault, each set aside whole, for a report.

        Texts that read like a client's are hidden in it; the check tells where they stand.

        Raises
        ------
        LogError
            If a fault belongs to no job, so that setting jobs aside does not mend it.
        """
        left_out = jobs_left_out(self.tables, self.faults)
        if left_out.homeless:
            shown = "\n  ".join(problem.line_text() for problem in left_out.homeless[:5])
            more = f"\n  … and {len(left_out.homeless) - 5} more" if len(left_out.homeless) > 5 else ""
            raise LogError(
                f"the log has faults that belong to no single job:\n  {shown}{more}",
                rule="A report can set aside faulty jobs, but not a faulty file.",
                todo="Mend these first; 'rework check' lists every fault.",
                where=str(self.folder),
            )
        if not left_out.by_job:
            hidden = hide_personal(self.tables, self.problems)
            return self if hidden is self.tables else replace(self, tables=hidden)
        kept = {name: left_out.kept(name, table) for name, table in self.tables.items()}
        # A row of jobs.csv that could not be split into cells is a job of the log too, though it never became a row.
        broken_rows = sum(p.file == "jobs.csv" and p.code == "ragged-row" for p in self.faults)
        dropped = len(self.tables["jobs"]) - len(kept["jobs"]) + broken_rows
        return replace(
            self,
            tables=hide_personal(kept, self.problems),
            set_aside=left_out.by_job,
            jobs_set_aside=dropped,
            rows_set_aside=self.tables["jobs"].loc[
                ~self.tables["jobs"]["_line"].isin(kept["jobs"]["_line"]), ["received_date", "outcome"]
            ],
            strays_left_out=left_out.strays,
        )


def empty_table(table: Table) -> pd.DataFrame:
    """A table without rows."""
    frame = pd.DataFrame({column.name: empty_column(column, 0) for column in table.columns})
    frame["_line"] = pd.Series([], dtype=int)
    return frame


@dataclass(frozen=True)
class _Converted:
    frame: pd.DataFrame
    coded: dict[str, Coded]
    problems: list[Problem]
    refused: set[tuple[int, str]]


def _convert_table(raw: RawTable, settings: Settings, today: dt.date) -> _Converted:
    context = Context(settings, raw.delimiter, today)
    columns, coded, problems = {}, {}, list(raw.problems)
    refused = {(WHOLE_COLUMN, name) for name in raw.missing}
    for column in raw.table.columns:
        texts = raw.columns.get(column.name)
        if texts is None:
            columns[column.name] = empty_column(column, len(raw.lines))
            coded[column.name] = Coded(np.full(len(raw.lines), -1), [])
            continue
        converted = convert(texts, column, context)
        columns[column.name], coded[column.name] = converted.values, converted.coded
        problems += cell_problems(converted, column, raw.table, raw.lines, raw.columns.get("job_id"))
        refused |= {(position, column.name) for position, _, _ in converted.bad}
    frame = pd.DataFrame(columns, index=range(len(raw.lines)), copy=False)
    frame["_line"] = np.asarray(raw.lines, dtype="int64")
    return _Converted(frame, coded, problems, refused)


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
    if not os.path.lexists(folder / "jobs.csv"):
        there = sorted(path.name for path in folder.iterdir())[:8]
        raise LogError(
            f"{folder} holds no jobs.csv" + (f"; it holds {', '.join(there)}." if there else "; it is empty."),
            rule="The one file a log must have is jobs.csv.",
            todo="Make empty files to fill with 'rework blank-log', or rename yours.",
        )
    raws = {}
    for table in TABLES:
        path = folder / table.file
        if what := not_a_file(path):
            raws[table.name] = no_file(table, what)
        elif path.exists():
            try:
                raws[table.name] = read_delimited(path, table)
            except OSError as error:
                raws[table.name] = unreadable_file(table, error.strerror or "not readable")
    return raws


def _strangers(folder: Path) -> list[Problem]:
    """Files that look as if they were meant to be read: other CSV files, and a table under another ending."""
    known = {KEPT_ASIDE, *(table.file for table in TABLES)}
    names = {table.name for table in TABLES}
    out = []
    if (folder / JOURNAL).exists():
        found, rule = "an entry that was interrupted, so that a part of it may be missing here", "entries written whole"
        todo = "Run 'rework enter' on this folder; it completes the entry before it asks anything."
        out.append(Problem(JOURNAL, 0, "", "", found, rule, todo, Severity.WARNING, "interrupted-entry"))
    for path in sorted(folder.iterdir()):
        if path.name in known or not path.is_file():
            continue
        if path.suffix.lower() == ".csv" or path.stem.lower() in names:
            rule = f"one of: {', '.join(sorted(known - {KEPT_ASIDE}))}"
            todo = "Save or rename it so if it is meant to be read; otherwise leave it."
            found = "a file that is no table of the log and was not read"
            out.append(Problem(path.name, 0, "", "", found, rule, todo, Severity.WARNING, "stranger"))
    return out


def _without_warnings_at_faults(problems: list[Problem]) -> list[Problem]:
    """A faulty cell is told of once: a warning about the same cell goes."""
    faulty = {(p.file, p.line, p.column) for p in problems if p.severity is Severity.FAULT and p.column}
    return [p for p in problems if p.severity is not Severity.WARNING or (p.file, p.line, p.column) not in faulty]


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
        If there is no folder or no jobs.csv, or a file is changed while it is read.
    """
    from analysis.records.rules import all_rules, range_problems

    folder = Path(folder)
    with unchanged([folder / name for name in FILES]):
        raws = _read_files(folder)
        settings, setting_problems = examine_settings(folder)
    problems = [*_strangers(folder), *setting_problems]
    tables: dict[str, pd.DataFrame] = {}
    coded: dict[str, dict[str, Coded]] = {}
    refused: dict[str, set[tuple[int, str]]] = {}
    unread: set[str] = set()
    rows_read = {name: len(raw.lines) for name, raw in raws.items()}
    whole = all(raw.usable and raw.complete for raw in raws.values())
    for table in TABLES:
        raw = raws.pop(table.name, None)
        if raw is None or not raw.usable:
            tables[table.name] = empty_table(table)
            coded[table.name] = {name: Coded(np.zeros(0, dtype=int), []) for name in table.names}
            problems += list(raw.problems) if raw else []
            continue
        converted = _convert_table(raw, settings, today or dt.date.today())
        tables[table.name], coded[table.name] = converted.frame, converted.coded
        refused[table.name] = converted.refused
        problems += converted.problems
        unread |= set(raw.ragged_jobs)
    unread |= {p.job for p in problems if p.file == "jobs.csv" and p.column == "job_id" and p.job}
    book = Book(tables, coded, refused, frozenset(unread))
    out_of_range, refused = range_problems(book)
    problems += out_of_range
    if whole:
        problems += all_rules(replace(book, refused=refused))
    order = {table.file: i for i, table in enumerate(TABLES)}
    problems = with_the_jobs_that_go(tables, _without_warnings_at_faults(problems))
    problems.sort(key=lambda p: (order.get(p.file, 99), p.line, BY_NAME_ORDER.get((p.file, p.column), 0), p.code))
    return Log(tables, folder, settings, tuple(problems), hash_of(coded), rows_read=rows_read)


BY_NAME_ORDER = {(table.file, column.name): i for table in BY_NAME.values() for i, column in enumerate(table.columns)}
