"""The strict check of a log: everything that is wrong, at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.records.log import read_log
from analysis.records.problems import Problem, Severity, plural, summary


@dataclass(frozen=True)
class CheckReport:
    """What a check found.

    Parameters
    ----------
    problems : tuple of Problem
        Everything found, in file and line order.
    rows_read : mapping of str to int
        Rows read from each file.
    """

    problems: tuple[Problem, ...]
    rows_read: Mapping[str, int]

    @property
    def exit_status(self) -> int:
        """0 when there is no fault, else 1; warnings and notes do not count."""
        return int(any(problem.severity is Severity.FAULT for problem in self.problems))

    @property
    def text(self) -> str:
        """One sentence on what was read and found."""
        read = ", ".join(f"{name}.csv {plural(rows, 'row')}" for name, rows in self.rows_read.items())
        return f"Read {read}. {summary(self.problems)}"


def check_log(folder: Path, today: dt.date | None = None) -> CheckReport:
    """Read a log and report every fault, warning and note.

    Raises
    ------
    LogError, SettingsError
        If the log cannot be read at all.
    """
    log = read_log(folder, today)
    return CheckReport(log.problems, log.rows_read)
