"""A sheet as its non-blank cells, whatever kind of file it came from."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple


class Kind(StrEnum):
    """What the file says of a cell."""

    TEXT = "text"
    REAL = "real"  # a number or day that the spreadsheet holds as such: decimal point, ISO date
    UNREAD = "unread"  # a formula without a stored value, or an error value


class Cell(NamedTuple):
    """A non-blank cell: its text as written and its kind."""

    text: str
    kind: Kind = Kind.TEXT


Row = Mapping[int, Cell]


@dataclass(frozen=True)
class Sheet:
    """One sheet, or one CSV file.

    Parameters
    ----------
    file : str
        Name of the file.
    name : str
        Name of the sheet; of a CSV file, its name without the ending.
    rows : mapping of int to Row
        Row number, from 1, to its non-blank cells by column position, from 0; blank rows are not there.
    """

    file: str
    name: str
    rows: Mapping[int, Row]

    @property
    def cells_n(self) -> int:
        """Non-blank cells."""
        return sum(len(row) for row in self.rows.values())


def letters(position: int) -> str:
    """A column's letters as spreadsheets show them: 0 is A, 26 is AA."""
    out = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        out = chr(65 + rest) + out
    return out


def squeezed(text: str) -> str:
    """Text with every run of white space as one space and none outside."""
    return re.sub(r"\s+", " ", text).strip()


@dataclass(frozen=True)
class HeadedSheet:
    """A sheet whose heading row is known.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    heading_row : int
        Number of the row with the headings; 0 when there is none.
    headings : mapping of int to str
        Column position to heading; each heading is different, and a column without one is named by its letters.
    group_row : int
        Number of the row above with titles over several headings ("CPU" over "pads lost"), or with headings that reach
        over both rows; 0 when there is none.
    """

    sheet: Sheet
    heading_row: int
    headings: Mapping[int, str]
    group_row: int = 0

    @property
    def data(self) -> Mapping[int, Row]:
        """Rows under the headings."""
        return {number: row for number, row in self.sheet.rows.items() if number > self.heading_row}

    def by_column(self, without: Collection[int] = ()) -> dict[int, list[Cell]]:
        """Cells under each heading, from top to bottom; some rows can be left out."""
        out: dict[int, list[Cell]] = {at: [] for at in self.headings}
        for row in (row for number, row in self.data.items() if number not in without):
            for at, cell in row.items():
                out[at].append(cell)
        return out


def with_headings(
    sheet: Sheet, heading_row: int, groups: Mapping[int, str] | None = None, tall: Mapping[int, str] | None = None
) -> HeadedSheet:
    """Name every column of a sheet by its heading; one that stands twice gets a number, a missing one letters.

    ``groups`` are titles to be put before some headings, by position, ``tall`` headings of columns without one in the
    row; both stand in the row above.
    """
    above = tall or {}
    row = sheet.rows.get(heading_row, {})
    used = {at for number, cells in sheet.rows.items() if number >= heading_row for at in cells} | set(above)
    seen: Counter[str] = Counter()
    taken: set[str] = set()
    out = {}
    for at in sorted(used):
        name = squeezed(row[at].text if at in row else above.get(at, ""))[:200]
        name = name or f"(column {letters(at)})"
        name = f"{groups[at]} {name}" if groups and at in groups else name
        seen[name] += 1
        unique = name if seen[name] == 1 else f"{name} ({seen[name]})"
        while unique in taken:
            seen[name] += 1
            unique = f"{name} ({seen[name]})"
        taken.add(unique)
        out[at] = unique
    return HeadedSheet(sheet, heading_row, out, heading_row - 1 if groups or above else 0)
