"""Person-period rows: one a boot test, up to a job's first success."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.donors import donor_features
from analysis.cohort.features import intake_features
from analysis.cohort.ledger import Ledger, start_ledger
from analysis.cohort.outcomes import SUCCESS_RESULTS, Ending, FirstBoot, job_outcomes
from analysis.cohort.work import Undated, work_before
from analysis.records.log import Log

SUCCESS, CONTINUED, LOST, GAVE_UP, OPEN = "success", "continued", "lost for good", "given up", "open"
STOPPED = "stopped by the client"
# Closed jobs of which no more than a failed first result is written down, in jobs.csv.
UNRECORDED, UNRECORDED_BOOT = "later tests not recorded", "recovered at a test not recorded"


@dataclass(frozen=True)
class AtRisk:
    """Boot tests at risk of being the first success, without features.

    Parameters
    ----------
    rows : DataFrame
        ``job_id``, ``test_no``, ``bench_hours_so_far``, ``alone`` (written only in jobs.csv), ``success``, ``then``.
    ledger, lost_before
        As of :class:`Attempts`.
    outcomes : DataFrame
        Of all jobs.
    """

    rows: pd.DataFrame
    ledger: Ledger
    lost_before: int
    outcomes: pd.DataFrame


@dataclass(frozen=True)
class Attempts:
    """Boot tests at risk of being the first success.

    Parameters
    ----------
    rows : DataFrame
        ``job_id``, ``test_no``, ``success`` (0/1), ``then`` (what followed: success, continued, lost for good,
        given up, stopped by the client, open, later tests not recorded, recovered at a test not recorded) and the
        features as known before each test.
    ledger : Ledger
        From all boot tests of the log to ``rows``; a result written only in jobs.csv counts as boot test 1.
    lost_before : int
        Jobs closed as not recovered without any boot test: failures of the first boot that no test stands for.
    undated : Undated
        Work rows left out because they name no boot test.
    """

    rows: pd.DataFrame
    ledger: Ledger
    lost_before: int
    undated: Undated


def _all_tests(log: Log) -> pd.DataFrame:
    """Boot tests, with test 1 of the jobs whose only record of it is ``first_boot_result`` in jobs.csv."""
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    tests = tests[["job_id", "test_no", "boot_result", "bench_hours_so_far", "donor_id"]]
    result = jobs["first_boot_result"].astype(object)
    alone = result.notna() & result.ne("not_tested") & ~jobs["job_id"].isin(tests["job_id"])
    typed = pd.DataFrame({"job_id": jobs["job_id"], "test_no": 1.0, "boot_result": result, "alone": True})[alone]
    both = [tests.assign(alone=False).astype({"test_no": float, "boot_result": object}), typed]
    out = pd.concat([part for part in both if len(part)] or both[:1], ignore_index=True).reindex(
        columns=both[0].columns
    )
    return out.sort_values(["job_id", "test_no"], kind="stable").reset_index(drop=True)


def _what_followed(rows: pd.DataFrame, jobs: pd.DataFrame) -> pd.Series:
    """Classify each test by what came after it.

    A failed first result without rows in boot_tests.csv does not say how many tests were made before the job was
    closed, and so has a kind of its own; but a loss for good ends a job whatever else is written down.
    """
    job = jobs.set_index("job_id").reindex(rows["job_id"])
    last_test = rows.groupby("job_id")["test_no"].transform("max").eq(rows["test_no"]).to_numpy()
    closed = (job["closed_date"].notna() | job["outcome"].notna()).to_numpy()
    lost = job["loss_reversible"].astype("Int64").to_numpy(float, na_value=np.nan) == 0
    recovered, stopped = (
        job["outcome"].astype(object).eq(outcome).to_numpy(bool) for outcome in ("recovered", "stopped_by_client")
    )
    alone = rows["alone"].to_numpy(bool)
    cases = {
        SUCCESS: rows["success"].eq(1).to_numpy(),
        CONTINUED: ~last_test,
        LOST: lost,
        UNRECORDED_BOOT: alone & recovered,
        UNRECORDED: alone & closed,
        STOPPED: closed & stopped,
        GAVE_UP: closed,
    }
    return pd.Series(np.select(list(cases.values()), list(cases), default=OPEN), index=rows.index)


def tests_at_risk(log: Log) -> AtRisk:
    """Lay out the boot tests of accepted jobs.

    Tests after a job's first success are not at risk any more; a later job on the same board has a history the
    first tests of others lack. Both are left out and counted.
    """
    jobs, tests = log.tables["jobs"], _all_tests(log)
    of_jobs = job_outcomes(log)
    outcomes = of_jobs.set_index("job_id").reindex(tests["job_id"]).reset_index()
    success = tests["boot_result"].isin(SUCCESS_RESULTS).astype(float)
    after = success.groupby(tests["job_id"]).cumsum().sub(success).gt(0)
    repeat = outcomes["first_boot_status"].eq(FirstBoot.REPEAT)
    not_accepted = outcomes["ending"].eq(Ending.NOT_ACCEPTED) & ~repeat
    keep = ~(after | repeat | not_accepted)
    ledger = start_ledger("boot tests", len(tests)).then(
        ("job not accepted", int(not_accepted.sum())),
        ("later job on the same board (a chain counts once)", int(repeat.sum())),
        ("after the job's first success", int((after & ~repeat & ~not_accepted).sum())),
    )
    rows = tests.loc[keep, ["job_id", "test_no", "bench_hours_so_far", "alone"]].reset_index(drop=True)
    rows["success"] = success[keep].to_numpy()
    rows["then"] = _what_followed(rows, jobs)
    lost_before = int((of_jobs["first_boot"].eq(0) & ~of_jobs["job_id"].isin(tests["job_id"])).sum())
    return AtRisk(rows, ledger, lost_before, of_jobs)


def build_attempts(log: Log) -> Attempts:
    """The boot tests at risk, each with what was known before it."""
    jobs, found = log.tables["jobs"], tests_at_risk(log)
    rows = found.rows
    work, undated = work_before(log, rows)
    intake = intake_features(jobs).set_index(jobs["job_id"]).reindex(rows["job_id"]).reset_index(drop=True)
    rows = pd.concat([rows, intake, donor_features(log, rows), work], axis=1)
    return Attempts(rows, found.ledger, found.lost_before, undated)
