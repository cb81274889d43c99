"""How a column's cells are to be read: what its own values settle, and what has to be asked."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from analysis.records.dictionary import Column, Kind, Role
from analysis.records.importing import value_words as words
from analysis.records.importing.day_texts import is_day, orders_seen, perhaps_swapped
from analysis.records.importing.grid import Cell, squeezed
from analysis.records.importing.grid import Kind as CellKind
from analysis.records.importing.mapping import OPEN, ColumnMap
from analysis.records.importing.own_codes import Doubt, codes_alike, names_of_persons
from analysis.records.importing.reading import canonical_texts, said_values, strict, tidied, value_key
from analysis.records.importing.units import CONVERSIONS, number_and_unit, units_for
from analysis.records.importing.unread_numbers import is_number, likely_number
from analysis.records.importing.value_codes import BLANKS, value_code
from analysis.records.importing.words import CURRENCIES

MOST_VALUES = 60  # different unknown words of a coded column that are worth asking for
LONGEST_VALUE = 80  # characters


@dataclass(frozen=True)
class Detailed:
    """A column with all that can be said of its cells, and a remark for each key that is asked or newly said."""

    column: ColumnMap
    remarks: Mapping[str, str] = field(default_factory=dict)


def _texts(cells: Sequence[Cell]) -> Counter[str]:
    """Different texts, outer spaces off, in the order they come, with how often."""
    return Counter(cell.text.strip() for cell in cells if cell.kind is not CellKind.UNREAD)


def _coded(column: ColumnMap, cells: Sequence[Cell], inverted: bool) -> Detailed:
    """Words to codes."""
    target, texts = column.column, _texts(cells)
    said = {value_key(text): code for text, code in column.values.items()}
    values, remarks = dict(column.values), {}
    own = {squeezed(text).casefold(): text for text in texts}
    new = [key for key in own if said.get(key, OPEN) == OPEN and len(key) <= LONGEST_VALUE]
    for key in new[:MOST_VALUES]:
        written = next((text for text in column.values if value_key(text) == key), squeezed(own[key]))
        if not inverted and own[key] in (target.codes or ("yes", "no")):
            continue
        code, maybe = value_code(key, target, texts, inverted)
        values[written] = code
        if code == OPEN:
            hint = words.HINTS.get(target.name, {}).get(words.plain_value(key), "")
            remarks[f"values.{written}"] = _likely(maybe, hint) or "which code?"
    return Detailed(replace(column, values=values), remarks)


def _blank_words(column: ColumnMap, texts: Mapping[str, int]) -> dict[str, str]:
    """Words such as n/a, which stand for a blank in a column of numbers, dates or codes."""
    said = {value_key(text) for text in column.values}
    found = {squeezed(t): words.BLANK for t in texts if words.plain_value(t) in BLANKS and value_key(t) not in said}
    return dict(column.values) | found


def _dates(column: ColumnMap, cells: Sequence[Cell]) -> Detailed:
    if column.dates not in ("", OPEN):
        return Detailed(column)
    day, month, either = orders_seen(cells)
    if perhaps_swapped(cells):
        maybe = 'texts hold only days above 12, real dates none: write "swapped" if the real ones have day and month'
        maybe += ' exchanged, "day_first" or "month_first" if they are right'
        return Detailed(replace(column, dates=OPEN), {"dates": maybe})
    if day and not month:
        return Detailed(replace(column, dates="day_first"), {"dates": f"{day} dates can only be day first"})
    if month and not day:
        return Detailed(replace(column, dates="month_first"), {"dates": f"{month} dates can only be month first"})
    if not either:
        return Detailed(replace(column, dates=""))
    why = "some can only be day first and some only month first" if day else "none of them settles it"
    return Detailed(replace(column, dates=OPEN), {"dates": f'which comes first? "day_first" or "month_first"; {why}'})


def _decimal(column: ColumnMap, texts: Mapping[str, int]) -> tuple[str, str]:
    """How decimals are parted, where the texts hold a comma."""
    if column.decimal not in ("", OPEN):
        return column.decimal, ""
    bare = [number_and_unit(text, column.column)[0] for text in texts]
    commas = [text for text in bare if "," in text and any(c.isdigit() for c in text)]
    if not commas:
        return "", ""
    tails = [text.rpartition(",")[2] for text in commas]
    if any("." not in tail and len(tail) != 3 and tail.isdigit() for tail in tails):
        return "comma", ""
    points = [text.rpartition(".")[2] for text in bare if "." in text]
    if any(len(tail) != 3 for tail in points):
        return "point", ""
    return OPEN, '"comma" if 1,500 means one and a half, "point" if it means fifteen hundred'


def _unit(column: ColumnMap, cells: Sequence[Cell], heading_unit: str) -> tuple[str, str]:
    """Unit of the numbers that do not carry their own."""
    target = column.column
    choices = units_for(target)
    if not choices or column.unit not in ("", OPEN):
        return column.unit, ""
    if target.role is Role.MONEY:
        return heading_unit, ""
    texts = _texts(cells)
    bare = [text for text in texts if not number_and_unit(text, target)[1]]
    numbers = [value for text in bare if (value := _as_float(text)) is not None]
    if heading_unit == "%" and numbers and max(numbers) <= 1 and any(value % 1 for value in numbers):
        return "fraction", ""
    if heading_unit or not numbers:
        return heading_unit, ""
    if target.unit == "%":
        share = max(numbers) <= 1 and any(value % 1 for value in numbers)
        return "fraction" if share else "%", ""
    low, high = target.low or 0, target.high if target.high is not None else float("inf")
    fits = [unit for unit in choices if all(low <= CONVERSIONS[target.unit][unit](v) <= high for v in numbers)]
    listed = ", ".join(f'"{unit}"' for unit in choices)
    return OPEN, f"which unit? {listed}" + (f"; all numbers are possible in {' and '.join(fits)}" if fits else "")


def _as_float(text: str) -> float | None:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if abs(value) < 1e15 else None


def _numbers(column: ColumnMap, cells: Sequence[Cell], heading_unit: str) -> Detailed:
    texts = _texts([cell for cell in cells if cell.kind is CellKind.TEXT])
    unit, unit_remark = _unit(column, cells, heading_unit)
    decimal, decimal_remark = _decimal(column, texts)
    remarks = {key: text for key, text in (("unit", unit_remark), ("decimal", decimal_remark)) if text}
    values = _blank_words(column, texts)
    said = said_values(values)
    unread = [
        text
        for text in dict.fromkeys(squeezed(text) for text in _texts(cells))
        if said.get(value_key(text), OPEN) == OPEN and not is_number(text, column.column) and len(text) <= LONGEST_VALUE
    ]
    for text in unread[:MOST_VALUES]:
        written = next((known for known in values if value_key(known) == value_key(text)), text)
        values[written] = OPEN
        likely = _likely(*likely_number(text, column.column, "" if unit == OPEN else unit))
        remarks[f"values.{written}"] = likely or "which number?"
    return Detailed(replace(column, unit=unit, decimal=decimal, values=values), remarks)


def _keys(column: ColumnMap, cells: Sequence[Cell], today: dt.date) -> Detailed:
    """Codes of the shop's own: tidied where they then still differ; what may be one code or two is asked."""
    texts = _texts(cells)
    of_jobs, of_persons = column.column.name == "job_id", column.column.name == "technician_id"
    values = dict(column.values) if of_jobs else _blank_words(column, texts)
    said = said_values(values)
    rest = {t: n for t, n in texts.items() if said.get(squeezed(t), said.get(value_key(t), OPEN)) == OPEN}
    doubts = {} if of_jobs else {squeezed(t): Doubt(words.BLANK, "") for t in rest if _doubtful(t)}
    if of_persons:
        doubts |= names_of_persons({text: n for text, n in rest.items() if not _doubtful(text)}, values)
    asked = {value_key(text) for text in doubts}
    doubts |= codes_alike({text: n for text, n in rest.items() if value_key(text) not in asked})
    values |= {text: OPEN for text in doubts if said_values(values).get(text, OPEN) == OPEN}
    asked = {value_key(text) for text in doubts}
    tidy = column.tidy or _can_be_tidied([t for t in rest if value_key(t) not in asked], column.column, today)
    maybe = {text: tidied(doubt.maybe) if tidy else doubt.maybe for text, doubt in doubts.items()}
    remarks = {f"values.{text}": _likely(maybe[text], doubt.why) for text, doubt in doubts.items()}
    return Detailed(replace(column, tidy=tidy, values=values), remarks)


