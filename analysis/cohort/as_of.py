"""A log as it stood at the end of a day, so that a review of a past month sees nothing that came later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.records.log import Log

_KNOWN_AT_CLOSE = ("outcome", "closed_date", "first_boot_result", "failure_cause", "cause_evidence", "loss_reversible")


def as_of(log: Log, day: pd.Timestamp) -> Log:
    """Return the log without jobs received, tests made and closings written after a day.

    A job closed later is open; its bench hours are those of its last test by then. Work for a test that had not been
    made goes as well, except for the next one to come.
    """
    end = day.normalize() + pd.Timedelta(days=1)
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    if pd.isna(log.last_date) or log.last_date < end:
        return log
    jobs = jobs[~jobs["received_date"].ge(end)].reset_index(drop=True)
    tests = tests[~tests["test_date"].ge(end) & tests["job_id"].isin(jobs["job_id"])].reset_index(drop=True)
    later = jobs["closed_date"].ge(end).fillna(False).to_numpy(bool)
    jobs = jobs.copy()
    for column in _KNOWN_AT_CLOSE:
        jobs[column] = jobs[column].mask(later)
    so_far = jobs["job_id"].map(tests.groupby("job_id")["bench_hours_so_far"].max()).to_numpy(float)
    jobs["bench_hours"] = np.where(later, so_far, jobs["bench_hours"].to_numpy(float))
    reached = tests.groupby("job_id")["test_no"].max().astype(float)
    tables = dict(log.tables) | {"jobs": jobs, "boot_tests": tests}
    for name in ("chip_sides", "heat_steps"):
        work = log.tables[name]
        most = work["job_id"].map(reached).fillna(0).to_numpy(float) + 1
        before = work["before_test_no"].astype("Float64").to_numpy(float, na_value=1.0)
        tables[name] = work[work["job_id"].isin(jobs["job_id"]) & (before <= most)].reset_index(drop=True)
    return replace(log, tables=tables)
