"""Dates as people and spreadsheets write them; only what can mean one day is accepted.

ISO 8601 calendar dates (YYYY-MM-DD) are the rule.
"""

from __future__ import annotations

import datetime as dt
import re

from analysis.records.readings import Bad, Read, Reading

RULE = "a date written YYYY-MM-DD, not in the future"
EARLIEST = dt.date(2000, 1, 1)
ISO_DAY = re.compile(r"(?a)(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]00:00(?::00(?:\.0+)?)?)?")
DAY_PARTS = re.compile(r"(?a)(\d{1,2})([./-])(\d{1,2})\2(\d{4})")  # day and month in either order, then the year
_SERIAL = re.compile(r"(?a)[34]\d{4}(?:\.0)?")


def _bad(rule: str, todo: str) -> Bad:
    return Bad(rule, todo, "date")


def _date(year: int, month: int, day: int, today: dt.date, note: str) -> Reading:
    try:
        value = dt.date(year, month, day)
    except ValueError:
        return _bad("a day that exists", "Write the day as YYYY-MM-DD.")
    if value > today:
        return Bad(
            "a date that is not in the future", "Look for a mistyped year, or mend the computer's clock.", "future"
        )
    if value < EARLIEST:
        return _bad("a date from 2000 on", "Look for a mistyped year.")
    return Read(value, note)


def read_date(text: str, order: str, today: dt.date) -> Reading:
    """Read one date.

    Parameters
    ----------
    text : str
        The cell, without outer spaces.
    order : str
        "day_first", "month_first" or "" (ambiguous dates are refused).
    today : date
        Later dates are refused.
    """
    if iso := ISO_DAY.fullmatch(text):
        note = "" if re.fullmatch(r"(?a)\d{4}-\d{2}-\d{2}", text) else "dates written unlike YYYY-MM-DD"
        return _date(int(iso[1]), int(iso[2]), int(iso[3]), today, note)
    if parts := DAY_PARTS.fullmatch(text):
        first, second, year = int(parts[1]), int(parts[3]), int(parts[4])
        if first > 12 or order == "day_first":
            return _date(year, second, first, today, "dates written day first")
        if second > 12 or order == "month_first":
            return _date(year, first, second, today, "dates written month first")
        if first == second:
            return _date(year, first, second, today, "dates written unlike YYYY-MM-DD")
        reason = "a date that can mean one day only: this may be day/month or month/day"
        return _bad(reason, "Write it as YYYY-MM-DD, or set date_order in bench.toml.")
    if _SERIAL.fullmatch(text):
        day = dt.date(1899, 12, 30) + dt.timedelta(days=int(float(text)))
        return _bad(RULE, f"A spreadsheet's day number? It would be {day}. Write the date as YYYY-MM-DD.")
    return _bad(RULE, "Write it as YYYY-MM-DD, for example 2025-03-14.")
