"""One row a job: outcome and the features each model may see, with their units."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.cohort.donors import donor_features
from analysis.cohort.ledger import Ledger
from analysis.cohort.levels import as_levels
from analysis.cohort.outcomes import first_boot_ledger, job_outcomes
from analysis.cohort.work import Undated, blank_is_no_preheat, work_before
from analysis.records.dictionary import KnownAt, predictors
from analysis.records.log import Log

INTAKE_COLUMNS = predictors("jobs", KnownAt.INTAKE, KnownAt.ASSESSMENT)

# Which declared columns each feature is made of; what a model may see follows from their role and when they are known.
FEATURE_SOURCES: dict[str, tuple[tuple[str, str], ...]] = {
    **{name: (("jobs", name),) for name in INTAKE_COLUMNS},
    "second_damage_seen": (("jobs", "second_damage"),),
    "donor_age_years": tuple(("donors", f"donor_{name}") for name in ("age_years", "age_band", "model_year")),
    "known_good": (("donors", "known_good"),),
    "prior_installs_n": (("donors", "prior_installs_n"),),
    "clean_passes_per_side": (("chip_sides", "clean_passes_n"),),
    "pad_grade_found_worst": (("chip_sides", "pad_grade_found"),),
    "pads_lost_band": (("chip_sides", "pads_lost_n"),),
    "reball_tries_n": (("chip_sides", "reball_tries_n"),),
    "blade_used": (("chip_sides", "blade_used"),),
    "ball_alloy": (("chip_sides", "ball_alloy"),),
    "ball_reset": (("chip_sides", "ball_reset"),),
    "install_set_temp_c": (("heat_steps", "set_temp_c"), ("heat_steps", "station_id")),
    "install_preheat": (("heat_steps", "preheat_c"), ("heat_steps", "step_type")),
    "install_style": (("heat_steps", "set_temp_c"), ("heat_steps", "step_s")),
    "processor_lower_passes": (("chip_sides", "clean_passes_n"),),
    "blade_on_oxidised": (("chip_sides", "blade_used"), ("chip_sides", "pad_grade_found")),
}


@dataclass(frozen=True)
class Cohort:
    """All jobs of a log, one row each, and those with a first-boot result.

    Parameters
    ----------
    jobs : DataFrame
        Every job: outcomes (see :func:`analysis.cohort.outcomes.job_outcomes`), intake facts, donor facts, work
        before boot test 1, ``technician_id``, ``experience_jobs`` (jobs by the same technician received before
        this one), ``guessed_success_pct``, ``bench_hours``, ``chain_hours`` (of all jobs on the same board).
    first_boots : DataFrame
        The rows of ``jobs`` with a first-boot result.
    ledger : Ledger
        From all jobs of the log to ``first_boots``.
    undated : Undated
        Work rows left out because they name no boot test.
    log_hash : str
        Hash of the log.
    blanks_as_cold : bool
        Whether installs without a word on preheat count as cold: an effect of preheat is then never clear.
    share : float
        Of the log's first boots, those in ``first_boots``: less than 1 where :meth:`at_most` took some by lot.
    """

    jobs: pd.DataFrame
    first_boots: pd.DataFrame
    ledger: Ledger
    undated: Undated
    log_hash: str
    blanks_as_cold: bool = False
    share: float = 1.0

    def at_most(self, jobs: int) -> Cohort:
        """The same with so many first boots at most, taken as if by lot: by a hash of the job code.

        What is taken does not depend on the order of rows, and a job once taken stays until enough others come.
        """
        if len(self.first_boots) <= jobs:
            return self
        lot = pd.util.hash_array(self.first_boots["job_id"].to_numpy(object))
        taken = np.sort(np.argsort(lot, kind="stable")[:jobs])
        ledger = self.ledger.then((f"not among the {jobs} taken by lot", len(lot) - jobs))
        kept, share = self.first_boots.iloc[taken].reset_index(drop=True), self.share * jobs / len(lot)
        return replace(self, first_boots=kept, ledger=ledger, share=share)

    def blank_preheats(self, rows: pd.DataFrame) -> int:
        """How many rows of features count as installed cold only because no preheat is noted."""
        return int(rows["install_preheat"].eq(0).sum()) if self.blanks_as_cold else 0


def experience(jobs: pd.DataFrame) -> pd.Series:
    """Count the jobs the same technician accepted before each job, by the log itself.

    Jobs received on the same day do not count for one another. NaN without a technician.
    """
    worked = jobs["technician_id"].notna() & jobs["decision"].eq("accepted")
    out = pd.Series(np.nan, index=jobs.index)
    for _, own in jobs[worked].groupby("technician_id", observed=True):
        days = own["received_date"].to_numpy()
        out.loc[own.index] = np.searchsorted(np.sort(days), days, side="left").astype(float)
    return out


def intake_features(jobs: pd.DataFrame) -> pd.DataFrame:
    """Facts known before work, as declared, plus ``second_damage_seen`` (yes, no).

    A blank second damage means that none was seen, so it is "no" rather than missing.
    """
    out = pd.DataFrame({name: as_levels(jobs[name]) for name in INTAKE_COLUMNS})
    second = jobs["second_damage"].notna() & jobs["second_damage"].ne("none_seen").fillna(False)
    out["second_damage_seen"] = np.where(second, "yes", "no")
    return out


def _told_by_the_last_job(frame: pd.DataFrame) -> pd.DataFrame:
    """Give the first job of a chain the cause, evidence and reversibility of its last, and the hours of all."""
    if not len(frame):
        return frame.assign(chain_hours=frame["bench_hours"])
    accepted = frame[frame["chain_place"].notna()].sort_values("chain_place", kind="stable")
    chains = accepted.groupby("chain_root")
    last = accepted.drop_duplicates("chain_root", keep="last").set_index("chain_root")
    out = frame.copy()
    for column in ("failure_cause", "cause_evidence", "loss_reversible"):
        told = frame["job_id"].map(last[column])
        out[column] = told.where(frame["job_id"].isin(last.index), frame[column])
    # Hours of which a part is not written are not known: the sum of the rest would make a long job short.
    whole = chains["bench_hours"].count().eq(chains.size())
    hours = frame["job_id"].map(chains["bench_hours"].sum().where(whole))
    return out.assign(chain_hours=hours.where(frame["job_id"].isin(last.index), frame["bench_hours"]))


_SHARED: list[tuple[Log, Cohort]] = []


def share_cohort(log: Log) -> None:
    """Make the cohort of a log once, for all that ask for that of this very log in this process and its copies."""
    _SHARED[:] = [(log, build_cohort(log))]


def build_cohort(log: Log) -> Cohort:
    """Put everything the models need on one row a job.

    Work after boot test 1 has no influence on any column (tested).
    """
    if _SHARED and _SHARED[0][0] is log:
        return _SHARED[0][1]
    jobs = log.tables["jobs"].reset_index(drop=True)
    outcomes = job_outcomes(log).reset_index(drop=True)
    wanted = pd.DataFrame({"job_id": jobs["job_id"], "test_no": 1.0})
    work, undated = work_before(log, wanted)
    frame = pd.concat(
        [
            outcomes,
            intake_features(jobs),
            donor_features(log, wanted),
            work,
            jobs[["technician_id", "guessed_success_pct", "bench_hours", "received_date", "closed_date"]],
            jobs[["failure_cause", "cause_evidence", "loss_reversible", "decision"]].astype(object),
        ],
        axis=1,
    )
    frame["experience_jobs"] = experience(jobs)
    frame = _told_by_the_last_job(frame)
    first_boots = frame[frame["first_boot"].notna()].reset_index(drop=True)
    ledger = first_boot_ledger(outcomes, log.jobs_set_aside)
    return Cohort(frame, first_boots, ledger, undated, log.hash, blank_is_no_preheat(log))
