"""Small logs written as files, for tests of reading and checking."""

from __future__ import annotations

import copy
import csv
import datetime as dt
import io
from pathlib import Path

from analysis.records.check import check_log
from analysis.records.dictionary import BY_NAME
from analysis.records.problems import Problem, Severity

TODAY = dt.date(2024, 11, 1)
Tables = dict[str, list[dict[str, str]]]

BASE: Tables = {
    "jobs": [
        {
            "job_id": "J-1",
            "received_date": "2024-03-02",
            "device_class": "phone",
            "board_family": "FAM-A",
            "device_age_years": "3",
            "intake_damage": "drop",
            "prior_rework": "none",
            "underfill": "partial",
            "decision": "accepted",
            "guessed_success_pct": "70",
            "technician_id": "T1",
            "donor_id": "D-1",
            "bench_hours": "8",
            "outcome": "recovered",
            "closed_date": "2024-03-20",
            "fee_basis": "flat",
        },
        {
            "job_id": "J-2",
            "received_date": "2024-03-05",
            "intake_damage": "liquid",
            "decision": "accepted",
            "technician_id": "T1",
            "donor_id": "D-2",
            "bench_hours": "6",
            "outcome": "not_recovered",
            "closed_date": "2024-03-25",
            "failure_cause": "pads_lost",
            "cause_evidence": "confirmed",
            "loss_reversible": "no",
        },
        {
            "job_id": "J-3",
            "received_date": "2024-03-07",
            "intake_damage": "heat",
            "decision": "declined",
            "decline_reason": "chance_too_low",
        },
        {
            "job_id": "J-4",
            "received_date": "2024-04-01",
            "intake_damage": "drop",
            "decision": "accepted",
            "prior_rework": "here",
            "previous_job_id": "J-2",
        },
    ],
    "chip_sides": [
        {
            "job_id": "J-1",
            "chip_role": "processor",
            "chip_source": "client",
            "side": "lower",
            "before_test_no": "1",
            "clean_passes_n": "2",
            "pad_grade_found": "1",
            "pad_grade_left": "0",
            "pads_lost_n": "0",
            "blade_used": "no",
            "clean_alloy": "sn63pb37",
            "ball_alloy": "sn63pb37",
            "reball_tries_n": "1",
            "ball_reset": "yes",
        },
        {"job_id": "J-1", "chip_role": "processor", "chip_source": "donor", "side": "landing", "clean_passes_n": "2"},
        {
            "job_id": "J-2",
            "chip_role": "storage",
            "chip_source": "client",
            "side": "lower",
            "pad_grade_found": "1",
            "pad_grade_left": "4",
            "pads_lost_n": "3",
            "pads_lost_at": "cleaning",
        },
    ],
    "heat_steps": [
        {
            "job_id": "J-1",
            "chip_role": "processor",
            "step_no": "1",
            "step_type": "residue",
            "set_temp_c": "230",
            "airflow_setting": "40",
            "station_id": "S1",
            "entry_kind": "typed",
        },
        {
            "job_id": "J-1",
            "chip_role": "processor",
            "step_no": "2",
            "step_type": "reball",
            "set_temp_c": "300",
            "airflow_setting": "40",
            "station_id": "S1",
            "entry_kind": "typed",
        },
        {
            "job_id": "J-1",
            "chip_role": "processor",
            "step_no": "3",
            "step_type": "install",
            "set_temp_c": "330",
            "airflow_setting": "40",
            "station_id": "S1",
            "measured_peak_c": "232",
            "entry_kind": "typed",
        },
    ],
    "boot_tests": [
        {
            "job_id": "J-1",
            "test_no": "1",
            "test_date": "2024-03-10",
            "bench_hours_so_far": "5",
            "change_made": "first_install",
            "boot_result": "restart_loop",
        },
        {
            "job_id": "J-1",
            "test_no": "2",
            "test_date": "2024-03-18",
            "bench_hours_so_far": "7.5",
            "change_made": "reinstall",
            "boot_result": "data_readable",
        },
        {"job_id": "J-2", "test_no": "1", "test_date": "2024-03-20", "bench_hours_so_far": "5", "boot_result": "short"},
    ],
    "donors": [
        {"donor_id": "D-1", "donor_age_years": "2", "known_good": "full_boot", "prior_installs_n": "0", "lot": "LOT-1"},
        {"donor_id": "D-2", "donor_age_band": "1_to_3", "known_good": "untested"},
    ],
    "technicians": [{"technician_id": "T1", "bga_experience_band": "3_to_10"}],
}


def base() -> Tables:
    """A clean log to spoil."""
    return copy.deepcopy(BASE)


def as_csv_text(name: str, rows: list[dict[str, str]], delimiter: str = ",") -> str:
    """CSV text of one table with every declared heading."""
    out = io.StringIO()
    heads = BY_NAME[name].names
    writer = csv.DictWriter(out, heads, delimiter=delimiter, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def write(folder: Path, tables: Tables) -> Path:
    """Write a log."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        (folder / f"{name}.csv").write_text(as_csv_text(name, rows), encoding="utf-8", newline="\n")
    return folder


def found(folder: Path, *severities: Severity) -> list[Problem]:
    """Problems of a log; by default faults and warnings."""
    wanted = severities or (Severity.FAULT, Severity.WARNING)
    return [p for p in check_log(folder, TODAY).problems if p.severity in wanted]
