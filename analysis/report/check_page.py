"""The check of a log as a page: every fault with the row it stands in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.records.check import consequence
from analysis.records.log import Log
from analysis.records.once import log_as_read
from analysis.records.problems import Problem, Severity, count, plural, quoted, summary
from analysis.report.page import FirstScreen, Grid, PageHead, Prose, Statement
from analysis.report.render import PROJECT, render

NOTEBOOK = PROJECT / "notebooks" / "log_check.ipynb"
MOST_ROWS = 200


@dataclass(frozen=True)
class CheckView:
    """A checked log, for display.

    Parameters
    ----------
    log : Log
        The log as read, faulty jobs included.
    """

    log: Log

    def of(self, severity: Severity) -> list[Problem]:
        """Findings of one severity."""
        return [problem for problem in self.log.problems if problem.severity is severity]


def build(folder: Path) -> CheckView:
    """Read and check a log.

    Raises
    ------
    LogError, SettingsError
        If it cannot be read at all.
    """
    return CheckView(log_as_read(Path(folder)))


def page_head(view: CheckView) -> PageHead:
    """Title and origin of the page."""
    rows = sum(view.log.rows_read.values())
    period = f"{plural(len(view.log.rows_read), 'file')}, {plural(rows, 'row')}"
    return PageHead.of(view.log, "Check of the log", period)


def first_screen(view: CheckView) -> FirstScreen:
    """Clean or not, what to mend first, what was read otherwise than written."""
    faults, notes = view.of(Severity.FAULT), view.of(Severity.NOTE)
    warnings = view.of(Severity.WARNING)
    detail = consequence(view.log) or "No job is set aside."
    statements = [Statement("Result", summary(view.log.problems), detail)]
    if faults:
        column, n = Counter((p.file, p.column) for p in faults).most_common(1)[0]
        name = f"{column[1]} in {column[0]}" if column[1] else column[0]
        first = faults[0]
        todo = f"For example {first.file}, line {first.line}: {first.todo}"
        statements.append(Statement("Mend first", f"{name}: {n} of {plural(len(faults), 'fault')}.", todo))
    if warnings:
        statements.append(Statement("Look at", f"{plural(len(warnings), 'warning')}.", warnings[0].todo))
    if notes:
        text = f"{plural(count(notes, Severity.NOTE), 'note')}: read otherwise than written; nothing was changed."
        statements.append(Statement("Read otherwise", text, "Each is listed below."))
    return FirstScreen(statements)


def _row_text(lines: Sequence[str], line: int) -> str:
    """The row as it stands in the file."""
    return quoted(lines[line - 1], 160)[1:-1] if 0 < line <= len(lines) else "the whole file"


def problems_grid(view: CheckView, severity: Severity, caption: str) -> Grid | Prose:
    """Findings of one severity, each with the row it stands in."""
    from analysis.records.delimited import decode
    from analysis.records.dictionary import TABLES

    found = view.of(severity)
    if not found:
        return Prose([f"{caption}: none."])
    files: dict[str, list[str]] = {}
    for table in TABLES:
        path = view.log.folder / table.file
        if path.is_file():
            decoded = decode(path.read_bytes(), table)
            files[table.file] = [] if isinstance(decoded, Problem) else decoded[0].splitlines()
    rows = [
        [
            f"{p.file}:{p.line}" if p.line else p.file,
            p.job,
            p.column,
            p.found,
            p.rule,
            p.todo,
            _row_text(files.get(p.file, []), p.line),
        ]
        for p in found[:MOST_ROWS]
    ]
    more = len(found) - MOST_ROWS
    under = f"{more} more are not shown; 'rework check --csv FILE' writes all." if more > 0 else ""
    heads = ["where", "job", "column", "found", "rule", "what to do", "the row"]
    return Grid(f"{caption} ({len(found)})", heads, rows, under=under)


def publish_check(folder: Path, out: Path, say: Callable[[str], None]) -> Path:
    """Publish the check as ``log-check.html``."""
    say(f"Checking the log in {Path(folder).name} …")
    build(folder)  # a log that cannot be read is told of before a process is started
    return render(NOTEBOOK, {"log_folder": str(Path(folder).resolve())}, out / "log-check.html", say)
