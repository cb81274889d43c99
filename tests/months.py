"""Logs of whole months of jobs, each with a known first boot, for tests of what a review says."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd

from analysis.records.log import Log
from tests.tables import closed, log_of

DAMAGE = ("drop", "liquid")


def days_of(month: str, n: int) -> Iterator[str]:
    """Days spread over the first 25 days of a month."""
    start = pd.Period(month, "M").start_time
    return (f"{start + pd.Timedelta(days=int(25 * k / n)):%Y-%m-%d}" for k in range(n))


class Months:
    """A log that grows job by job, in the order tested; damage alternates unless said otherwise."""

    def __init__(self, **tables: list[dict[str, Any]]) -> None:
        self.tables: dict[str, list[dict[str, Any]]] = {"jobs": [], "boot_tests": [], **tables}

    def add(self, day: str, boots: bool, **values: Any) -> str:
        """One job received on a day, tested the next and closed two days later; its code is given back."""
        jobs = self.tables["jobs"]
        name = f"J{len(jobs) + 1:04d}"
        usual = {"received_date": day, "intake_damage": DAMAGE[len(jobs) % 2], "closed_date": _after(day, 3)}
        jobs.append(closed(name, "recovered" if boots else "not_recovered", **(usual | values)))
        result = "data_readable" if boots else "no_current"
        self.tables["boot_tests"].append(
            {"job_id": name, "test_no": 1, "test_date": _after(day, 1), "boot_result": result}
        )
        return name

    def log(self) -> Log:
        """The log as entered."""
        return log_of(**self.tables)


def _after(day: str, days: int) -> str:
    return f"{pd.Timestamp(day) + pd.Timedelta(days=days):%Y-%m-%d}"
