"""Bytes of a CSV file to rows of text, with the line each row starts on."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from analysis.records.dictionary import Table
from analysis.records.headings import match_headings, normal
from analysis.records.problems import Problem, Severity, plural, quoted

DELIMITERS = (",", ";", "\t")
_SIGNATURES = {
    b"PK\x03\x04": "a spreadsheet workbook or a zip file",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook",
    b"%PDF": "a PDF file",
}
SAVE_AS = "Save it from your spreadsheet as CSV (UTF-8)."
csv.field_size_limit(2**31 - 1)


@dataclass(frozen=True)
class RawTable:
    """Rows of text as they stand in the file.

    Parameters
    ----------
    table : Table
        What the file should hold.
    headings : dict of str to int
        Declared column name to position in the file.
    rows : list of list of str
        Cells of the rows that have as many cells as the heading.
    lines : list of int
        Line each row starts on.
    ragged_jobs : tuple of str
        Job codes on rows that were refused for their number of cells.
    delimiter : str
        Comma, semicolon or tab.
    problems : tuple of Problem
        Findings about the file and its rows.
    usable : bool
        Whether the rows can be used at all.
    """

    table: Table
    headings: dict[str, int]
    rows: list[list[str]]
    lines: list[int]
    ragged_jobs: tuple[str, ...]
    delimiter: str
    problems: tuple[Problem, ...]
    usable: bool


def _file_fault(table: Table, found: str, rule: str, todo: str, code: str, line: int = 0) -> Problem:
    return Problem(table.file, line, "", "", found, rule, todo, Severity.FAULT, code)


def _note(table: Table, found: str, rule: str, code: str) -> Problem:
    return Problem(table.file, 0, "", "", found, rule, "Nothing; this is how it was read.", Severity.NOTE, code)


def _unreadable(table: Table, problem: Problem) -> RawTable:
    return RawTable(table, {}, [], [], (), ",", (problem,), False)


def decode(data: bytes, table: Table) -> tuple[str, list[Problem]] | Problem:
    """Bytes to text: UTF-8 with or without a byte-order mark, UTF-16 with one, else CP1252."""
    for start, what in _SIGNATURES.items():
        if data.startswith(start):
            return _file_fault(table, f"{what}, not a CSV file", "a CSV file of text", SAVE_AS, "not-csv")
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16"), [_note(table, "written in UTF-16", "UTF-8", "encoding")]
        except UnicodeDecodeError:
            return _file_fault(table, "broken UTF-16 text", "UTF-8", SAVE_AS, "encoding")
    if b"\0" in data:
        line = data[: data.index(b"\0")].count(b"\n") + 1
        return _file_fault(table, "a NUL byte", "text only", f"The file is damaged. {SAVE_AS}", "nul-byte", line)
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252"), [_note(table, "not UTF-8; read as Windows text (CP1252)", "UTF-8", "encoding")]
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        return _file_fault(table, "bytes that are no text", "UTF-8", SAVE_AS, "encoding", line)


def choose_delimiter(first_line: str, table: Table) -> str:
    """The delimiter under which most declared headings are found; comma when in doubt."""
    declared = {normal(name) for name in table.names}

    def found(delimiter: str) -> int:
        cells = next(csv.reader([first_line], delimiter=delimiter), [])
        return sum(normal(cell) in declared for cell in cells)

    return max(DELIMITERS, key=found)


def _records(text: str, delimiter: str, table: Table) -> tuple[list[tuple[int, list[str]]], list[Problem]]:
    """All records with their first line; an unclosed quote ends reading and is named."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[tuple[int, list[str]]] = []
    start = 1
    try:
        for cells in reader:
            records.append((start, cells))
            start = reader.line_num + 1
    except csv.Error as error:
        fault = _file_fault(
            table,
            f"text that cannot be split into cells ({error})",
            "every quotation mark that opens a cell is closed",
            "Close or remove the quotation mark on this line; everything after it was not read.",
            "quotes",
            start,
        )
        return records, [fault]
    return records, []


def _split_rows(
    records: list[tuple[int, list[str]]], width: int, job_at: int | None, table: Table
) -> tuple[list[list[str]], list[int], list[str], list[Problem]]:
    """Separate full rows from blank and ragged ones."""
    rows: list[list[str]] = []
    lines: list[int] = []
    ragged: list[str] = []
    problems: list[Problem] = []
    blank = 0
    for line, cells in records:
        if not any(cell.strip() for cell in cells):
            blank += 1
        elif len(cells) == width:
            rows.append(cells)
            lines.append(line)
        else:
            job = cells[job_at].strip() if job_at is not None and job_at < len(cells) else ""
            ragged.append(job)
            todo = "Put cells that hold the delimiter between quotation marks, or fill in the missing delimiters."
            found, rule = plural(len(cells), "cell"), f"{plural(width, 'cell')}, as in the first line"
            problems.append(Problem(table.file, line, job, "", found, rule, todo, Severity.FAULT, "ragged-row"))
    if blank:
        problems.append(_note(table, plural(blank, "blank line"), "no blank lines", "blank-lines"))
    return rows, lines, ragged, problems


def read_delimited(path: Path, table: Table) -> RawTable:
    """Read one file of the log as text. The file is opened for reading only."""
    decoded = decode(path.read_bytes(), table)
    if isinstance(decoded, Problem):
        return _unreadable(table, decoded)
    text, problems = decoded
    stripped = text.lstrip("\r\n")
    if not stripped.strip():
        rule = "a first line with the headings"
        todo = "Take the headings from a folder made by 'rework blank-log'."
        return _unreadable(table, _file_fault(table, "an empty file", rule, todo, "empty-file"))
    delimiter = choose_delimiter(stripped.splitlines()[0], table)
    records, faults = _records(text, delimiter, table)
    records_full = [record for record in records if any(cell.strip() for cell in record[1])]
    if not records_full:
        return _unreadable(table, faults[0])
    head_line, heading = records_full[0]
    headings, heading_problems = match_headings(heading, table, head_line)
    body = records[records.index(records_full[0]) + 1 :]
    rows, lines, ragged, row_problems = _split_rows(body, len(heading), headings.get("job_id"), table)
    if delimiter != ",":
        name = {";": "semicolons", "\t": "tabs"}[delimiter]
        problems.append(_note(table, f"cells parted by {name}", "commas", "delimiter"))
    every = (*problems, *faults, *heading_problems, *row_problems)
    usable = not any(problem.code in ("duplicate-heading", "missing-column") for problem in heading_problems)
    return RawTable(table, headings, rows, lines, tuple(ragged), delimiter, every, usable)


def unreadable_file(table: Table, reason: str) -> RawTable:
    """Stand-in for a file the system would not let us read."""
    todo = "Close it in other programs and look at its permissions."
    return _unreadable(
        table, _file_fault(table, f"cannot be opened ({quoted(reason)})", "a readable file", todo, "open")
    )
