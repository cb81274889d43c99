"""The log as it stands in its folder, as text, to be added to without losing anything a person wrote in it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from analysis.errors import LogError
from analysis.records.convert import Context
from analysis.records.dictionary import Table
from analysis.records.headings import normal
from analysis.records.importing.csv_file import csv_sheet, csv_text, delimiter_of
from analysis.records.importing.reading import canonical_texts
from analysis.records.importing.rows import Key
from analysis.records.settings import read_settings


@dataclass
class ExistingTable:
    """Rows of one file.

    Parameters
    ----------
    table : Table
        What the file holds.
    headings : list of str
        In the order of the file; declared ones by their declared names.
    rows : list of dict
        Heading to text; declared cells in the log's own form where they can be read.
    by_key : dict
        Key to row; the first where a key stands twice.
    """

    table: Table
    headings: list[str]
    rows: list[dict[str, str]] = field(default_factory=list)
    by_key: dict[Key, dict[str, str]] = field(default_factory=dict)

    def key_of(self, row: Mapping[str, str]) -> Key:
        """Key of a row, as text."""
        return tuple(row.get(name, "") for name in self.table.key)

    def add(self, row: dict[str, str]) -> None:
        """Add a row."""
        self.rows.append(row)
        self.by_key.setdefault(self.key_of(row), row)

    def remove(self, key: Key) -> None:
        """Take a row out."""
        row = self.by_key.pop(key)
        self.rows = [other for other in self.rows if other is not row]

    def text(self) -> str:
        """The file anew: UTF-8, commas."""
        return csv_text([self.headings, *([row.get(name, "") for name in self.headings] for row in self.rows)])


def _unusable(path: Path, found: str) -> LogError:
    todo = "Run 'rework check' on the folder and mend the file first; nothing was changed."
    return LogError(f"{found}.", todo=todo, where=str(path))


def _headings(path: Path, table: Table, found: list[str]) -> list[str]:
    names = [normal(name) if normal(name) in table.by_name else name for name in found]
    twice = sorted({name for name in names if names.count(name) > 1 and name in table.by_name})
    if twice or not set(table.key) - {"before_test_no"} <= set(names):
        wanted = ", ".join(twice or table.key)
        raise _unusable(path, f"the headings {wanted} must each stand there once")
    return names


def read_existing(folder: Path, table: Table, today: dt.date) -> ExistingTable:
    """Read one file of a log as text; a missing one has the declared headings and no rows.

    Raises
    ------
    LogError
        If the file cannot be read so that every cell keeps its heading.
    """
    path = folder / table.file
    if not path.is_file():
        return ExistingTable(table, list(table.names))
    sheet = csv_sheet(path)
    if not sheet.rows:
        return ExistingTable(table, list(table.names))
    first = min(sheet.rows)
    width = max(sheet.rows[first]) + 1
    found = [sheet.rows[first][at].text.strip() if at in sheet.rows[first] else "" for at in range(width)]
    headings = _headings(path, table, found)
    ragged = [number for number, row in sheet.rows.items() if max(row) >= width]
    if ragged:
        raise _unusable(path, f"line {ragged[0]} has more cells than the headings")
    rows = [
        {name: row[at].text if at in row else "" for at, name in enumerate(headings)}
        for number, row in sheet.rows.items()
        if number > first
    ]
    _make_canonical(rows, table, Context(read_settings(folder), delimiter_of(path), today))
    out = ExistingTable(table, [*headings, *(name for name in table.names if name not in headings)])
    for row in rows:
        out.add(row)
    return out


def _make_canonical(rows: list[dict[str, str]], table: Table, context: Context) -> None:
    """Bring every declared cell that can be read into the log's own form; others stay as they are."""
    for column in table.columns:
        texts = list(dict.fromkeys(row.get(column.name, "") for row in rows))
        read = dict(zip(texts, canonical_texts(texts, column, context), strict=True))
        for row in rows:
            text = row.get(column.name, "")
            made = read[text]
            row[column.name] = made if isinstance(made, str) and text.strip() else text.strip()
