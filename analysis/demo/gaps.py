"""What a real log does not say: blanks, unknowns, old jobs without details."""

from __future__ import annotations

import numpy as np
import pandas as pd

Rng = np.random.Generator

BLANK = {
    "jobs": {
        "device_age_years": 0.08,
        "board_family": 0.02,
        "guessed_success_pct": 0.15,
        "fee_amount": 0.05,
        "donor_cost": 0.1,
    },
    "chip_sides": {
        "clean_passes_n": 0.07,
        "pads_lost_n": 0.04,
        "blade_used": 0.1,
        "clean_alloy": 0.1,
        "ball_alloy": 0.05,
        "ball_reset": 0.08,
        "reball_tries_n": 0.08,
    },
    "heat_steps": {"step_s": 0.1, "airflow_setting": 0.12},
    "boot_tests": {"bench_hours_so_far": 0.05},
    "donors": {"known_good": 0.05, "prior_installs_n": 0.12},
}
GRADES_BLANK = 0.2
UNKNOWN = {"underfill": 0.09, "prior_rework": 0.07}
OLD_MONTHS = 6


def _blank(frame: pd.DataFrame, column: str, rows: np.ndarray) -> None:
    values = frame[column].copy()
    values[rows] = pd.NA if str(values.dtype) in ("Int64", "boolean", "string") else np.nan
    frame[column] = values


def open_gaps(tables: dict[str, pd.DataFrame], first_day: str, rng: Rng) -> dict[str, pd.DataFrame]:
    """Blank cells as a busy bench leaves them.

    Parameters
    ----------
    tables : dict of str to DataFrame
        Complete typed tables.
    first_day : str
        Start of the log; jobs of its first months have no heat steps, and some no chip sides.
    rng : Generator
        Source of randomness.

    Returns
    -------
    dict of str to DataFrame
        Copies with gaps.
    """
    out = {name: frame.copy() for name, frame in tables.items()}
    for name, columns in BLANK.items():
        for column, share in columns.items():
            _blank(out[name], column, rng.random(len(out[name])) < share)
    sides, jobs, donors = out["chip_sides"], out["jobs"], out["donors"]
    unseen = rng.random(len(sides)) < GRADES_BLANK
    _blank(sides, "pad_grade_found", unseen)
    _blank(sides, "pad_grade_left", unseen)
    # Where the count is missing, the step they were lost in may still be known; where it is 0 there is none.
    _blank(sides, "pads_lost_at", rng.random(len(sides)) < 0.1)
    for column, share in UNKNOWN.items():
        values = jobs[column].copy()
        values[(rng.random(len(jobs)) < share) & values.ne("here").to_numpy(bool)] = "unknown"
        jobs[column] = values
    _donor_age_as_band(donors, rng)
    old = jobs["received_date"] < pd.Timestamp(first_day) + pd.DateOffset(months=OLD_MONTHS)
    old_ids = set(jobs.loc[old, "job_id"])
    bare = set(jobs.loc[old & (rng.random(len(jobs)) < 0.35), "job_id"])
    out["heat_steps"] = out["heat_steps"][~out["heat_steps"]["job_id"].isin(old_ids)]
    out["chip_sides"] = sides[~sides["job_id"].isin(bare)]
    return {name: frame.reset_index(drop=True) for name, frame in out.items()}


def _donor_age_as_band(donors: pd.DataFrame, rng: Rng) -> None:
    """Some donors carry an age band instead of an age."""
    banded = rng.random(len(donors)) < 0.2
    age = donors["donor_age_years"].to_numpy(float)
    names = np.array(["0_to_1", "1_to_3", "3_to_6", "over_6"], dtype=object)
    band = names[np.searchsorted([1.0, 3.0, 6.0], age, side="left")]
    categories = donors["donor_age_band"].dtype
    donors["donor_age_band"] = pd.Series(np.where(banded, band, None), index=donors.index).astype(categories)
    _blank(donors, "donor_age_years", banded)
