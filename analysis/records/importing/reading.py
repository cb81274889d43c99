"""One column's cells, read as its mapping says, under the dictionary's own rules."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.records.convert import Context, convert
from analysis.records.dictionary import Column, Kind
from analysis.records.importing.day_texts import orders_seen, plain_date
from analysis.records.importing.grid import Cell, squeezed
from analysis.records.importing.grid import Kind as CellKind
from analysis.records.importing.mapping import OPEN, SWAPPED, ColumnMap, parts_of
from analysis.records.importing.units import converted, number_and_unit
from analysis.records.importing.value_words import BLANK
from analysis.records.settings import Settings
from analysis.records.texts import Texts

_COMMA = re.compile(r"[+-]?\d{1,15},\d{1,15}")
_POINT_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:\.\d{3})+(?:,\d+)?")
_COMMA_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
RULE = "rule: "  # starts the reason of a cell that breaks a rule of its column
_SWAPPABLE = re.compile(r"(\d{4})-(\d{2})-(\d{2})")


@dataclass(frozen=True)
class Taken:
    """A cell that goes into the log: where, as which text, what was done to it if anything, and where else it goes."""

    to: str
    text: str
    note: str = ""
    also: tuple[tuple[str, str], ...] = ()

    @property
    def places(self) -> tuple[tuple[str, str], ...]:
        """Every "table.column" and text."""
        return (self.to, self.text), *self.also


@dataclass(frozen=True)
class Aside:
    """A cell that does not, and why."""

    why: str


@dataclass(frozen=True)
class Blank:
    """A cell that the mapping says stands for nothing."""


Outcome = Taken | Aside | Blank


def value_key(text: str) -> str:
    """How texts of a column are compared with the texts of its mapping."""
    return squeezed(text).casefold()


def canonical(value: Any, column: Column) -> str:
    """A typed value as the log writes it."""
    if column.kind is Kind.YES_NO:
        return "yes" if value else "no"
    if column.kind is Kind.INTEGER:
        return str(int(value))
    if column.kind is Kind.NUMBER:
        return f"{float(value):.15g}"
    return str(value)


def out_of_range(value: Any, column: Column) -> bool:
    """Whether a number lies outside what the dictionary allows."""
    number = column.kind in (Kind.NUMBER, Kind.INTEGER)
    low, high = column.low, column.high
    return number and ((low is not None and value < low) or (high is not None and value > high))


def canonical_texts(texts: list[str], column: Column, context: Context) -> list[str | Aside]:
    """Each text as the log writes it, or why it cannot stand there."""
    made = convert(Texts(np.arange(len(texts)), texts), column, context)
    refused = {at: bad for at, _, bad in made.bad}
    out: list[str | Aside] = []
    for at, value in enumerate(made.coded.values):
        if bad := refused.get(at):
            out.append(Aside(f"{RULE}{bad.rule} | do: {bad.todo}"))
        elif value is None:
            out.append(Aside("blank"))
        elif out_of_range(value, column):
            out.append(Aside(f"{RULE}{column.rule} | do: Correct the number in the sheet."))
        else:
            out.append(canonical(value, column))
    return out


def strict(today: dt.date) -> Context:
    """Nothing is left to be guessed: decimal points, ISO dates, no missing codes."""
    return Context(Settings(), ",", today)


def _plain_number(text: str, decimal: str) -> str | Aside:
    """A number with a decimal point and nothing between thousands."""
    if decimal == "comma" and _POINT_GROUPS.fullmatch(text) and "," in text:
        return text.replace(".", "").replace(",", ".")
    if decimal == "point" and _COMMA_GROUPS.fullmatch(text):
        return text.replace(",", "")
    ambiguous = _COMMA_GROUPS.fullmatch(text) or (decimal == "comma" and _POINT_GROUPS.fullmatch(text))
    if ambiguous and not (decimal == "comma" and _COMMA.fullmatch(text)):
        return Aside("a comma or point here may part thousands or decimals")
    return text.replace(",", ".") if _COMMA.fullmatch(text) and decimal == "comma" else text


def _number(cell: Cell, text: str, column: ColumnMap) -> str | Aside:
    """A number in the dictionary's unit."""
    target = column.column
    bare, unit = number_and_unit(text, target) if cell.kind is CellKind.TEXT else (text, "")
    if column.unit == OPEN and not unit:
        return Aside("the unit is still a question")
    plain = bare if cell.kind is CellKind.REAL else _plain_number(bare, column.decimal)
    unit = unit or column.unit
    if isinstance(plain, Aside) or not unit:
        return plain
    try:
        value = float(plain)
    except ValueError:
        return plain
    new = converted(value, unit, target)
    return plain if new == value else f"{new:.10g}"


