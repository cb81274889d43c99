"""The default month: the log's own dates, and the day of the run where the log is kept up."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import ReworkError
from analysis.questions.period import latest_complete_month, month_for, parse_month
from tests.tables import job, log_of


def _log(*days):
    return log_of(jobs=[job(f"J{k}", received_date=day) for k, day in enumerate(days)])


@pytest.mark.parametrize(
    ("days", "today", "month"),
    [
        # A month whose last day was a Sunday: over by the day of the run, not yet by the log alone.
        (("2026-04-02", "2026-05-29"), None, "2026-04"),
        (("2026-04-02", "2026-05-29"), dt.date(2026, 6, 1), "2026-05"),
        (("2026-04-02", "2026-05-29"), dt.date(2026, 6, 30), "2026-05"),
        # Still running.
        (("2026-04-02", "2026-05-29"), dt.date(2026, 5, 31), "2026-04"),
        # A log that ended longer ago is not kept up: its last days may be a fraction of a month.
        (("2026-04-02", "2026-05-02"), dt.date(2026, 8, 3), "2026-04"),
        # An entry after the month says itself that the month is over.
        (("2026-05-29", "2026-06-01"), None, "2026-05"),
        (("2026-05-29", "2026-06-01"), dt.date(2026, 6, 1), "2026-05"),
        # Over the turn of the year.
        (("2025-11-03", "2025-12-19"), dt.date(2026, 1, 2), "2025-12"),
        # A first month is all there is.
        (("2026-05-29",), dt.date(2026, 5, 30), "2026-05"),
    ],
)
def test_the_latest_complete_month(days, today, month):
    log = _log(*days)
    assert latest_complete_month(log, today) == pd.Period(month)
    assert month_for(log, "", today) == pd.Period(month)


def test_a_month_asked_for_is_taken_whatever_the_day():
    assert month_for(_log("2026-04-02", "2026-05-29"), "2026-05", dt.date(2026, 5, 30)) == pd.Period("2026-05")


def test_a_log_without_any_date_names_its_folder():
    with pytest.raises(ReworkError, match="no job with a date") as told:
        latest_complete_month(replace(log_of(), folder=Path("log-of-the-bench")))
    assert "log-of-the-bench" in str(told.value)


@pytest.mark.parametrize("month", ["2026-03", "2026-06"])
def test_a_month_outside_the_log_is_refused_with_its_bounds(month):
    log = replace(_log("2026-04-02", "2026-05-29"), folder=Path("log-of-the-bench"))
    with pytest.raises(ReworkError) as told:
        month_for(log, month)
    assert str(told.value) == (
        f"log-of-the-bench: The log holds nothing for {month}.\n  Rule: It runs from 2026-04 to 2026-05.\n"
        "  What to do: Choose a month in between, or leave --month away for the latest complete one."
    )


@pytest.mark.parametrize("text", ["2026-5", "May 2026", "2026-13", "2026-05-01"])
def test_what_is_no_month_is_refused_with_an_example(text):
    with pytest.raises(ReworkError) as told:
        parse_month(text)
    assert str(told.value) == (
        f"'{text}' is not a month.\n  Rule: A month is written YYYY-MM.\n  What to do: Write for example 2024-09."
    )
