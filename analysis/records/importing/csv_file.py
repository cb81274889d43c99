"""A CSV file with a shop's own headings, read with the project's own decoding and splitting."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from statistics import median

from analysis.errors import LogError
from analysis.records.delimited import DELIMITERS, decode, split_records
from analysis.records.dictionary import JOBS
from analysis.records.importing.grid import Cell, Sheet
from analysis.records.problems import Problem

_LOOKED_AT = 50  # lines that settle the delimiter


def _delimiter(text: str) -> str:
    """The delimiter that splits the first lines into the most cells, by the median line; comma when in doubt."""
    lines = [line for line in text[: 1 << 20].splitlines() if line.strip()][:_LOOKED_AT]

    def cells(delimiter: str) -> float:
        return median([len(next(csv.reader([line], delimiter=delimiter), [])) for line in lines] or [0])

    return max(DELIMITERS, key=cells)


def _refused(path: Path, problem: Problem) -> LogError:
    where = f"{path}:{problem.line}" if problem.line else str(path)
    return LogError(f"{problem.found}.", rule=problem.rule, todo=problem.todo, where=where)


def csv_text(rows: Iterable[Sequence[str]]) -> str:
    """Rows as CSV text with commas, one line end each."""
    listed = [list(row) for row in rows]
    out = io.StringIO()
    # The csv module quotes a cell for the line end it writes itself, not for a lone carriage return.
    if any("\r" in cell for row in listed for cell in row):
        csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(listed)
    else:
        csv.writer(out, lineterminator="\n").writerows(listed)
    return out.getvalue()


def _text(path: Path) -> str:
    decoded = decode(path.read_bytes(), replace(JOBS, name=path.stem))  # only its name is used, for messages
    if isinstance(decoded, Problem):
        raise _refused(path, decoded)
    text, _ = decoded
    first_line, _, rest = text.partition("\n")
    separator = first_line.strip().lower() in ("sep=,", "sep=;", "sep=")
    return "\n" + rest if separator else text  # the line stays counted


def delimiter_of(path: Path) -> str:
    """Comma, semicolon or tab."""
    return _delimiter(_text(path))


def csv_sheet(path: Path) -> Sheet:
    """Read a CSV file.

    Raises
    ------
    LogError
        If it is not text, or a quotation mark is never closed.
    """
    table, text = replace(JOBS, name=path.stem), _text(path)
    records, lines, faults = split_records(text, _delimiter(text), 1, table)
    if faults:
        raise _refused(path, faults[0])
    rows = {}
    for number, cells in zip(lines, records, strict=True):
        row = {at: Cell(cell) for at, cell in enumerate(cells) if cell.strip()}
        if row:
            rows[number] = row
    return Sheet(path.name, path.stem, rows)
