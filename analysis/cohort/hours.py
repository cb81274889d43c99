"""Bench hours to the first success: the one place where (time, event) pairs are made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.ledger import Ledger, start_ledger
from analysis.cohort.outcomes import SUCCESS_RESULTS, Ending, FirstBoot, job_outcomes
from analysis.records.log import Log

CENSORED, SUCCESS, CLOSED_WITHOUT = 0, 1, 2


@dataclass(frozen=True)
class Lacking:
    """Jobs that ended, and how many of them lack the hours of their end.

    Parameters
    ----------
    booted, of_booted : int
        Jobs with a success that lack its hours, and all with a success.
    closed, of_closed : int
        The same of jobs that ended without one.
    """

    booted: int
    of_booted: int
    closed: int
    of_closed: int

    @property
    def too_many(self) -> bool:
        """Whether over a tenth of either end lacks its hours, so that a curve would count the other nearly alone.

        The share is common practice, no source.
        """
        return 10 * self.booted > self.of_booted or 10 * self.closed > self.of_closed


def lacking(event: pd.Series, known: pd.Series) -> Lacking:
    """Count the ends of either kind whose hours are not known.

    Parameters
    ----------
    event : Series of int
        0 still open, 1 first success, 2 ended without.
    known : Series of bool
        Whether the hours are.
    """
    won, closed = event.eq(SUCCESS), event.eq(CLOSED_WITHOUT)
    return Lacking(int((won & ~known).sum()), int(won.sum()), int((closed & ~known).sum()), int(closed.sum()))


@dataclass(frozen=True)
class HoursToSuccess:
    """Timed outcomes of accepted jobs.

    Parameters
    ----------
    everyone : DataFrame
        All accepted jobs with bench work: ``job_id``, ``hours`` (bench hours; NaN where not recorded), ``event`` (0
        still open, 1 first success, 2 ended without), ``at_most`` (hours that a success cannot have come after: all
        those of its job; NaN where not recorded).
    ledger : Ledger
        From all jobs of the log to ``rows``.
    lower_limits : int
        Jobs of ``rows`` that ended without a success and whose hours are those of their last boot test, because
        those of the whole job were not recorded.
    """

    everyone: pd.DataFrame
    ledger: Ledger
    lower_limits: int

    @property
    def rows(self) -> pd.DataFrame:
        """The jobs with their hours: ``job_id``, ``hours``, ``event``."""
        known = self.everyone["hours"].notna()
        return self.everyone.loc[known, ["job_id", "hours", "event"]].reset_index(drop=True)

    @property
    def lacking(self) -> Lacking:
        """How many of the jobs that ended lack the hours of their end."""
        return lacking(self.everyone["event"], self.everyone["hours"].notna())


def hours_to_success(log: Log) -> HoursToSuccess:
    """Time every accepted job by bench hours at its first success, or at its end without one.

    Success takes ``bench_hours_so_far`` of the first successful test. A job that ended without (closed, or lost for
    good) takes its ``bench_hours``, or else the hours of its last test, which are a lower limit; an open one is
    censored at the last hours known. Jobs without the hours they need are counted.
    """
    jobs = log.tables["jobs"].reset_index(drop=True)
    tests = log.tables["boot_tests"].sort_values(["job_id", "test_no"], kind="stable")
    outcomes = job_outcomes(log).reset_index(drop=True)
    won = tests[tests["boot_result"].isin(SUCCESS_RESULTS)].drop_duplicates("job_id").set_index("job_id")
    at_success = jobs["job_id"].map(won["bench_hours_so_far"]).to_numpy(float)
    at_test = jobs["job_id"].map(tests.groupby("job_id")["bench_hours_so_far"].max()).to_numpy(float)
    total = jobs["bench_hours"].to_numpy(float)
    success = (
        jobs["job_id"].isin(won.index) | outcomes["first_boot"].eq(1) | jobs["outcome"].eq("recovered").fillna(False)
    )
    lost = jobs["loss_reversible"].eq(False).fillna(False).astype(bool)
    closed = (jobs["closed_date"].notna() | jobs["outcome"].notna() | lost) & ~success
    at_end = np.where(np.isnan(total), at_test, total)
    hours = np.select([success, closed], [at_success, at_end], default=np.fmax(total, at_test))
    event = np.select([success, closed], [SUCCESS, CLOSED_WITHOUT], default=CENSORED)
    repeat = outcomes["first_boot_status"].eq(FirstBoot.REPEAT)
    declined = outcomes["ending"].eq(Ending.NOT_ACCEPTED) & ~repeat
    before = outcomes["first_boot_status"].eq(FirstBoot.STOPPED_BEFORE)
    worked = ~(repeat | declined | before)
    blank = np.isnan(hours) & worked
    ledger = start_ledger("jobs", len(jobs) + log.jobs_set_aside).then(
        ("set aside: the check found a fault", log.jobs_set_aside),
        ("declined or withdrawn", int(declined.sum())),
        ("later job on the same board (a chain counts once)", int(repeat.sum())),
        ("stopped by the client before work", int(before.sum())),
        ("succeeded, hours at the success not recorded", int((blank & success).sum())),
        ("closed without success, hours not recorded", int((blank & closed).sum())),
        ("open, hours by then not recorded", int((blank & ~success & ~closed).sum())),
    )
    everyone = pd.DataFrame({"job_id": jobs["job_id"], "hours": hours, "event": event, "at_most": total})
    lower = worked & closed & np.isnan(total) & ~np.isnan(at_test)
    return HoursToSuccess(everyone[worked.to_numpy()].reset_index(drop=True), ledger, int(lower.sum()))
