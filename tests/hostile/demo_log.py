"""The demo log as rows of text, and what can be told of a text from the dictionary alone."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

from analysis.records.dictionary import BY_NAME, TABLES, Column, Kind, Required

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
TODAY = dt.date(2024, 12, 1)  # after every date of the demo
Place = tuple[str, int, str]  # file, line (0: anywhere in the file), column ("": anywhere on the line)


@dataclass(frozen=True)
class Case:
    """A corrupted file of the log.

    Parameters
    ----------
    table : str
        Which file.
    data : bytes
        Its new content.
    places : tuple of Place
        Where something must be reported.
    rows_kept : bool
        Whether every other cell of the log must read as before.
    """

    table: str
    data: bytes
    places: tuple[Place, ...] = ()
    rows_kept: bool = False


@dataclass(frozen=True)
class DemoLog:
    """Headings and rows of every table, as text."""

    heads: dict[str, list[str]]
    rows: dict[str, list[list[str]]]

    def text(self, name: str, rows: list[list[str]] | None = None, heads: list[str] | None = None, **how: str) -> str:
        """CSV text of one table, with other rows or headings in place of its own."""
        out = io.StringIO()
        writer = csv.writer(out, **({"lineterminator": "\n"} | how))
        writer.writerow(heads or self.heads[name])
        writer.writerows(self.rows[name] if rows is None else rows)
        return out.getvalue()

    def keys_of(self, reference: str) -> set[str]:
        """Keys that exist in "table.column"."""
        return self._keys[reference]

    @cached_property
    def _keys(self) -> dict[str, set[str]]:
        names = {column.references for table in TABLES for column in table.columns if column.references}
        return {name: set(self.column(*name.split("."))) for name in names}

    def column(self, table: str, name: str) -> list[str]:
        """Cells of one column."""
        at = self.heads[table].index(name)
        return [row[at] for row in self.rows[table]]

    @cached_property
    def filled(self) -> dict[tuple[str, str], list[int]]:
        """Rows in which each column holds something."""
        return {
            (table.name, name): [at for at, text in enumerate(self.column(table.name, name)) if text]
            for table in TABLES
            for name in table.names
        }

    def pick(self, rng: random.Random, wanted: Callable[[Column], bool]) -> tuple[str, int, Column, str]:
        """A filled cell of one of the wanted columns: table, row, column, text. Each column is as likely as another."""
        fit = [(t, c) for (t, c), at in self.filled.items() if at and wanted(BY_NAME[t][c])]
        table, name = rng.choice(fit)
        row = rng.choice(self.filled[table, name])
        return table, row, BY_NAME[table][name], self.rows[table][row][self.heads[table].index(name)]

    def with_cell(self, table: str, row: int, column: str, text: str) -> Case:
        """One cell overwritten; it must be reported at its place and nothing else may read otherwise."""
        rows = [list(cells) for cells in self.rows[table]]
        rows[row][self.heads[table].index(column)] = text
        place = (f"{table}.csv", row + 2, column)
        return Case(table, self.text(table, rows).encode(), (place,), rows_kept=True)

    def impossible(self, column: Column, text: str) -> bool:
        """Whether a text can in no way be a right value of a column, told without the reader under test.

        A key that points nowhere may be any code, so nothing can be said of it.
        """
        if not text:
            return column.required is Required.ALWAYS
        if column.kind is Kind.KEY:
            return bool(column.references) and text not in self.keys_of(column.references)
        if column.kind is Kind.CHOICE:
            return loose(text) not in column.codes
        if column.kind is Kind.YES_NO:
            return text.casefold() not in ("yes", "no", "y", "n", "true", "false")
        if column.kind is Kind.DATE:
            return not _is_date(text)
        return not _in_range(column, text)


def loose(text: str) -> str:
    """A code without regard to case, and with underscores for spaces and hyphens."""
    return "_".join(text.casefold().replace("-", " ").replace("_", " ").split())


def _is_date(text: str) -> bool:
    try:
        return dt.date.fromisoformat(text) <= TODAY
    except ValueError:
        return False


def _in_range(column: Column, text: str) -> bool:
    try:
        value = float(text)
    except ValueError:
        return False
    low = -math.inf if column.low is None else column.low
    high = math.inf if column.high is None else column.high
    whole = column.kind is not Kind.INTEGER or value == int(value)
    return whole and low <= value <= high


@cache
def demo() -> DemoLog:
    """The demo log, read once."""
    heads, rows = {}, {}
    for table in TABLES:
        with (DEMO / table.file).open(encoding="utf-8", newline="") as lines:
            heads[table.name], *rows[table.name] = csv.reader(lines)
    return DemoLog(heads, rows)
