"""Units of a sheet's numbers and of the dictionary's, and how one becomes the other."""

from __future__ import annotations

import re
from collections.abc import Callable

from analysis.records.dictionary import Column, Role
from analysis.records.importing.words import CURRENCIES, UNIT_OF

_Convert = Callable[[float], float]


def _same(value: float) -> float:
    return value


CONVERSIONS: dict[str, dict[str, _Convert]] = {
    "hours": {"hours": _same, "min": lambda v: v / 60, "s": lambda v: v / 3600},
    "s": {"s": _same, "min": lambda v: v * 60},
    "years": {"years": _same, "months": lambda v: v / 12},
    "°C": {"°C": _same, "°F": lambda v: (v - 32) / 1.8},
    "%": {"%": _same, "fraction": lambda v: v * 100},
}
_DECIMALS = {"°C": 1, "s": 1}
_AROUND = re.compile(r"([^\d\s.,+-][^\d.,+-]*)?\s*([+-]?[\d.,]+)\s*([^\d\s.,][^\d]*)?")
_CLOCK = re.compile(r"(?a)(\d{1,3}):([0-5]\d)(?::([0-5]\d))?")


def units_for(column: Column) -> tuple[str, ...]:
    """Units a sheet may use for a column; none where it counts things."""
    if column.role is Role.MONEY:
        return CURRENCIES
    return tuple(CONVERSIONS.get(column.unit, ()))


def unit_named(text: str) -> str:
    """The unit a word stands for; blank when it is none."""
    return UNIT_OF.get(text.strip().casefold().rstrip("."), "")


def number_and_unit(text: str, column: Column) -> tuple[str, str]:
    """Take a unit off a number: "390 min" is ("390", "min"); a text that is no number with a unit stays whole."""
    if column.unit == "hours" and (clock := _CLOCK.fullmatch(text)):
        hours = int(clock[1]) + int(clock[2]) / 60 + int(clock[3] or 0) / 3600
        return f"{round(hours, 4):.10g}", "hours"
    match = _AROUND.fullmatch(text)
    if not match or not (match[1] or match[3]) or (match[1] and match[3]):
        return text, ""
    unit = unit_named(match[1] or match[3])
    return (match[2], unit) if unit in units_for(column) else (text, "")


def converted(value: float, unit: str, column: Column) -> float:
    """A number in the dictionary's unit, rounded to what the conversion can carry."""
    if value == 0 and column.zero_words:
        return value  # none, in any unit
    convert = CONVERSIONS.get(column.unit, {}).get(unit, _same)
    return value if convert is _same else round(convert(value), _DECIMALS.get(column.unit, 4))
