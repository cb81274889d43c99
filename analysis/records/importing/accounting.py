"""Every non-blank source cell is accounted for: placed, converted, read as blank, a heading, or kept aside."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.errors import LogError
from analysis.records.convert import convert
from analysis.records.dictionary import JOBS
from analysis.records.importing.csv_file import csv_sheet
from analysis.records.importing.grid import Cell, HeadedSheet, letters
from analysis.records.importing.reading import strict
from analysis.records.log import KEPT_ASIDE
from analysis.records.problems import never_run, plural
from analysis.records.texts import Texts

FILE = KEPT_ASIDE
WITHHELD = "(not copied: may be client data or a person's name)"
_FIELDS = ("source_file", "sheet", "row", "column", "value", "why")


@dataclass(frozen=True)
class NotPlaced:
    """A source cell that is not in the log.

    Parameters
    ----------
    source_file, sheet : str
        Where it stands.
    row : int
        Row number in the sheet, or line of the file.
    column : str
        Heading; letters of the column above the headings.
    value : str
        As written.
    why : str
        In words.
    """

    source_file: str
    sheet: str
    row: int
    column: str
    value: str
    why: str


@dataclass(frozen=True)
class Accounting:
    """Where every cell went.

    Parameters
    ----------
    cells_in : int
        Non-blank cells of all sheets.
    headings, placed, converted, blank, aside : int
        Read as headings; placed as written; placed in another form; said to stand for nothing; kept aside.
    notes : mapping of str to int
        What was done to the converted cells.
    partly : int
        Placed cells of which a part is kept aside as well.

    Raises
    ------
    AssertionError
        If the numbers do not add up: a fault of the program, never of the sheet.
    """

    cells_in: int
    headings: int
    placed: int
    converted: int
    blank: int
    aside: int
    notes: Counter[str]
    partly: int = 0

    def __post_init__(self) -> None:
        out = self.headings + self.placed + self.converted + self.blank + self.aside
        if self.cells_in != out:
            raise AssertionError(f"cells do not add up: {self.cells_in} in, {out} accounted for")

    @property
    def text(self) -> str:
        """The account in one sentence."""
        done = ", ".join(f"{note} {n}" for note, n in self.notes.most_common())
        return (
            f"Cells: {self.cells_in} in = {self.headings} headings + {self.placed} placed as written"
            f" + {self.converted} placed in another form{f' ({done})' if done else ''}"
            f" + {self.blank} read as blank + {self.aside} kept aside."
            + (f" Of {plural(self.partly, 'placed cell')} a part is kept aside as well." if self.partly else "")
        )


def not_placed(headed: HeadedSheet, row: int, at: int, cell: Cell, why: str, personal: bool = False) -> NotPlaced:
    """Describe a cell kept aside."""
    above = row < headed.heading_row
    name = f"(column {letters(at)})" if above or at not in headed.headings else headed.headings[at]
    value = WITHHELD if personal else cell.text
    return NotPlaced(headed.sheet.file, headed.sheet.name, row, name, value, why)


def as_copied(cell: NotPlaced) -> str:
    """A cell's text as it may be shown: not what may be client data."""
    return WITHHELD if cell.value.strip() in _personal([cell.value.strip()]) else cell.value


def _personal(texts: Sequence[str]) -> set[str]:
    """Texts that the log's rule for codes takes for an e-mail address, a telephone or a serial number."""
    import datetime as dt

    column = JOBS["job_id"]
    made = convert(Texts(np.arange(len(texts)), list(texts)), column, strict(dt.date.today()))
    return {text for _, text, bad in made.bad if bad.code == "personal-data"}


def lines_of_others(path: Path, sources: Collection[str]) -> list[list[str]]:
    """Lines that imports of other files left in the list.

    Parameters
    ----------
    path : Path
        The list; need not be there.
    sources : collection of str
        Names of the files imported now, whose lines are written anew.

    Raises
    ------
    LogError
        If it is something else by now.
    """
    sheet = csv_sheet(path) if path.is_file() else None
    if sheet is None or not sheet.rows:
        return []
    lines = [[row[at].text if at in row else "" for at in range(len(_FIELDS))] for row in sheet.rows.values()]
    if tuple(lines[0]) != _FIELDS:
        todo = "Give it another name or delete it; nothing was changed."
        raise LogError("is no list of an import any more.", rule=",".join(_FIELDS), todo=todo, where=str(path))
    return [line for line in lines[1:] if line[0] not in sources]


def not_placed_csv(cells: Sequence[NotPlaced], others: Sequence[Sequence[str]] = ()) -> str:
    """The cells kept aside as CSV text, after lines of other imports.

    What a spreadsheet would run as a formula is made text.
    """
    personal = _personal(list(dict.fromkeys(cell.value.strip() for cell in cells)))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)  # a lone carriage return splits a bare cell
    writer.writerows([_FIELDS, *others])
    for cell in cells:
        value = WITHHELD if cell.value.strip() in personal else cell.value
        row = [cell.source_file, cell.sheet, str(cell.row), cell.column, value, cell.why]
        writer.writerow([never_run(text) for text in row])
    return out.getvalue()
