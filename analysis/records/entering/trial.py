"""An entry is tried on a copy first: what 'rework check' would say of the log with it, and did not say without."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Mapping
from pathlib import Path

from analysis.errors import LogError
from analysis.records.log import read_log
from analysis.records.problems import Problem, Severity
from analysis.records.settings import FILE


class RefusedEntryError(LogError):
    """The entry would bring new faults into the log.

    Parameters
    ----------
    problems : list of Problem
        The faults it would bring.
    """

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        shown = "\n  ".join(problem.line_text() for problem in problems)
        super().__init__(f"the entry does not fit:\n  {shown}", todo="Correct these; nothing was written.")


def _problems(folder: Path, today: dt.date) -> list[Problem]:
    return [p for p in read_log(folder, today).problems if p.severity is not Severity.NOTE]


def added_problems(
    settings: bytes | None, before: Mapping[str, bytes], after: Mapping[str, bytes], today: dt.date
) -> list[Problem]:
    """Faults and warnings that the new files have and the old ones have not.

    Parameters
    ----------
    settings : bytes or None
        bench.toml, if there is one.
    before : mapping of str to bytes
        Table name to file content.
    after : mapping of str to bytes
        The files that change. Lines that were there keep their number.
    today : date
        Later dates are faults.
    """
    with tempfile.TemporaryDirectory(prefix="rework-trial-") as name:
        folder = Path(name)
        if settings is not None:
            (folder / FILE).write_bytes(settings)
        for table, data in before.items():
            (folder / f"{table}.csv").write_bytes(data)
        known = {(p.file, p.line, p.column, p.code) for p in _problems(folder, today)}
        for table, data in after.items():
            (folder / f"{table}.csv").write_bytes(data)
        return [p for p in _problems(folder, today) if (p.file, p.line, p.column, p.code) not in known]


def faults_of(problems: list[Problem]) -> list[Problem]:
    """Only the faults."""
    return [p for p in problems if p.severity is Severity.FAULT]
