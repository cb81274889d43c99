"""Forms of a date in ISO 8601: which are read, which refused, beside Python's own reader.

Source of the forms: ISO 8601-1:2019, calendar, week and ordinal dates; the paid standard was not read, the forms are
from memory. Read: the extended calendar date YYYY-MM-DD, also with a time of midnight as spreadsheets write it. All
others are refused by name, since in a column typed by hand they are likelier mistakes.
"""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.dates import EARLIEST, read_date
from analysis.records.readings import Bad, Read

TODAY = dt.date(2026, 6, 30)

READ = {
    "extended calendar date": ("2024-03-02", dt.date(2024, 3, 2)),
    "leap day of a leap year": ("2024-02-29", dt.date(2024, 2, 29)),
    "leap day of a century divisible by 400": ("2000-02-29", dt.date(2000, 2, 29)),
    "with midnight, T": ("2024-03-02T00:00:00", dt.date(2024, 3, 2)),
    "with midnight, space": ("2024-03-02 00:00", dt.date(2024, 3, 2)),
}
REFUSED = {
    "basic calendar date": "20240302",
    "week date, extended": "2024-W09-6",
    "week date, basic": "2024W096",
    "ordinal date, extended": "2024-062",
    "ordinal date, basic": "2024062",
    "month only": "2024-03",
    "year only": "2024",
    "year 0000": "0000-01-01",
    "expanded year": "+002024-03-02",
    "leap day of a common year": "2023-02-29",
    "leap day of a century not divisible by 400": "1900-02-29",
    "month 13": "2024-13-01",
    "day 32": "2024-03-32",
    "hour 24": "2024-03-02T24:00:00",
    "a time of the day": "2024-03-02T14:05:00",
    "an interval": "2024-03-02/2024-03-05",
    "two-digit year": "24-03-02",
    "in the future": "2026-07-01",
}


@pytest.mark.parametrize("form", READ)
def test_forms_that_are_read(form):
    text, day = READ[form]
    reading = read_date(text, "", TODAY)
    assert isinstance(reading, Read)
    assert (reading.value, bool(reading.note)) == (day, len(text) > 10), "a time of day is noted"
    assert dt.datetime.fromisoformat(text).date() == day, "Python's own reader"


@pytest.mark.parametrize("form", REFUSED)
@pytest.mark.parametrize("order", ["", "day_first", "month_first"])
def test_forms_that_are_refused_in_words(form, order):
    reading = read_date(REFUSED[form], order, TODAY)
    assert isinstance(reading, Bad)
    assert reading.todo


@given(st.dates(min_value=EARLIEST, max_value=TODAY))
def test_every_day_is_read_as_python_reads_it(day):
    assert read_date(day.isoformat(), "", TODAY) == Read(dt.date.fromisoformat(day.isoformat()), "")


@given(st.integers(2000, 2026), st.integers(0, 14), st.integers(0, 33))
def test_a_day_that_does_not_exist_is_refused_exactly_where_python_refuses_it(year, month, day):
    text = f"{year}-{month:02d}-{day:02d}"
    try:
        exists = dt.date.fromisoformat(text) <= TODAY
    except ValueError:
        exists = False
    assert isinstance(read_date(text, "", TODAY), Read) == exists
