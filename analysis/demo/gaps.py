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
        "technician_id": 0.04,
        "donor_id": 0.02,
        "bench_hours": 0.04,
        "fee_basis": 0.03,
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
    "boot_tests": {"bench_hours_so_far": 0.05, "change_made": 0.03},
    "donors": {"known_good": 0.05, "prior_installs_n": 0.12},
}
GRADES_BLANK = 0.2
SETTING_BLANK = 0.06
UNDATED = 0.04
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
    out = {name: frame.copy(deep=False) for name, frame in tables.items()}
    jobs = out["jobs"]
    old = (jobs["received_date"] < pd.Timestamp(first_day) + pd.DateOffset(months=OLD_MONTHS)).to_numpy()
    bare = old & (rng.random(len(jobs)) < 0.35)
    for name, without in (("heat_steps", old), ("chip_sides", bare)):
        gone = out[name]["job_id"].isin(jobs["job_id"].to_numpy(object)[without]).to_numpy()
        out[name] = out[name][~gone].reset_index(drop=True)
    for name, columns in BLANK.items():
        for column, share in columns.items():
            _blank(out[name], column, rng.random(len(out[name])) < share)
    sides, steps = out["chip_sides"], out["heat_steps"]
    unseen = rng.random(len(sides)) < GRADES_BLANK
    _blank(sides, "pad_grade_found", unseen)
    _blank(sides, "pad_grade_left", unseen)
    # Where the count is missing, the step they were lost in may still be known; where it is 0 there is none.
    _blank(sides, "pads_lost_at", rng.random(len(sides)) < 0.1)
    # A preset fills itself in; a setting that had to be read may be missing.
    _blank(steps, "set_temp_c", (rng.random(len(steps)) < SETTING_BLANK) & steps["entry_kind"].ne("preset").to_numpy())
    for column, share in UNKNOWN.items():
        values = jobs[column].copy()
        values[(rng.random(len(jobs)) < share) & values.ne("here").to_numpy(bool)] = "unknown"
        jobs[column] = values
    _leave_undated(out, rng)
    _donor_age_as_band(out["donors"], rng)
    return out


def _leave_undated(tables: dict[str, pd.DataFrame], rng: Rng) -> None:
    """On some jobs nobody noted which boot test the work came before.

    A blank stands for the first test where a job had one test at most, so jobs whose work goes on after their last
    recorded test keep their numbers: left blank, later work would be read as earlier work. So do jobs with a side
    worked on twice, whose two rows nothing else would tell apart.
    """
    names = ("chip_sides", "heat_steps")
    tests_n = tables["boot_tests"]["job_id"].value_counts()
    jobs = tables["jobs"]["job_id"]
    chosen = set(jobs[rng.random(len(jobs)) < UNDATED])
    for name in names:
        frame = tables[name]
        beyond = frame["before_test_no"].gt(1).to_numpy(bool)
        if name == "heat_steps":
            beyond &= frame["job_id"].map(tests_n).fillna(0).le(1).to_numpy()
        chosen -= set(frame["job_id"].to_numpy(object)[beyond])
    for name in names:
        frame = tables[name]
        _blank(frame, "before_test_no", frame["job_id"].isin(chosen).to_numpy())


def _donor_age_as_band(donors: pd.DataFrame, rng: Rng) -> None:
    """Some donors carry an age band instead of an age."""
    banded = rng.random(len(donors)) < 0.2
    age = donors["donor_age_years"].to_numpy(float)
    names = np.array(["0_to_1", "1_to_3", "3_to_6", "over_6"], dtype=object)
    band = names[np.searchsorted([1.0, 3.0, 6.0], age, side="left")]
    categories = donors["donor_age_band"].dtype
    donors["donor_age_band"] = pd.Series(np.where(banded, band, None), index=donors.index).astype(categories)
    _blank(donors, "donor_age_years", banded)
