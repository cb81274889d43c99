"""What a cross-table rule needs: the typed tables, which cells were refused, and a way to speak."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.coded import CodedTables
from analysis.records.dictionary import BY_NAME
from analysis.records.packed_texts import places
from analysis.records.problems import Problem, Severity, quoted

WHOLE_COLUMN = -1
MOST = 2**62  # numbers beyond do not fit
Mask = Any  # a boolean Series, with or without missing values, or an array


def flag(mask: Mask) -> NDArray[np.bool_]:
    """A mask as plain booleans, unknown counting as no."""
    if isinstance(mask, pd.Series):
        return np.asarray(mask.astype("boolean").fillna(False), dtype=bool)
    return np.asarray(mask, dtype=bool)


@dataclass(frozen=True)
class Book:
    """The tables under examination.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Typed tables with ``_line``.
    coded : mapping
        The same columns as numbers, so that rules over millions of rows compare no texts.
    refused : mapping of str to set of (row position, column)
        Cells that were already found faulty; a rule that reads one of them stays silent on that row. Position
        ``WHOLE_COLUMN`` stands for every row, for a column that the file does not have or has twice.
    unread_jobs : frozenset of str
        Jobs with a row that could not be split into cells, or whose code in jobs.csv was refused. They exist all
        the same; rules that look over several rows of a job stay silent on them.
    """

    tables: Mapping[str, pd.DataFrame]
    coded: CodedTables
    refused: Mapping[str, set[tuple[int, str]]]
    unread_jobs: frozenset[str]

    @cached_property
    def doubtful_jobs(self) -> frozenset[str]:
        """Jobs whose boot tests cannot be followed: a row, a number or a result of theirs was refused."""
        tests, cells = self.tables["boot_tests"], self.refused.get("boot_tests", set())
        rows = sorted({at for at, name in cells if at != WHOLE_COLUMN and name in ("test_no", "boot_result")})
        return self.unread_jobs | frozenset(tests["job_id"].iloc[rows].dropna())

    def was_refused(self, table: str, at: int, names: Iterable[str]) -> bool:
        """Whether any of the cells of a row was already found faulty."""
        cells = self.refused.get(table, set())
        return bool(cells) and any((at, name) in cells or (WHOLE_COLUMN, name) in cells for name in names)

    @cached_property
    def _met(self) -> dict[tuple[str, str, str, str], NDArray[np.int64]]:
        return {}

    def met(self, table: str, column: str, target: str, key: str) -> NDArray[np.int64]:
        """For each different value of a column the first place among those of another table's key; -1 for none."""
        asked = (table, column, target, key)
        if asked not in self._met:
            self._met[asked] = places(self.coded[table][column].words, self.coded[target][key].words)
        return self._met[asked]

    @cached_property
    def _job_rows(self) -> dict[tuple[str, str], NDArray[np.int64]]:
        return {}

    def job_rows(self, table: str, column: str = "job_id") -> NDArray[np.int64]:
        """For each row of a table the position of its job's first row in the jobs table; -1 when there is none.

        ``column`` is the one that holds the job's code.
        """
        if (table, column) not in self._job_rows:
            numbers = self.coded["jobs"]["job_id"].numbers
            first = np.full(int(numbers.max(initial=-1)) + 2, -1)  # the last one: no code
            first[numbers[::-1]] = np.arange(len(numbers))[::-1]
            first[-1] = -1
            if (table, column) == ("jobs", "job_id"):
                self._job_rows[table, column] = first[numbers]
            else:
                alike = np.append(self.coded["jobs"]["job_id"].alike, -1)
                of_value = first[alike[self.met(table, column, "jobs", "job_id")]]
                self._job_rows[table, column] = self.coded[table][column].spread(of_value, -1).astype(np.int64)
        return self._job_rows[table, column]

    def first_row(self, table: str, order: NDArray[np.int64]) -> NDArray[np.int64]:
        """For each row of the jobs table the first of some rows of a table, in their order, of its job; -1 for none."""
        of_job = self.job_rows(table)[order]
        first = np.full(len(self.tables["jobs"]) + 1, -1)  # the last one: no job
        first[of_job[::-1]] = order[::-1]
        first[-1] = -1
        return np.asarray(first[self.job_rows("jobs")])

    def jobs_of(self, table: str, column: str) -> pd.Series:
        """A column of the jobs table for each row of a child table."""
        values = self.tables["jobs"][column].array.take(self.job_rows(table), allow_fill=True)
        return pd.Series(values, index=self.tables[table].index)

    def key_numbers(self, table: str, names: Iterable[str]) -> NDArray[np.int64]:
        """One number for each row that rows with the same key share; -1 where a part of the key is missing."""
        out = np.zeros(len(self.tables[table]), dtype=np.int64)
        unknown, most = np.zeros(len(out), dtype=bool), 1
        for name in names:
            coded = self.coded[table][name]
            part = coded.numbers
            if name == "before_test_no":  # a blank stands for 1
                filled = [1.0 if value is None else float(value) for value in coded.values]
                part = coded.spread(filled, 1.0).astype(np.int64)
            unknown |= part < 0
            size = int(part.max(initial=0)) + 2
            if most > MOST // size:  # too many to number by place; by what there is, then
                out, found = pd.factorize(out)
                most = len(found)
            out = out * size + part + 1
            most *= size
        return np.where(unknown, -1, out)

    def say(
        self,
        table: str,
        mask: Mask,
        column: str,
        rule: str,
        todo: str,
        code: str,
        *,
        reads: tuple[str, ...] = (),
        over_rows: bool = False,
        severity: Severity = Severity.FAULT,
        found: Callable[[pd.Series], str] | None = None,
    ) -> list[Problem]:
        """One problem for each row of ``table`` under ``mask``; ``found`` words what stands there.

        ``over_rows`` marks a rule that looks over several rows of a job: it stays silent on doubtful jobs.
        """
        frame = self.tables[table]
        told = np.flatnonzero(flag(mask))
        if not len(told):
            return []
        rows = [int(at) for at in told if not self.was_refused(table, int(at), (column, *reads))]
        # Columns of the rows at fault, not row by row: a file may hold millions of them.
        faulty = frame.iloc[rows].astype(object)
        jobs = faulty["job_id"].tolist() if "job_id" in frame else [""] * len(rows)
        values = faulty[column].tolist() if column else [""] * len(rows)
        out = []
        for at, (job, value, line) in enumerate(zip(jobs, values, faulty["_line"].tolist(), strict=True)):
            if over_rows and (pd.isna(job) or job in self.doubtful_jobs):
                continue
            text = found(faulty.iloc[at]) if found else ("blank" if pd.isna(value) else quoted(plain(value)))
            name = "" if pd.isna(job) else str(job)
            out.append(Problem(BY_NAME[table].file, int(line), name, column, text, rule, todo, severity, code))
        return out


def plain(value: object) -> str:
    """A typed value as it would be written in the log."""
    if isinstance(value, pd.Timestamp):
        return value.strftime("%Y-%m-%d")
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)
