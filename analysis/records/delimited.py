"""Bytes of a CSV file to rows of text, with the line each row starts on."""

from __future__ import annotations

import csv
import gc
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from analysis.records.dictionary import Table
from analysis.records.headings import match_headings, normal
from analysis.records.plain_csv import LONGEST_CELL, read_plain
from analysis.records.problems import Problem, Severity, plural, quoted
from analysis.records.texts import Texts

DELIMITERS = (",", ";", "\t")
_SIGNATURES = {
    b"PK\x03\x04": "a spreadsheet workbook or a zip file",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook",
    b"%PDF": "a PDF file",
    b"<": "a web page or an XML file",
}
_SEPARATOR_LINE = re.compile(r"sep=[,;\t]\s*", re.IGNORECASE)
_LINE_END = re.compile(r"\r\n|\r|\n")
SAVE_AS = "Save it from your spreadsheet as CSV (UTF-8)."
csv.field_size_limit(LONGEST_CELL)


@dataclass(frozen=True)
class RawTable:
    """Rows of text as they stand in the file.

    Parameters
    ----------
    table : Table
        What the file should hold.
    columns : mapping of str to Texts
        Cells of each declared column that the file has once, in the rows that have as many cells as the heading.
    lines : sequence of int
        Line each row starts on.
    missing : tuple of str
        Declared columns whose absence, or standing twice, is a fault.
    ragged_jobs : tuple of str
        Job codes on rows that were refused for their number of cells.
    delimiter : str
        Comma, semicolon or tab.
    problems : tuple of Problem
        Findings about the file and its rows.
    usable : bool
        Whether the rows can be used at all.
    complete : bool
        Whether the file was read to its end, so that what is not found is not there.
    """

    table: Table
    columns: Mapping[str, Texts] = field(default_factory=dict)
    lines: Sequence[int] = ()
    missing: tuple[str, ...] = ()
    ragged_jobs: tuple[str, ...] = ()
    delimiter: str = ","
    problems: tuple[Problem, ...] = ()
    usable: bool = False
    complete: bool = False


def _file_fault(table: Table, found: str, rule: str, todo: str, code: str, line: int = 0) -> Problem:
    return Problem(table.file, line, "", "", found, rule, todo, Severity.FAULT, code)


def _note(table: Table, found: str, rule: str, code: str) -> Problem:
    return Problem(table.file, 0, "", "", found, rule, "Nothing; this is how it was read.", Severity.NOTE, code)


def _unreadable(table: Table, problem: Problem) -> RawTable:
    return RawTable(table, problems=(problem,))


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


def declared_in(first_line: str, delimiter: str, table: Table) -> int:
    """How many cells of a heading line are declared headings."""
    cells = next(csv.reader([first_line], delimiter=delimiter), [])
    return sum(normal(cell) in table.by_name for cell in cells)


def choose_delimiter(first_line: str, table: Table) -> str:
    """The delimiter under which most declared headings are found; comma when in doubt."""
    return max(DELIMITERS, key=lambda delimiter: declared_in(first_line, delimiter, table))


def split_records(
    text: str, delimiter: str, first: int, table: Table
) -> tuple[list[list[str]], list[int], list[Problem]]:
    """All records and the line each starts on; an unclosed quote ends reading and is named."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[list[str]] = []
    lines: list[int] = []
    start = 1
    problems: list[Problem] = []
    collecting = gc.isenabled()
    gc.disable()  # millions of small lists hold no cycles; looking for some takes most of the time
    try:
        for cells in reader:
            if start >= first:
                records.append(cells)
                lines.append(start)
            start = reader.line_num + 1
    except csv.Error as error:
        too_long = "field limit" in str(error)
        what = f"a cell of more than {LONGEST_CELL} letters" if too_long else str(error)
        found = f"text that cannot be split into cells ({what})"
        rule = "every quotation mark that opens a cell is closed"
        todo = "Close or remove the quotation mark on this line; everything after it was not read."
        problems.append(_file_fault(table, found, rule, todo, "quotes", start))
    finally:
        if collecting:
            gc.enable()
    return records, lines, problems


def _split_rows(
    records: list[list[str]], starts: list[int], width: int, job_at: int | None, table: Table
) -> tuple[list[list[str]], list[int], list[str], list[Problem]]:
    """Separate full rows from blank and ragged ones."""
    rows: list[list[str]] = []
    lines: list[int] = []
    ragged: list[str] = []
    problems: list[Problem] = []
    blank = 0
    for line, cells in zip(starts, records, strict=True):
        if not any(cells) or not any(cell.strip() for cell in cells):
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


def _swallowed_rows(
    rows: Sequence[Sequence[str]], lines: Sequence[int], unread: Sequence[int], delimiter: str, table: Table
) -> list[Problem]:
    """Cells of columns that are not read which hold whole rows, as a lost quotation mark leaves them.

    In a column that is read such a cell is refused for what it holds; in a column of notes nothing else would tell.
    """
    out = []
    for line, cells in zip(lines, rows, strict=True):
        for at in unread:
            pieces = _LINE_END.split(cells[at])
            parted = [piece.count(delimiter) for piece in pieces]
            most = len(cells) - 1
            if len(pieces) > 1 and parted == [most - at, *[most] * (len(pieces) - 2), at]:
                found = (
                    f"a cell that goes on over {len(pieces)} lines and reads like {plural(len(pieces) - 1, 'more row')}"
                )
                rule = "a quotation mark that opens a cell is closed in it"
                todo = "Close or remove the quotation mark; if the cell is meant so, take out its line breaks."
                out.append(_file_fault(table, found, rule, todo, "quotes", line))
    return out


def _cut_off(text: str, table: Table) -> list[Problem]:
    """A warning where the last line has no line end, as in a file that was cut off."""
    last = text[max(text.rfind("\n"), text.rfind("\r")) + 1 :]
    if not last.strip():
        return []
    line = text.count("\n") + text.count("\r") - text.count("\r\n") + 1
    found, rule = f"no line end after {quoted(last, 30)}", "a line end after the last row, too"
    todo = "Look whether the last row is whole and whether rows are lost: a file that was cut off ends like this."
    return [Problem(table.file, line, "", "", found, rule, todo, Severity.WARNING, "last-line")]


def _heading_line(text: str) -> tuple[str, int]:
    """First line that holds anything but a spreadsheet's ``sep=``, and its number."""
    stripped = len(text) - len(text.lstrip())
    beginning = text[: stripped + LONGEST_CELL]  # a copy of a whole large file would only cost time
    for number, line in enumerate(io.StringIO(beginning, newline=None), start=1):
        if line.strip() and not _SEPARATOR_LINE.fullmatch(line):
            return line.rstrip("\n"), number
    return "", 0


