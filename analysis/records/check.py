"""The strict check of a log: everything that is wrong, at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.records.log import Log, read_log
from analysis.records.problems import FIRST_PLACES, Problem, Severity, by_kind, kind_text, plural, summary, summed_up
from analysis.records.setting_aside import jobs_left_out, strays_told

_MANY = 5  # findings of one kind that are summed up below the list


@dataclass(frozen=True)
class CheckReport:
    """What a check found.

    Parameters
    ----------
    problems : tuple of Problem
        Everything found, in file and line order.
    rows_read : mapping of str to int
        Rows read from each file.
    consequence : str
        What a report would do about the faults; empty without any.
    """

    problems: tuple[Problem, ...]
    rows_read: Mapping[str, int]
    consequence: str

    @property
    def exit_status(self) -> int:
        """0 when there is no fault, else 1; warnings and notes do not count."""
        return int(any(problem.severity is Severity.FAULT for problem in self.problems))

    def lines(self) -> Iterator[str]:
        """What was found, for the terminal: every fault first, like warnings in one line, notes, faults in sum."""
        faults, warnings, notes = (
            [problem for problem in self.problems if problem.severity is severity] for severity in Severity
        )
        yield from (problem.line_text() for problem in faults)
        cut = False
        for found in by_kind(warnings):
            cut |= (many := len(found) > FIRST_PLACES)
            yield from [kind_text(found)] if many else (problem.line_text() for problem in found)
        if cut:
            yield "Every warning with its line: --csv FILE, --page FOLDER or --json."
        yield from (problem.line_text() for problem in notes)
        yield from (f"In sum: {line}" for line in summed_up(faults, _MANY))

    @property
    def text(self) -> str:
        """One sentence on what was read and found."""
        read = ", ".join(f"{name}.csv {plural(rows, 'row')}" for name, rows in self.rows_read.items())
        return " ".join(filter(None, (f"Read {read}.", summary(self.problems), self.consequence)))


def consequence(log: Log) -> str:
    """What a report would do about the faults of a log: set whole jobs aside, or refuse."""
    if not log.faults:
        return ""
    homeless = len(jobs_left_out(log.tables, log.faults).homeless)
    if homeless:
        told = plural(homeless, "fault that belongs", "faults that belong")
        return f"No report can be made before {told} to no single job {'is' if homeless == 1 else 'are'} mended."
    kept = log.without_faulty_jobs()
    total = len(kept.tables["jobs"]) + kept.jobs_set_aside
    aside = f"A report would set aside {kept.jobs_set_aside} of {plural(total, 'job')}."
    return f"{aside} {strays_told(kept.strays_left_out)}".rstrip()


def check_log(folder: Path, today: dt.date | None = None) -> CheckReport:
    """Read a log and report every fault, warning and note.

    Raises
    ------
    LogError, SettingsError
        If the log cannot be read at all.
    """
    log = read_log(folder, today)
    return CheckReport(log.problems, log.rows_read, consequence(log))
