"""Whether a log holds anything that technicians or ways of working could be compared on."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.cohort.outcomes import job_outcomes
from analysis.errors import LogError
from analysis.records.log import Log
from analysis.records.once import announced_log


def comparable_log(folder: Path, say: Callable[[str], None]) -> Log:
    """The usable log, its reading announced, if at least one job came to a first boot or was lost before it.

    Raises
    ------
    LogError
        If the log cannot be used, or a page about it would be empty.
    """
    log = announced_log(folder, say)
    if not job_outcomes(log)["first_boot"].notna().any():
        rule = "Ways of working and technicians are compared on first boots. Nothing was written."
        todo = "Enter what boot test 1 of accepted jobs gave, or that there was none, and run 'rework check'."
        raise LogError("the log holds no first boot yet.", rule=rule, todo=todo, where=str(folder))
    return log
