"""A small invented log in which every column of every table is filled somewhere, for alterations cell by cell."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from tests.files import Tables, write

RECEIVED = dt.date(2024, 1, 8)
DAMAGE = ("drop", "liquid")
FEES = ("flat", "staged")

# The row of each table that is altered; every column is filled in it but those that belong to another kind of job.
FULL = {
    "jobs": {
        "job_id": "K-02",
        "device_class": "phone",
        "board_family": "FAM-A",
        "device_age_years": "3",
        "second_damage": "heat",
        "prior_rework": "elsewhere",
        "underfill": "partial",
        "guessed_success_pct": "70",
        "technician_id": "T1",
        "donor_id": "D-1",
        "bench_hours": "8",
        "outcome": "not_recovered",
        "failure_cause": "pads_lost",
        "cause_evidence": "confirmed",
        "loss_reversible": "no",
        "fee_amount": "400",
        "donor_cost": "90",
    },
    "chip_sides": {
        "job_id": "K-02",
        "chip_role": "processor",
        "chip_source": "client",
        "side": "lower",
        "before_test_no": "1",
        "clean_passes_n": "2",
        "pad_grade_found": "1",
        "pad_grade_left": "4",
        "pads_lost_n": "3",
        "pads_lost_at": "cleaning",
        "blade_used": "no",
        "clean_alloy": "sn63pb37",
        "ball_alloy": "sn63pb37",
        "reball_tries_n": "1",
        "ball_reset": "yes",
    },
    "heat_steps": {
        "job_id": "K-02",
        "chip_role": "processor",
        "step_no": "1",
        "before_test_no": "1",
        "step_type": "removal",
        "set_temp_c": "330",
        "airflow_setting": "40",
        "station_id": "S1",
        "step_s": "60",
        "preheat_c": "150",
        "measured_peak_c": "232",
        "above_liquidus_s": "40",
        "entry_kind": "typed",
    },
    "boot_tests": {
        "job_id": "K-02",
        "test_no": "1",
        "test_date": "2024-01-20",
        "bench_hours_so_far": "5",
        "donor_id": "D-1",
        "change_made": "first_install",
        "boot_result": "short",
    },
    "donors": {
        "donor_id": "D-1",
        "donor_age_years": "2",
        "known_good": "full_boot",
        "prior_installs_n": "0",
        "lot": "LOT-1",
    },
    "technicians": {"technician_id": "T1", "bga_experience_band": "3_to_10"},
}


def small_tables() -> Tables:
    """Twenty-six jobs of 2024H1: two kinds of damage, a chain, a stopped, a declined and an open one."""
    jobs = []
    for at in range(1, 25):
        day = RECEIVED + dt.timedelta(days=4 * at)
        job = {
            "job_id": f"K-{at:02}",
            "received_date": day.isoformat(),
            "intake_damage": DAMAGE[at % 2],
            "decision": "accepted",
            "outcome": "recovered",
            "first_boot_result": "data_readable",
            "closed_date": (day + dt.timedelta(days=5 + at)).isoformat(),
            "fee_basis": FEES[at // 2 % 2],
        }
        jobs.append(job)
    jobs[1] |= FULL["jobs"]
    del jobs[1]["first_boot_result"]
    lost = {"outcome": "not_recovered", "first_boot_result": "no_current", "loss_reversible": "yes"}
    jobs[4] |= lost
    jobs[9] |= lost
    jobs[11] |= {"prior_rework": "here", "previous_job_id": "K-10"}  # the second try on K-10, recovered
    jobs[14] |= {"outcome": "stopped_by_client", "first_boot_result": "not_tested", "bench_hours": "2"}
    jobs[19] |= {"decision": "declined", "decline_reason": "price", "outcome": "", "first_boot_result": ""}
    jobs[19]["closed_date"] = ""
    for number in (25, 26):
        jobs.append({"job_id": f"K-{number}", "received_date": f"2024-06-{number}", "intake_damage": "drop"})
        jobs[-1] |= {"decision": "accepted", "fee_basis": "flat"}
    tables = {name: [dict(row)] for name, row in FULL.items() if name != "jobs"}
    tables["donors"] += [
        {"donor_id": "D-2", "donor_age_band": "1_to_3"},
        {"donor_id": "D-3", "donor_model_year": "2021"},
    ]
    for number, donor in ((3, "D-2"), (4, "D-3")):
        jobs[number - 1]["donor_id"] = donor
    tables["technicians"].append({"technician_id": "T2", "bga_experience_band": "under_1"})
    return {"jobs": jobs, **tables}


def small_log(folder: Path) -> Path:
    """The log as files."""
    return write(folder, small_tables())
