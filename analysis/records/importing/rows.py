"""The rows of a sheet: which thing each is about, and which are kept aside whole."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.records.dictionary import BY_NAME
from analysis.records.importing.grid import Cell, HeadedSheet, Row
from analysis.records.importing.mapping import OPEN, ColumnMap, SheetMap
from analysis.records.importing.propose import key_columns
from analysis.records.importing.reading import Outcome, Taken, read_cells
from analysis.records.importing.stray_rows import stray_rows
from analysis.records.problems import quoted

Key = tuple[str, ...]
UNDATED = "whether this work was done before boot test 1 is still a question"


@dataclass(frozen=True)
class ReadSheet:
    """A sheet with its cells read.

    Parameters
    ----------
    headed : HeadedSheet
        The sheet.
    sheet : SheetMap
        Its mapping.
    columns : mapping of int to ColumnMap
        By position.
    outcomes : mapping of int to mapping
        By position, what each different cell was read as; only of columns that are placed.
    keys : mapping of int to tuple of str
        Row number to its key, for rows that can be placed.
    refused : mapping of int to str
        Row number to why the row is kept aside whole.
    """

    headed: HeadedSheet
    sheet: SheetMap
    columns: Mapping[int, ColumnMap]
    outcomes: Mapping[int, Mapping[Cell, Outcome]]
    keys: Mapping[int, Key] = field(default_factory=dict)
    refused: Mapping[int, str] = field(default_factory=dict)


def _key_of(read: ReadSheet, row: Row, positions: Mapping[str, int | None]) -> Key | str:
    """The key of a row, or why it has none."""
    if positions.get("before_test_no", 0) is None and read.sheet.before_test() == OPEN:
        return UNDATED
    parts = []
    for name, at in positions.items():
        if name == "before_test_no" and (at is None or at not in row):
            parts.append(read.sheet.before_test() if at is None else "")
            continue
        if at is None:
            return f"no column of the sheet holds {name}"
        if at not in row:
            return f"the row has no {name}"
        outcome = read.outcomes[at][row[at]]
        if not isinstance(outcome, Taken):
            why = getattr(outcome, "why", "it stands for a blank")
            return f"its {name} {quoted(row[at].text)} cannot be used: {why}"
        parts.append(outcome.text)
    return tuple(parts)


def _doubles(keys: Mapping[int, Key], data: Mapping[int, Row]) -> dict[int, str]:
    """Rows whose key stands more than once: a same row is kept once, of different ones none."""
    by_key: dict[Key, list[int]] = {}
    for number, key in keys.items():
        by_key.setdefault(key, []).append(number)
    out: dict[int, str] = {}
    for key, numbers in by_key.items():
        if len(numbers) < 2:
            continue
        name = quoted(" ".join(part for part in key if part))
        if all(data[number] == data[numbers[0]] for number in numbers):
            out |= dict.fromkeys(numbers[1:], f"the same row again; {name} is in row {numbers[0]}")
        else:
            listed = ", ".join(map(str, numbers[:10]))
            out |= dict.fromkeys(
                numbers, f"{name} stands in rows {listed} with different content; either could be meant"
            )
    return out


def read_sheet(headed: HeadedSheet, sheet: SheetMap, today: dt.date) -> ReadSheet:
    """Read the cells of a sheet whose rows are known, and find the key of every row."""
    by_heading = sheet.by_heading()
    columns = {at: by_heading[name] for at, name in headed.headings.items() if name in by_heading}
    cells = headed.by_column()
    outcomes = {
        at: read_cells(cells[at], column, today)
        for at, column in columns.items()
        if column.taken and not column.is_open
    }
    held, at_of = key_columns(sheet), {name: at for at, name in headed.headings.items()}
    names = ("job_id",) if sheet.row == "jobs" else BY_NAME[sheet.row].key
    positions = {name: at_of.get(held.get(name, "")) for name in names}
    keys: dict[int, Key] = {}
    refused: dict[int, str] = {}
    bare = ReadSheet(headed, sheet, columns, outcomes)
    undated = sheet.row == "heat_steps" and sheet.before_test() == OPEN  # no part of the key of its rows
    for number, row in headed.data.items():
        made = _key_of(bare, row, positions)
        if isinstance(made, str) or undated:
            refused[number] = made if isinstance(made, str) else UNDATED
        else:
            keys[number] = made
    for found in (stray_rows({number: key[0] for number, key in keys.items()}), _doubles(keys, headed.data)):
        refused |= found
        keys = {number: key for number, key in keys.items() if number not in found}
    return ReadSheet(headed, sheet, columns, outcomes, keys, refused)