def _doubtful(text: str) -> bool:
    return words.plain_value(text) in words.DOUBTFUL_CODES


def _can_be_tidied(texts: Sequence[str], column: Column, today: dt.date) -> bool:
    """Whether some codes are untidy, can be tidied, and are then as many different ones as before."""
    untidy = [text for text in texts if tidied(text) != text]
    if not untidy or len({tidied(text) for text in texts}) != len(set(texts)):
        return False
    readable = canonical_texts([tidied(text) for text in untidy], column, strict(today))
    return any(isinstance(made, str) for made in readable)


def _likely(maybe: str, why: str = "") -> str:
    """A question's words: the likeliest answer, if any, and why it is asked."""
    answer = f'"{maybe}"' if "," in maybe else maybe
    return ": ".join(part for part in (f"maybe {answer}" if answer else "", why) if part)


def detail(
    column: ColumnMap, cells: Sequence[Cell], today: dt.date, heading_unit: str = "", inverted: bool = False
) -> Detailed:
    """Fill in what a column's mapping does not say yet; what it says stays.

    Parameters
    ----------
    column : ColumnMap
        Names a column of the log.
    cells : sequence of Cell
        All its cells.
    today : date
        Later dates are refused.
    heading_unit : str
        Unit named in the heading.
    inverted : bool
        Whether yes and no stand the other way round.
    """
    kind = column.column.kind
    if column.coded:
        return _coded(column, cells, inverted)
    if kind is Kind.DATE:
        texts = _texts(cells)
        return _dates(replace(column, values=_blank_words(column, texts)), cells)
    return _keys(column, cells, today) if kind is Kind.KEY else _numbers(column, cells, heading_unit)


def looks_like_dates(cells: Sequence[Cell]) -> bool:
    """Whether most cells are days, in whatever order of day and month."""
    dated = sum(is_day(cell.text) for cell in cells)
    return len(cells) > 0 and dated >= 0.9 * len(cells)


def money_unit(column: ColumnMap, cells: Sequence[Cell]) -> str:
    """Currency that the cells or the heading name; blank when none or several."""
    named = {number_and_unit(cell.text.strip(), column.column)[1] for cell in cells} | {column.unit}
    found = named & set(CURRENCIES)
    return found.pop() if len(found) == 1 else ""
