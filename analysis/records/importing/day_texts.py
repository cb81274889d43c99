"""Dates as shops write them, brought to what the log's own date rule reads; what could be two days stays as it is."""

from __future__ import annotations

import re
from collections.abc import Iterable

from analysis.records.dates import DAY_PARTS, ISO_DAY
from analysis.records.importing.grid import Cell, Kind

_FIRST = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october")
_NAMES = (*_FIRST, "november", "december")
_MONTHS = tuple(name[:3] for name in _NAMES)
_DAY_NAME_YEAR = re.compile(
    r"(?a)(?:[A-Za-z]{3,9},?\s+)?(\d{1,2})(?:st|nd|rd|th)?[\s./-]+([A-Za-z]{3,9})\.?,?[\s./-]+(\d{4}|\d{2})"
)
_NAME_DAY_YEAR = re.compile(r"(?a)([A-Za-z]{3,9})\.?\s+(\d{1,2})(?:st|nd|rd|th)?,?\s+(\d{4})")
_SHORT_YEAR = re.compile(r"(?a)(\d{1,2})([./])(\d{1,2})\2(\d{2})")
_YEAR_FIRST = re.compile(r"(?a)(\d{4})[./](\d{1,2})[./](\d{1,2})")
_TIME = re.compile(r"(?a)(\S+)[ T]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?")


def _month(name: str) -> int:
    short = name[:3].casefold()
    known = short in _MONTHS and (len(name) == 3 or name.casefold() in (*_NAMES, "sept"))
    return _MONTHS.index(short) + 1 if known else 0


def plain_date(text: str) -> str:
    """A date without time of day, two-digit year, or month name; other texts unchanged.

    A year of two digits is of this century: the log knows no date before 2000.
    """
    if timed := _TIME.fullmatch(text):
        text = timed[1]
    if match := _DAY_NAME_YEAR.fullmatch(text):
        if month := _month(match[2]):
            year = match[3] if len(match[3]) == 4 else f"20{match[3]}"
            return f"{year}-{month:02}-{int(match[1]):02}"
    elif match := _NAME_DAY_YEAR.fullmatch(text):
        if month := _month(match[1]):
            return f"{match[3]}-{month:02}-{int(match[2]):02}"
    elif match := _SHORT_YEAR.fullmatch(text):
        return f"{match[1]}{match[2]}{match[3]}{match[2]}20{match[4]}"
    elif match := _YEAR_FIRST.fullmatch(text):
        return f"{match[1]}-{int(match[2]):02}-{int(match[3]):02}"
    return text


def is_day(text: str) -> bool:
    """Whether a text is written as a day, whichever day it may be."""
    plain = plain_date(text.strip())
    return bool(DAY_PARTS.fullmatch(plain) or ISO_DAY.fullmatch(plain))


def orders_seen(cells: Iterable[Cell]) -> tuple[int, int, int]:
    """How many dates can only be day first, only month first, and how many could be either."""
    day = month = either = 0
    for cell in cells:
        parts = DAY_PARTS.fullmatch(plain_date(cell.text.strip()))
        if cell.kind is not Kind.TEXT or not parts:
            continue
        first, second = int(parts[1]), int(parts[3])
        if first > 12 >= second:
            day += 1
        elif second > 12 >= first:
            month += 1
        elif first != second and first <= 12:  # both above 12: a slip, no day in any order
            either += 1
    return day, month, either


def perhaps_swapped(cells: Iterable[Cell]) -> bool:
    """Whether a spreadsheet seems to have taken some day-first dates for month-first ones.

    Then texts are left only where the first number is above 12, and no real date has a day above 12.
    """
    real = [cell.text for cell in cells if cell.kind is Kind.REAL and re.match(r"\d{4}-\d{2}-\d{2}", cell.text)]
    day, month, either = orders_seen(cells)
    return len(real) >= 3 and bool(day or month) and not either and all(int(text[8:10]) <= 12 for text in real)
