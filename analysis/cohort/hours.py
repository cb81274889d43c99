"""Bench hours to the first success: the one place where (time, event) pairs are made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.ledger import Ledger, start_ledger
from analysis.cohort.outcomes import SUCCESS_RESULTS, Ending, FirstBoot, job_outcomes
from analysis.records.log import Log

CENSORED, SUCCESS, CLOSED_WITHOUT = 0, 1, 2
HOURS_LACKING = "succeeded, hours at the success not recorded"


@dataclass(frozen=True)
class HoursToSuccess:
    """Timed outcomes of accepted jobs.

    Parameters
    ----------
    rows : DataFrame
        ``job_id``, ``hours`` (bench hours), ``event`` (0 still open, 1 first success, 2 closed without).
    ledger : Ledger
        From all jobs of the log to ``rows``.
    """

    rows: pd.DataFrame
    ledger: Ledger

    @property
    def lopsided(self) -> bool:
        """Whether over a tenth of the successes lack their hours, so that a curve would count failures nearly alone.

        The share is common practice, no source.
        """
        lost = dict(self.ledger.exclusions).get(HOURS_LACKING, 0)
        return bool(10 * lost > lost + int(self.rows["event"].eq(SUCCESS).sum()))


def hours_to_success(log: Log) -> HoursToSuccess:
    """Time every accepted job by bench hours at its first success, or at its end without one.

    Success takes ``bench_hours_so_far`` of the first successful test. A job closed without takes its
    ``bench_hours``; an open one is censored at the last hours known. Jobs without the hours they need are left
    out and counted.
    """
    jobs = log.tables["jobs"].reset_index(drop=True)
    tests = log.tables["boot_tests"].sort_values(["job_id", "test_no"], kind="stable")
    outcomes = job_outcomes(log).reset_index(drop=True)
    won = tests[tests["boot_result"].isin(SUCCESS_RESULTS)].drop_duplicates("job_id").set_index("job_id")
    at_success = jobs["job_id"].map(won["bench_hours_so_far"]).to_numpy(float)
    last = tests.groupby("job_id")["bench_hours_so_far"].max()
    last_known = np.fmax(jobs["bench_hours"].to_numpy(float), jobs["job_id"].map(last).to_numpy(float))
    success = (
        jobs["job_id"].isin(won.index) | outcomes["first_boot"].eq(1) | jobs["outcome"].eq("recovered").fillna(False)
    )
    closed = (jobs["closed_date"].notna() | jobs["outcome"].notna()) & ~success
    hours = np.select([success, closed], [at_success, jobs["bench_hours"].to_numpy(float)], default=last_known)
    event = np.select([success, closed], [SUCCESS, CLOSED_WITHOUT], default=CENSORED)
    repeat = outcomes["first_boot_status"].eq(FirstBoot.REPEAT)
    declined = outcomes["ending"].eq(Ending.NOT_ACCEPTED) & ~repeat
    before = outcomes["first_boot_status"].eq(FirstBoot.STOPPED_BEFORE)
    blank = np.isnan(hours) & ~(repeat | declined | before)
    ledger = start_ledger("jobs", len(jobs) + log.jobs_set_aside).then(
        ("set aside: the check found a fault", log.jobs_set_aside),
        ("declined or withdrawn", int(declined.sum())),
        ("later job on the same board (a chain counts once)", int(repeat.sum())),
        ("stopped by the client before work", int(before.sum())),
        (HOURS_LACKING, int((blank & success).sum())),
        ("closed without success, hours not recorded", int((blank & closed).sum())),
        ("open, hours not recorded", int((blank & ~success & ~closed).sum())),
    )
    keep = ~(repeat | declined | before | blank)
    rows = pd.DataFrame({"job_id": jobs["job_id"], "hours": hours, "event": event})[keep.to_numpy()]
    return HoursToSuccess(rows.reset_index(drop=True), ledger)
