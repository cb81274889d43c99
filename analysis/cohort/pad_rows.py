"""Sides of chips worked on before boot test 1, with the pads lost at this bench."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.ledger import Ledger, start_ledger
from analysis.cohort.undatable import Undatable, undatable_of
from analysis.cohort.work import HOW_UNKNOWN, centre_by_station, dated, entered
from analysis.records.log import Log

FOUND = "found"  # already gone when first seen: no technique of this bench


@dataclass(frozen=True)
class PadRows:
    """Sides as rows.

    Parameters
    ----------
    rows : DataFrame
        ``job_id``, ``chip``, ``side`` and ``spot`` (both in words), ``pads_lost`` (lost at this bench), ``lost_at``,
        ``grade`` (found), ``passes``, ``blade`` ("1.0", "0.0" or None), ``removal_c`` (set temperature of the
        client's chip's removal, °C, centred by station; blank for parts and landings of a donor, which that heat never
        met), ``intake_damage``, ``technician_id``.
    found_gone : DataFrame
        The same columns for sides whose pads were gone when first seen.
    ledger : Ledger
        From all sides of the log to ``rows``.
    how_unknown : bool
        Whether removal temperatures are used that do not say how they were entered.
    undatable : Undatable or None
        Set where so many failed jobs have undated work that ``rows``, which are without them, tell nothing of pads.
    """

    rows: pd.DataFrame
    found_gone: pd.DataFrame
    ledger: Ledger
    how_unknown: bool = False
    undatable: Undatable | None = None


def pad_rows(log: Log, cohort: Cohort) -> PadRows:
    """Sides before boot test 1 of jobs with a first boot and a count of pads lost."""
    every = log.tables["chip_sides"]
    sides, undated = dated(every, log)
    first = sides[sides["before"].eq(1)]
    compared = first["job_id"].isin(cohort.first_boots["job_id"])
    booted = first["job_id"].isin(cohort.jobs.loc[cohort.jobs["first_boot"].notna(), "job_id"])
    by_lot = int(booted.sum() - compared.sum())
    own = first[compared]
    own = own[~own["job_id"].isin(cohort.undated.jobs)]
    lost = own["pads_lost_n"].astype("Float64").to_numpy(float, na_value=np.nan)
    at = own["pads_lost_at"].astype(object)
    gone = at.eq(FOUND).to_numpy(bool) & ~np.isnan(lost)
    used = ~np.isnan(lost) & ~gone
    jobs = cohort.first_boots.set_index("job_id")
    frame = pd.DataFrame(
        {
            "job_id": own["job_id"].astype(object),
            "chip": own["chip_role"].astype(object),
            "side": own["side"].astype(object),
            "spot": own["chip_role"].astype(object) + ", " + own["side"].astype(object),
            "pads_lost": lost,
            "lost_at": at.where(at.notna(), None),
            "grade": own["pad_grade_found"].astype("Float64").to_numpy(float, na_value=np.nan),
            "passes": own["clean_passes_n"].astype("Float64").to_numpy(float, na_value=np.nan),
            "blade": own["blade_used"].map({True: "1.0", False: "0.0"}).astype(object),
            "intake_damage": own["job_id"].map(jobs["intake_damage"]),
            "technician_id": own["job_id"].map(jobs["technician_id"].astype(object)),
        }
    )
    temperature, how_unknown = _removal(log)
    removal = temperature.reindex(pd.MultiIndex.from_frame(frame[["job_id", "chip"]])).to_numpy()
    others = frame["side"].eq("landing") | own["chip_source"].isin(["donor", "new"]).fillna(False)
    frame["removal_c"] = np.where(others, np.nan, removal)
    ledger = start_ledger("sides", len(every)).then(
        ("no boot test named on a job with several", len(undated)),
        ("worked on after boot test 1", len(sides) - len(first)),
        ("job not taken by lot", by_lot),
        ("job without a first boot, or undated work on it", len(first) - len(own) - by_lot),
        ("pads lost not counted", int(np.isnan(lost).sum())),
        ("pads gone when first seen", int(gone.sum())),
    )
    sides_of = [frame[each].reset_index(drop=True) for each in (used, gone)]
    return PadRows(sides_of[0], sides_of[1], ledger, how_unknown, undatable_of(cohort))


def _removal(log: Log) -> tuple[pd.Series, bool]:
    """Set temperature of each chip's last removal before boot test 1, centred by station, where it may be used.

    And whether any used does not say how it was entered.
    """
    steps, _ = dated(log.tables["heat_steps"], log)
    steps = steps[steps["before"].eq(1) & steps["step_type"].eq("removal")]
    how, used = entered(steps, log)
    how_unknown = bool(how[used].eq(HOW_UNKNOWN).any())
    steps = steps[used].sort_values("step_no", kind="stable")
    steps = steps.drop_duplicates(["job_id", "chip_role"], keep="last")
    values = centre_by_station(steps, "set_temp_c").to_numpy(float)
    index = pd.MultiIndex.from_arrays([steps["job_id"].astype(object), steps["chip_role"].astype(object)])
    return pd.Series(values, index=index), how_unknown
