"""Which month is looked at."""

from __future__ import annotations

import datetime as dt
import re

import pandas as pd

from analysis.errors import ReworkError
from analysis.records.log import Log


def latest_complete_month(log: Log, today: dt.date | None = None) -> pd.Period:
    """Return the latest month that is over and has entries; in a log's first month, that one.

    A month is over once the log holds an entry of its last day or of a later one. The calendar month before the run's
    date is over too if the log's last entry lies in it: a bench need not work on the last day of a month. (A log that
    ended longer ago is not kept up any more, and its last month may hold a few days only.) A single late entry does
    not make the months before it empty reviews: of the months that are over, the latest in which a job was received,
    tested or closed is taken.

    Parameters
    ----------
    log : Log
        The log.
    today : date, optional
        Day of the run; without it only the log's own dates count.

    Raises
    ------
    ReworkError
        If the log holds no date at all.
    """
    last = log.last_date
    if pd.isna(last):
        raise ReworkError(
            "The log holds no job with a date yet.",
            rule="A review needs at least one job with a received_date.",
            todo="Enter the first job in jobs.csv and run 'rework check' on the folder.",
            where=str(log.folder),
        )
    month = last.to_period("M")
    just_over = today is not None and month == pd.Period(today, freq="M") - 1
    complete = month if just_over or last.normalize() == month.end_time.normalize() else month - 1
    months = _months_with_entries(log)
    ended = months[months <= complete]
    return ended.max() if len(ended) else months.min()


def _months_with_entries(log: Log) -> pd.PeriodIndex:
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    dates = pd.concat([jobs["received_date"], jobs["closed_date"], tests["test_date"]]).dropna()
    return pd.PeriodIndex(dates.dt.to_period("M").unique())


def parse_month(text: str) -> pd.Period:
    """Read a month written YYYY-MM.

    Raises
    ------
    ReworkError
        If it is written otherwise.
    """
    if not re.fullmatch(r"\d{4}-(0[1-9]|1[0-2])", text.strip()):
        raise ReworkError(
            f"'{text}' is not a month.", rule="A month is written YYYY-MM.", todo="Write for example 2024-09."
        )
    return pd.Period(text.strip(), freq="M")


def month_for(log: Log, text: str = "", today: dt.date | None = None) -> pd.Period:
    """Return the month asked for, or the latest complete one when none is named.

    Parameters
    ----------
    log : Log
        The log.
    text : str
        YYYY-MM, or empty.
    today : date, optional
        Day of the run (see :func:`latest_complete_month`).

    Raises
    ------
    ReworkError
        If the month lies outside the log.
    """
    if not text:
        return latest_complete_month(log, today)
    month = parse_month(text)
    received = log.tables["jobs"]["received_date"].dropna()
    if received.empty:
        return latest_complete_month(log, today)  # says that the log holds no date
    first, last = received.min().to_period("M"), log.last_date.to_period("M")
    if not first <= month <= last:
        raise ReworkError(
            f"The log holds nothing for {month}.",
            rule=f"It runs from {first} to {last}.",
            todo="Choose a month in between, or leave --month away for the latest complete one.",
            where=str(log.folder),
        )
    return month


def month_name(month: pd.Period) -> str:
    """Write a month in words: "September 2024"."""
    return str(month.strftime("%B %Y"))