def _carefully(text: str, delimiter: str, first: int, table: Table) -> RawTable:
    """Read with the csv module; every oddity is named."""
    records, starts, faults = split_records(text, delimiter, first, table)
    if not records:
        return _unreadable(table, faults[0])
    headings, problems = match_headings(records[0], table, starts[0])
    at_job = headings.get("job_id")
    rows, lines, ragged, more = _split_rows(records[1:], starts[1:], len(records[0]), at_job, table)
    columns = {name: Texts.of([row[at] for row in rows]) for name, at in headings.items()}
    unread = sorted(set(range(len(records[0]))) - set(headings.values()))
    swallowed = _swallowed_rows(rows, lines, unread, delimiter, table)
    every = (*faults, *problems, *more, *swallowed)
    return RawTable(table, columns, lines, (), tuple(ragged), delimiter, every, True, not faults and not swallowed)


def _quickly(text: str, delimiter: str, heading: str, table: Table) -> RawTable | None:
    """Read a plain file, or give it back to the careful way."""
    names = heading.split(delimiter)
    headings, problems = match_headings(names, table, 1)
    read = read_plain(text, delimiter, len(names), headings)
    if read is None:
        return None
    columns, rows = read
    return RawTable(table, columns, range(2, rows + 2), (), (), delimiter, tuple(problems), True, True)


def read_delimited(path: Path, table: Table) -> RawTable:
    """Read one file of the log as text. The file is opened for reading only."""
    decoded = decode(path.read_bytes(), table)
    if isinstance(decoded, Problem):
        return _unreadable(table, decoded)
    text, problems = decoded
    heading, first = _heading_line(text)
    rule = "a first line with the headings"
    todo = "Take the headings from a folder made by 'rework blank-log'."
    if not heading:
        return _unreadable(table, _file_fault(table, "an empty file", rule, todo, "empty-file"))
    delimiter = choose_delimiter(heading, table)
    if not declared_in(heading, delimiter, table):
        found = f"no heading of this table in {quoted(heading)}"
        return _unreadable(table, _file_fault(table, found, rule, todo, "no-headings", first))
    raw = _quickly(text, delimiter, heading, table) if first == 1 else None
    raw = raw or _carefully(text, delimiter, first, table)
    if _SEPARATOR_LINE.match(text):
        problems.append(_note(table, "a line 'sep=' over the headings", "the headings first", "separator-line"))
    if delimiter != ",":
        name = {";": "semicolons", "\t": "tabs"}[delimiter]
        problems.append(_note(table, f"cells parted by {name}", "commas", "delimiter"))
    problems += _cut_off(text, table)
    missing = tuple(p.column for p in raw.problems if p.code in ("duplicate-heading", "missing-column"))
    usable = raw.usable and not set(missing) & set(table.key)
    return replace(raw, missing=missing, problems=(*problems, *raw.problems), usable=usable)


def unreadable_file(table: Table, reason: str) -> RawTable:
    """Stand-in for a file the system would not let us read."""
    todo = "Close it in other programs and look at its permissions."
    return _unreadable(
        table, _file_fault(table, f"cannot be opened ({quoted(reason)})", "a readable file", todo, "open")
    )


def no_file(table: Table, what: str) -> RawTable:
    """Stand-in for what bears a file's name and is none."""
    todo = "Take it away, or put the file itself in its place."
    return _unreadable(table, _file_fault(table, what, "a file", todo, "no-file"))
