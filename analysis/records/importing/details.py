"""How a column's cells are to be read: what its own values settle, and what has to be asked."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from rapidfuzz import fuzz, process

from analysis.records.dictionary import Column, Kind, Role
from analysis.records.importing import value_words as words
from analysis.records.importing.day_texts import is_day, orders_seen, perhaps_swapped
from analysis.records.importing.grid import Cell, squeezed
from analysis.records.importing.grid import Kind as CellKind
from analysis.records.importing.mapping import OPEN, ColumnMap
from analysis.records.importing.reading import canonical_texts, strict, tidied, value_key
from analysis.records.importing.units import CONVERSIONS, number_and_unit, units_for
from analysis.records.importing.words import CURRENCIES

MOST_VALUES = 60  # different unknown words of a coded column that are worth asking for
LONGEST_VALUE = 80  # characters
_CLOSE = 80.0
_BLANKS = {words.plain_value(word) for word in words.BLANK_WORDS | words.UNKNOWN_WORDS}


@dataclass(frozen=True)
class Detailed:
    """A column with all that can be said of its cells, and a remark for each key that is asked or newly said."""

    column: ColumnMap
    remarks: Mapping[str, str] = field(default_factory=dict)


def _texts(cells: Sequence[Cell]) -> Counter[str]:
    """Different texts, outer spaces off, in the order they come, with how often."""
    return Counter(cell.text.strip() for cell in cells if cell.kind is not CellKind.UNREAD)


def _yes_no(text: str, all_texts: Mapping[str, int], inverted: bool) -> tuple[str, str]:
    plain = words.plain_value(text)
    ticked_otherwise = any(words.plain_value(other) in words.YES_WORDS for other in all_texts)
    yes = plain in words.YES_WORDS or (plain in words.TICKS and not ticked_otherwise)
    turn = {"yes": "no", "no": "yes"} if inverted else {"yes": "yes", "no": "no"}
    if yes or plain in words.NO_WORDS:
        return turn["yes" if yes else "no"], ""
    if plain in words.MAYBE_YES or plain in words.TICKS:
        return OPEN, turn["yes"]
    return OPEN, turn["no"] if plain in words.MAYBE_NO else ""


def value_code(text: str, column: Column, all_texts: Mapping[str, int], inverted: bool = False) -> tuple[str, str]:
    """The code a text stands for, or "?" and the likeliest code."""
    plain = words.plain_value(text)
    if column.kind is Kind.YES_NO:
        code, maybe = _yes_no(text, all_texts, inverted)
        if code != OPEN or maybe:
            return code, maybe
    known = {words.plain_value(code): code for code in column.codes}
    known |= {words.plain_value(c.label): c.code for c in column.choices if c.label}
    for code, said in words.VALUES.get(column.name, {}).items():
        known |= {words.plain_value(word): code for word in said}
    if plain in known:
        return known[plain], ""
    if plain in _BLANKS:
        unknown = plain in words.UNKNOWN_WORDS
        if unknown:
            return ("unknown", "") if "unknown" in column.codes else (OPEN, words.BLANK)
        return words.BLANK, ""
    if likeliest := words.MAYBE.get(column.name, {}).get(plain):
        return OPEN, likeliest
    near = process.extractOne(plain, known.keys(), scorer=fuzz.token_sort_ratio, score_cutoff=_CLOSE)
    return OPEN, known[near[0]] if near else ""


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
            remarks[f"values.{written}"] = maybe
    return Detailed(replace(column, values=values), remarks)


def _blank_words(column: ColumnMap, texts: Mapping[str, int]) -> dict[str, str]:
    """Words such as n/a, which stand for a blank in a column of numbers, dates or codes."""
    said = {value_key(text) for text in column.values}
    found = {squeezed(t): words.BLANK for t in texts if words.plain_value(t) in _BLANKS and value_key(t) not in said}
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
    return Detailed(replace(column, dates=OPEN), {"dates": f'"day_first" or "month_first"; {why}'})


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
    return OPEN, f"{listed}; all fit {' and '.join(fits)}" if fits else listed


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
    return Detailed(replace(column, unit=unit, decimal=decimal, values=values), remarks)


def _keys(column: ColumnMap, cells: Sequence[Cell], today: dt.date) -> Detailed:
    """Codes of the shop's own: tidied where they then still differ; names of persons are asked."""
    texts = _texts(cells)
    values = dict(column.values) if column.column.name == "job_id" else _blank_words(column, texts)
    rest = [text for text in texts if value_key(text) not in {value_key(known) for known in values}]
    tidy = column.tidy
    untidy = [text for text in rest if tidied(text) != text]
    if untidy and len({tidied(text) for text in rest}) == len(set(rest)):
        readable = canonical_texts([tidied(text) for text in untidy], column.column, strict(today))
        tidy = tidy or any(isinstance(made, str) for made in readable)
    doubtful = [text for text in rest if words.plain_value(text) in words.DOUBTFUL_CODES]
    values |= {squeezed(text): OPEN for text in doubtful if column.column.name != "job_id"}
    remarks = {f"values.{squeezed(text)}": words.BLANK for text in doubtful}
    if column.column.name == "technician_id":
        names = [text for text in rest if len(text) > 3 and text not in doubtful and not any(c.isdigit() for c in text)]
        for text in names[:MOST_VALUES]:
            values[squeezed(text)] = OPEN
        asked = [text for text, code in values.items() if code == OPEN and text not in doubtful]
        start = 1 + len(values) - len(asked)
        remarks |= {f"values.{text}": f"T{at}" for at, text in enumerate(asked, start)}
    return Detailed(replace(column, tidy=tidy, values=values), remarks)


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