def _date(cell: Cell, text: str, column: ColumnMap) -> str | Aside:
    text = plain_date(text)
    real = cell.kind is CellKind.REAL and _SWAPPABLE.fullmatch(text)
    if real and column.dates == SWAPPED:
        return f"{real[1]}-{real[3]}-{real[2]}"
    if real and column.dates == OPEN:
        return Aside("whether the spreadsheet swapped day and month is still a question")
    if column.dates == OPEN and orders_seen([cell])[2]:
        return Aside("whether day or month comes first is still a question")
    return text


def tidied(text: str) -> str:
    """A code without "#" in front, each run of spaces a hyphen."""
    return re.sub(r"\s+", "-", text.strip().lstrip("#").strip())


def said_values(values: Mapping[str, str]) -> dict[str, str]:
    """What the mapping says by text: as spelled there, else without regard to case and spaces.

    Spellings that are answered differently leave a third one open.
    """
    out: dict[str, str] = {}
    for text, said in values.items():
        key = value_key(text)
        out[key] = said if out.get(key, said) == said else OPEN
    return out | {squeezed(text): said for text, said in values.items()}


def _by_value(text: str, column: ColumnMap, values: Mapping[str, str]) -> Outcome | str | None:
    """What the mapping says of a text: an outcome, a code, or nothing."""
    said = values.get(squeezed(text), values.get(value_key(text)))
    if said is None:
        return None
    if said == OPEN:
        return Aside("what this value means is still a question")
    if said == BLANK:
        return Blank()
    (to, code), *also = ((to or column.to, code) for to, code in parts_of(said))  # checked when the mapping was read
    if also:
        return Taken(to, code, "a value that settles several columns", tuple(also))
    return code if to == column.to else Taken(to, code, "a value that belongs to another column")


def _prepared(cell: Cell, column: ColumnMap, values: Mapping[str, str]) -> Outcome | str:
    """The text to convert, or an outcome that is known already."""
    if cell.kind is CellKind.UNREAD:
        return Aside("a formula without a stored value, or an error value; open, calculate and save the workbook")
    text = cell.text.strip()
    said = _by_value(text, column, values)
    if said is not None:
        return said
    kind = column.column.kind
    if kind in (Kind.NUMBER, Kind.INTEGER):
        return _number(cell, text, column)
    if kind is Kind.DATE:
        return _date(cell, text, column)
    return tidied(text) if kind is Kind.KEY and column.tidy else text


_NOTES = {
    Kind.CHOICE: "words to codes",
    Kind.YES_NO: "words to yes and no",
    Kind.DATE: "dates to YYYY-MM-DD",
}


def _note(cell: Cell, text: str, column: ColumnMap) -> str:
    if cell.text == text:
        return ""
    if column.column.kind is Kind.KEY:
        return "codes without spaces" if tidied(cell.text) == text else "words to codes"
    if note := _NOTES.get(column.column.kind):
        return note
    unit, own = column.unit, column.column.unit
    return f"{unit} to {own}" if unit and unit not in (own, OPEN) and own else "numbers written plainly"


def read_cells(cells: Iterable[Cell], column: ColumnMap, today: dt.date) -> dict[Cell, Outcome]:
    """Read the different cells of a column.

    Parameters
    ----------
    cells : iterable of Cell
        In any order; equal cells are read once.
    column : ColumnMap
        Names a column of the log.
    today : date
        Later dates are refused.
    """
    values = said_values(column.values)
    order = column.dates if column.dates in ("day_first", "month_first") else ""
    if column.dates == SWAPPED:
        order = "day_first"
    context = Context(Settings(date_order=order), ",", today)
    out: dict[Cell, Outcome] = {}
    waiting: dict[Cell, str] = {}
    for cell in dict.fromkeys(cells):
        made = _prepared(cell, column, values)
        if isinstance(made, str):
            waiting[cell] = made
        else:
            out[cell] = made
    read = canonical_texts(list(waiting.values()), column.column, context)
    for cell, result in zip(waiting, read, strict=True):
        out[cell] = result if isinstance(result, Aside) else Taken(column.to, result, _note(cell, result, column))
    return out
