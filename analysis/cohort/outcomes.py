"""The outcome gate: what became of each job, decided in one place.

The definitions are fixed (``DEFINITIONS``) and printed in every report that uses them.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from analysis.cohort.chains import chains
from analysis.cohort.ledger import Ledger, start_ledger
from analysis.records.log import Log

SUCCESS_RESULTS = ("data_readable", "starts_locked")

DEFINITIONS = {
    "first-boot success": (
        "Boot test 1 ends with readable data or a locked start. A job closed as not recovered without any boot test"
        " is a failure. It belongs to the month of boot test 1; a loss before any test belongs to the month of"
        " closing. Left out and counted: declined, withdrawn, open without a test, stopped by the client before"
        " work, later jobs on the same board (a chain counts once). Jobs stopped untested after work began are shown as"
        " both bounds."
    ),
    "recovered": (
        "The data were readable in some boot test and the job was closed as recovered. Partly readable data alone"
        " is not recovered and is printed apart; a job that starts locked at closing is neither. Of all accepted"
        " closed jobs, those stopped by the client included; the rate without the stopped stands beside it."
    ),
}


class FirstBoot(StrEnum):
    """What boot test 1 says of a job, or why it says nothing."""

    SUCCESS = "success"
    FAILURE = "failure"
    DECLINED = "declined"
    WITHDRAWN = "withdrawn"
    REPEAT = "later job on the same board (a chain counts once)"
    OPEN = "open without a boot test"
    STOPPED_BEFORE = "stopped by the client before work"
    STOPPED_AFTER = "stopped by the client after work began, without a boot test"
    UNCLEAR = "closed as recovered, but no boot test is recorded"


class Ending(StrEnum):
    """How an accepted job (a chain taken together) stands."""

    RECOVERED = "recovered"
    NOT_RECOVERED = "not recovered"
    PARTIAL = "not recovered, part of the data read"
    LOCKED = "boots, locked"
    STOPPED = "stopped by the client"
    OPEN = "open"
    NOT_ACCEPTED = "not accepted"
    REPEAT = "counted with its first job"


def _last_result(tests: pd.DataFrame) -> pd.Series:
    ordered = tests.sort_values(["job_id", "test_no"], kind="stable")
    return ordered.groupby("job_id", observed=True)["boot_result"].last().astype(object)


def _had(tests: pd.DataFrame, result: str) -> set[str]:
    return set(tests.loc[tests["boot_result"].eq(result), "job_id"])


def _first_test(log: Log) -> pd.DataFrame:
    """Result and date of boot test 1 for every job of the log, from either table."""
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    first = tests.loc[tests["test_no"].eq(1)].drop_duplicates("job_id").set_index("job_id")
    result = jobs["job_id"].map(first["boot_result"].astype(object))
    typed = jobs["first_boot_result"].astype(object)
    result = result.where(result.notna(), typed.where(typed.ne("not_tested")))
    return pd.DataFrame({"result": result, "date": jobs["job_id"].map(first["test_date"])})


def _worked_on(log: Log) -> pd.Series:
    """Whether any work is recorded: a heat step, a side, or bench hours."""
    jobs = log.tables["jobs"]
    noted = [jobs["job_id"].isin(log.tables[name]["job_id"]) for name in ("heat_steps", "chip_sides")]
    return noted[0] | noted[1] | jobs["bench_hours"].gt(0)


def _first_boot_status(log: Log, repeat: pd.Series, first: pd.DataFrame) -> pd.Series:
    jobs = log.tables["jobs"]
    closed = jobs["closed_date"].notna() | jobs["outcome"].notna()
    worked = _worked_on(log)
    conditions = [
        jobs["decision"].eq("declined"),
        jobs["decision"].eq("withdrawn"),
        repeat,
        first["result"].isin(SUCCESS_RESULTS),
        first["result"].notna(),
        ~closed,
        jobs["outcome"].eq("not_recovered"),
        jobs["outcome"].eq("stopped_by_client") & ~worked,
        jobs["outcome"].eq("stopped_by_client"),
    ]
    status = [
        FirstBoot.DECLINED,
        FirstBoot.WITHDRAWN,
        FirstBoot.REPEAT,
        FirstBoot.SUCCESS,
        FirstBoot.FAILURE,
        FirstBoot.OPEN,
        FirstBoot.FAILURE,
        FirstBoot.STOPPED_BEFORE,
        FirstBoot.STOPPED_AFTER,
    ]
    flags = [np.asarray(condition.fillna(False), dtype=bool) for condition in conditions]
    chosen = np.select(flags, [str(s) for s in status], default=str(FirstBoot.UNCLEAR))
    return pd.Series(chosen, index=jobs.index, dtype=object)


def _idle(log: Log, first: pd.DataFrame) -> pd.Series:
    """Jobs stopped by the client before any work or test."""
    stopped = log.tables["jobs"]["outcome"].eq("stopped_by_client").fillna(False)
    return (stopped & ~_worked_on(log) & first["result"].isna()).astype(bool)


def _endings(log: Log, chain: pd.DataFrame, repeat: pd.Series) -> pd.Series:
    """Ending of each chain, written on its root."""
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    tested = set(tests["job_id"])
    readable = jobs["job_id"].isin(_had(tests, "data_readable")) | ~jobs["job_id"].isin(tested)
    recovered = jobs["outcome"].eq("recovered") & readable
    last = jobs["job_id"].map(_last_result(tests))
    last = last.where(last.notna(), jobs["first_boot_result"].astype(object))
    partial = jobs["job_id"].isin(_had(tests, "data_partial")) | jobs["first_boot_result"].eq("data_partial")
    conditions = [
        jobs["outcome"].isna() & jobs["closed_date"].isna(),
        recovered,
        jobs["outcome"].eq("stopped_by_client"),
        last.eq("starts_locked"),
        partial,
    ]
    endings = [Ending.OPEN, Ending.RECOVERED, Ending.STOPPED, Ending.LOCKED, Ending.PARTIAL]
    flags = [np.asarray(condition.fillna(False), dtype=bool) for condition in conditions]
    own = pd.Series(
        np.select(flags, [str(e) for e in endings], default=str(Ending.NOT_RECOVERED)), index=jobs.index, dtype=object
    )
    accepted = jobs["decision"].eq("accepted").fillna(False).to_numpy(bool)
    # A chain ends as its last job ends, except that a recovery anywhere in it stays a recovery.
    tried = chain.assign(own=own)[chain["place"].notna()].sort_values("place", kind="stable")
    final = tried.groupby("root")["own"].last()
    final[tried.loc[tried["own"].eq(Ending.RECOVERED), "root"].unique()] = str(Ending.RECOVERED)
    ending = jobs["job_id"].map(final).astype(object)
    ending = ending.mask(repeat, str(Ending.REPEAT))
    return ending.mask(~accepted, str(Ending.NOT_ACCEPTED))


def job_outcomes(log: Log) -> pd.DataFrame:
    """One row a job: what the fixed definitions make of it.

    Returns
    -------
    DataFrame, shape (n_jobs, 12)
        ``job_id``; ``chain_root`` and ``chain_place`` (see :func:`analysis.cohort.chains.chains`);
        ``first_boot_status`` (a :class:`FirstBoot` value); ``first_boot`` (1.0, 0.0 or NaN); ``first_boot_date`` (the
        date that decides its month) and ``first_boot_month``; ``dated_by_closing`` (a boot test without a date takes
        the month of closing); ``ending`` (an :class:`Ending` value) and ``ended_date`` (closing of the chain's last
        attempt; in a recovered chain of its first recovered one; NaT while open); ``received_month``; ``tests_n``
        (boot tests recorded).
    """
    jobs = log.tables["jobs"]
    first = _first_test(log)
    chain = chains(jobs, _idle(log, first))
    roots = chain["root"]
    repeat = roots.ne(jobs["job_id"]).fillna(False).astype(bool)
    status = _first_boot_status(log, repeat, first)
    value = np.select([status.eq(FirstBoot.SUCCESS), status.eq(FirstBoot.FAILURE)], [1.0, 0.0], default=np.nan)
    date = first["date"].where(first["date"].notna(), jobs["closed_date"]).where(~np.isnan(value))
    tests_n = jobs["job_id"].map(log.tables["boot_tests"]["job_id"].value_counts()).fillna(0).astype(int)
    ending = _endings(log, chain, repeat)
    # A recovered chain ended with its first recovery, whatever came after; an open one has not ended.
    tried = chain["place"].notna()
    closed = jobs["closed_date"].where(tried)
    won = closed.where(jobs["outcome"].eq("recovered").fillna(False)).groupby(roots).transform("min")
    last = closed.groupby(roots).transform("max").where(tried, jobs["closed_date"])
    ended = last.mask(ending.eq(Ending.RECOVERED) & won.notna(), won).where(~repeat & ending.ne(Ending.OPEN))
    return pd.DataFrame(
        {
            "job_id": jobs["job_id"],
            "chain_root": roots,
            "chain_place": chain["place"],
            "first_boot_status": status,
            "first_boot": value,
            "first_boot_date": date,
            "first_boot_month": date.dt.to_period("M"),
            "dated_by_closing": first["result"].notna() & first["date"].isna() & date.notna(),
            "ending": ending,
            "ended_date": ended,
            "received_month": jobs["received_date"].dt.to_period("M"),
            "tests_n": tests_n,
        }
    )


@dataclass(frozen=True)
class FirstBootCount:
    """Successes of n, with the jobs stopped untested after work began as both bounds.

    Parameters
    ----------
    successes, n : int
        First-boot successes and jobs counted.
    stopped_untested : int
        Jobs that could have gone either way.
    ledger : Ledger
        Where all jobs of the log went.
    """

    successes: int
    n: int
    stopped_untested: int
    ledger: Ledger

    @property
    def bounds(self) -> tuple[float, float]:
        """Lowest and highest rate that the untested stopped jobs allow; NaN without jobs."""
        total = self.n + self.stopped_untested
        if not total:
            return (float("nan"), float("nan"))
        return (self.successes / total, (self.successes + self.stopped_untested) / total)


def first_boot_ledger(outcomes: pd.DataFrame, set_aside: int = 0) -> Ledger:
    """Ledger of jobs from the log to those with a first-boot result.

    Parameters
    ----------
    outcomes : DataFrame
        From :func:`job_outcomes`.
    set_aside : int
        Faulty jobs that were set aside whole before.
    """
    counts = outcomes["first_boot_status"].value_counts()
    reasons = [s for s in FirstBoot if s not in (FirstBoot.SUCCESS, FirstBoot.FAILURE)]
    ledger = start_ledger("jobs", len(outcomes) + set_aside)
    return ledger.then(
        ("set aside: the check found a fault", set_aside),
        *((str(reason), int(counts.get(str(reason), 0))) for reason in reasons),
    )


def count_first_boots(outcomes: pd.DataFrame, set_aside: int = 0) -> FirstBootCount:
    """Count first-boot successes over all rows given."""
    ledger = first_boot_ledger(outcomes, set_aside)
    successes = int(outcomes["first_boot"].eq(1).sum())
    stopped = int(outcomes["first_boot_status"].eq(FirstBoot.STOPPED_AFTER).sum())
    return FirstBootCount(successes, int(outcomes["first_boot"].notna().sum()), stopped, ledger)
