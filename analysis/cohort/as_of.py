"""A log as it stood at the end of a day, so that a review of a past month sees nothing that came later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.records.log import Log

_KNOWN_AT_CLOSE = ("outcome", "closed_date", "first_boot_result", "failure_cause", "cause_evidence", "loss_reversible")


def as_of(log: Log, day: pd.Timestamp) -> Log:
    """Return the log without jobs received, tests made and closings written after a day.

    A job not closed by then is open; its bench hours are those of its last test by then, and what of it carries no date
    is not known yet. Work for a test that had not been made goes as well, except for the next one to come. This holds
    for the last day of the log too, so that the review of a month says the same whenever it is made.
    """
    end = day.normalize() + pd.Timedelta(days=1)
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    jobs = jobs[~jobs["received_date"].ge(end)].reset_index(drop=True)
    # A test without a date is known to have been made only once its job was closed.
    closed = set(jobs.loc[jobs["closed_date"].lt(end).fillna(False), "job_id"])
    made = tests["test_date"].lt(end) | (tests["test_date"].isna() & tests["job_id"].isin(closed))
    tests = tests[made & tests["job_id"].isin(jobs["job_id"])].reset_index(drop=True)
    by_now = jobs["job_id"].isin(closed).to_numpy(bool)
    jobs = jobs.copy()
    for column in _KNOWN_AT_CLOSE:
        jobs[column] = jobs[column].mask(~by_now)
    so_far = jobs["job_id"].map(tests.groupby("job_id")["bench_hours_so_far"].max()).to_numpy(float)
    jobs["bench_hours"] = np.where(by_now, jobs["bench_hours"].to_numpy(float), so_far)
    reached = tests.groupby("job_id")["test_no"].max().astype(float)
    tables = dict(log.tables) | {"jobs": jobs, "boot_tests": tests}
    for name in ("chip_sides", "heat_steps"):
        work = log.tables[name]
        most = work["job_id"].map(reached).fillna(0).to_numpy(float) + 1
        before = work["before_test_no"].astype("Float64").to_numpy(float, na_value=1.0)
        tables[name] = work[work["job_id"].isin(jobs["job_id"]) & (before <= most)].reset_index(drop=True)
    # Work without a test's number on a job that has several by now cannot be placed, then as little as now.
    several = log.tables["boot_tests"]["job_id"].value_counts()
    return replace(log, tables=tables, several_tests=frozenset(several.index[several > 1]) | log.several_tests)


def set_aside_by(log: Log, day: pd.Timestamp) -> Log:
    """Return the log with the jobs set aside for faults counted up to a day; those without a usable date stay."""
    rows = log.rows_set_aside
    later = rows["received_date"].ge(day.normalize() + pd.Timedelta(days=1)).fillna(False).to_numpy(bool)
    return replace(log, jobs_set_aside=log.jobs_set_aside - int(later.sum()), rows_set_aside=rows[~later])
