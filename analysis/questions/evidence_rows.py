"""The log as the sheet for clients counts it: one row a job as it stood on a day, with the facts that are counted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.cohort.as_of import as_of
from analysis.cohort.features import Cohort, build_cohort
from analysis.cohort.outcomes import Ending, FirstBoot
from analysis.records.hiding import PERSONAL
from analysis.records.log import Log

NOT_RECORDED = "not_recorded"
FOUND_LOST = ("chip_dead_on_arrival", "original_damage")  # causes that were there before the bench began
OPEN_APART = (Ending.NOT_ACCEPTED, Ending.REPEAT)


def counted_log(read: Log) -> Log:
    """A log without its faulty jobs, as the sheet counts it.

    Codes that read like a client's are left as they are: none of them is shown, only hashed, and the stand-ins that
    other reports show change from log to log.
    """
    return replace(read, problems=tuple(p for p in read.problems if p.code != PERSONAL)).without_faulty_jobs()


def _without_undated(log: Log, until: pd.Timestamp) -> Log:
    """The log without results of open jobs that carry no date.

    Nobody can say whether they stood there on the day, so that counting them would make a recount depend on what was
    entered since.
    """
    jobs, tests = log.tables["jobs"].copy(), log.tables["boot_tests"]
    closed = jobs["closed_date"].le(until).fillna(False).astype(bool)
    jobs["first_boot_result"] = jobs["first_boot_result"].mask(~closed)
    kept = tests["test_date"].notna() | tests["job_id"].isin(jobs.loc[closed, "job_id"])
    return replace(log, tables=dict(log.tables) | {"jobs": jobs, "boot_tests": tests[kept].reset_index(drop=True)})


def sheet_rows(log: Log, until: pd.Timestamp) -> tuple[Cohort, pd.DataFrame]:
    """One row a job of the log as it stood, with the facts that the sheet counts.

    Returns
    -------
    Cohort
        Of the log as it stood.
    DataFrame
        Its jobs with ``accepted`` and ``closed`` (flags; a chain on its first job), ``lost`` (of closed jobs: "no",
        "yes", "on_arrival"; "not_recorded" where work brought no recovery and nobody wrote it), ``after_recovery`` (a
        repeat on a board already recovered), ``fee`` and ``days`` (from receipt to closing, or to ``until`` while open;
        NaN where no closing is dated).
    """
    cohort = build_cohort(as_of(_without_undated(log, until), until))
    rows = cohort.jobs.copy()
    rows["accepted"] = ~rows["ending"].isin(OPEN_APART)
    rows["closed"] = rows["accepted"] & rows["ending"].ne(Ending.OPEN)
    rows["lost"] = _lost(rows)
    won = rows[rows["ending"].eq(Ending.RECOVERED)].set_index("job_id")["ended_date"]
    again = rows["ending"].eq(Ending.REPEAT)
    rows["after_recovery"] = again & rows["received_date"].ge(rows["chain_root"].map(won)).fillna(False)
    fee = rows["job_id"].map(log.tables["jobs"].set_index("job_id")["fee_basis"].astype(object))
    rows["fee"] = fee.where(fee.notna(), NOT_RECORDED)
    end = rows["ended_date"].where(rows["closed"], until)
    rows["days"] = (end - rows["received_date"]).dt.days.where(rows["accepted"])
    return replace(cohort, jobs=rows), rows


def _lost(rows: pd.DataFrame) -> np.ndarray:
    """Whether the data of each closed job are lost for good, as far as anybody wrote it."""
    unrecovered = rows["ending"].ne(Ending.RECOVERED).to_numpy(bool)
    lost = unrecovered & rows["loss_reversible"].eq(False).fillna(False).to_numpy(bool)
    found = rows["failure_cause"].isin(FOUND_LOST).to_numpy(bool)
    worked = rows["first_boot_status"].ne(FirstBoot.STOPPED_BEFORE).to_numpy(bool)
    unknown = unrecovered & worked & rows["loss_reversible"].isna().to_numpy(bool)
    cases = [~rows["closed"].to_numpy(bool), lost & found, lost, unknown]
    return np.select(cases, ["", "on_arrival", "yes", "not_recorded"], default="no")
