"""The check of a log as a page: each kind of fault with what to do, and the rows it stands in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

from analysis.records.check import consequence
from analysis.records.log import Log
from analysis.records.once import log_as_read
from analysis.records.problems import Problem, Severity, by_kind, count, plural, quoted, summary
from analysis.report.page import FirstScreen, Grid, PageHead, Prose, Statement
from analysis.report.render import page_of_log

MOST_KINDS, MOST_ROWS, MOST_PLACES = 100, 20, 200  # shown: kinds, rows of a kind, places besides


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


def _where(problem: Problem) -> str:
    return f"{problem.column} in {problem.file}" if problem.column else problem.file


def first_screen(view: CheckView) -> FirstScreen:
    """Clean or not, what to mend first, what was read otherwise than written."""
    faults, notes = view.of(Severity.FAULT), view.of(Severity.NOTE)
    warnings = view.of(Severity.WARNING)
    detail = consequence(view.log) or "No job is set aside."
    statements = [Statement("Result", summary(view.log.problems), detail)]
    if faults:
        kind = by_kind(faults)[0]
        todo = f"For example line {kind[0].line}: {kind[0].todo}" if kind[0].line else kind[0].todo
        statements.append(
            Statement("Mend first", f"{_where(kind[0])}: {len(kind)} of {plural(len(faults), 'fault')}.", todo)
        )
    if warnings:
        kind = by_kind(warnings)[0]
        says = f"{_where(kind[0])}: {len(kind)} of {plural(len(warnings), 'warning')}."
        statements.append(Statement("Look at", says, kind[0].todo))
    if notes:
        text = f"{plural(count(notes, Severity.NOTE), 'note')}: read otherwise than written; nothing was changed."
        statements.append(Statement("Read otherwise", text, "Each is listed below."))
    return FirstScreen(statements)


def _row_text(lines: Sequence[str], line: int) -> str:
    """The row as it stands in the file."""
    return quoted(lines[line - 1], 100)[1:-1] if 0 < line <= len(lines) else "the whole file"


def _rows_of_files(view: CheckView) -> dict[str, list[str]]:
    """The lines of each file as they stand there."""
    from analysis.records.delimited import decode
    from analysis.records.dictionary import TABLES

    files: dict[str, list[str]] = {}
    for table in TABLES:
        path = view.log.folder / table.file
        if path.is_file():
            decoded = decode(path.read_bytes(), table)
            files[table.file] = [] if isinstance(decoded, Problem) else decoded[0].splitlines()
    return files


@dataclass(frozen=True)
class Kinds:
    """Findings of one severity by rule: the rule and what to do once, then the places.

    Parameters
    ----------
    caption : str
        "Faults", "Warnings" or "Notes".
    kinds : sequence of sequence of Problem
        Findings of one kind together.
    files : mapping of str to sequence of str
        The lines of each file.
    """

    caption: str
    kinds: Sequence[Sequence[Problem]]
    files: Mapping[str, Sequence[str]]

    def _places(self, found: Sequence[Problem], at: int) -> Grid | Prose:
        """A short row a place; where only the place differs, the places alone."""
        if len({p.found for p in found}) == 1 and found[0].severity is not Severity.FAULT:
            return Prose([f"Lines (jobs): {_listed_places(found)}."] if found[0].line else [])
        shown = found[:MOST_ROWS]
        rows = [
            [str(p.line or "–"), p.job or "–", p.found, _row_text(self.files.get(p.file, []), p.line)] for p in shown
        ]
        more = found[MOST_ROWS:]
        under = f"Further lines (jobs): {_listed_places(more)}." if more else ""
        return Grid(f"{self.caption}, kind {at}: places", ["line", "job", "found", "the row"], rows, under=under)

    def _kind(self, found: Sequence[Problem], at: int) -> str:
        first = found[0]
        alike = {p.found for p in found}
        same = f" Found {first.found}." if len(alike) == 1 and first.severity is not Severity.FAULT else ""
        told = f"<h3>{at}. {escape(_where(first))}: {plural(len(found), str(first.severity))}</h3>"
        rule = f"<p>Rule: {escape(first.rule)}.{escape(same)} <strong>What to do:</strong> {escape(first.todo)}</p>"
        return f"{told}{rule}{self._places(found, at)._repr_html_()}"

    def _repr_html_(self) -> str:
        shown = "".join(self._kind(found, at) for at, found in enumerate(self.kinds[:MOST_KINDS], start=1))
        more = len(self.kinds) - MOST_KINDS
        return shown + (
            f"<p>{more} more kinds are not shown; 'rework check --csv FILE' writes all.</p>" if more > 0 else ""
        )


def _listed_places(found: Sequence[Problem]) -> str:
    more = len(found) - MOST_PLACES
    listed = ", ".join(f"{p.line} ({p.job})" if p.job else str(p.line) for p in found[:MOST_PLACES])
    return f"{listed} and {more} more ('rework check --csv FILE' writes all)" if more > 0 else listed


def problems_by_kind(view: CheckView, severity: Severity, caption: str) -> Kinds | Prose:
    """Findings of one severity, like ones together, the most frequent first."""
    found = view.of(severity)
    return Kinds(caption, by_kind(found), _rows_of_files(view)) if found else Prose([f"{caption}: none."])


def publish_check(folder: Path, out: Path, say: Callable[[str], None]) -> Path:
    """Publish the check as ``log-check.html``."""
    say(f"Checking the log in {Path(folder).name} …")
    build(folder)  # a log that cannot be read is told of before a process is started
    return page_of_log("log_check", folder, out / "log-check.html", say)
