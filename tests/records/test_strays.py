"""Rows of other tables whose job is not in jobs.csv: counted apart from jobs, with the code that may be meant."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pytest

from analysis.records.check import check_log
from analysis.records.log import read_log
from analysis.report import monthly
from analysis.report.first_screen import _left_out
from tests.files import TODAY, base, found, write

ROWS = {
    "boot_tests": {"test_no": "1", "test_date": "2024-04-05", "boot_result": "no_current"},
    "chip_sides": {"chip_role": "processor", "side": "landing"},
    "heat_steps": {"step_no": "1", "step_type": "residue", "chip_role": "processor"},
}


def with_stray(name: str, job: str = "J-91"):
    tables = base()
    tables[name].append({"job_id": job} | ROWS[name])
    return tables


@pytest.mark.parametrize("name", ROWS)
def test_a_row_without_its_job_is_counted_apart_from_jobs(tmp_path, name):
    folder = write(tmp_path, with_stray(name))
    told = f"1 row of {name}.csv names a job that is not in jobs.csv and is left out."
    assert check_log(folder, TODAY).consequence == f"A report would set aside 0 of 4 jobs. {told}"
    whole, kept = read_log(folder, TODAY), read_log(folder, TODAY).without_faulty_jobs()
    assert dict(kept.strays_left_out) == {f"{name}.csv": 1}
    assert kept.jobs_set_aside == 0
    assert len(kept.tables[name]) == len(whole.tables[name]) - 1


def test_two_rows_and_a_faulty_job_beside(tmp_path):
    tables = with_stray("boot_tests")
    tables["boot_tests"].append(tables["boot_tests"][-1] | {"test_no": "2"})
    tables["jobs"][0]["bench_hours"] = "88"
    assert check_log(write(tmp_path, tables), TODAY).consequence == (
        "A report would set aside 1 of 4 jobs."
        " 2 rows of boot_tests.csv name jobs that are not in jobs.csv and are left out."
    )


def test_a_row_of_a_job_that_is_in_the_log_but_could_not_be_read_is_no_stray(tmp_path):
    tables = base()
    folder = write(tmp_path, tables)
    jobs = folder / "jobs.csv"
    text = jobs.read_text(encoding="utf-8").splitlines()
    text[2] = text[2] + ",extra,cells"
    jobs.write_text("\n".join(text) + "\n", encoding="utf-8")
    kept = read_log(folder, TODAY).without_faulty_jobs()
    assert kept.jobs_set_aside >= 1
    assert not kept.strays_left_out


def test_the_review_says_so_before_it_begins_and_on_its_first_screen(tmp_path, monkeypatch):
    folder = write(tmp_path, with_stray("boot_tests"))
    said: list[str] = []
    monkeypatch.setattr(monthly, "page_of_log", lambda notebook, log, out, say, **given: out)
    monthly.publish_review(folder, "2024-03", tmp_path / "out", said.append, dt.date(2024, 5, 1))
    stray = "1 row of boot_tests.csv names a job that is not in jobs.csv and is left out."
    assert f"{stray} 'rework check' lists the faults." in said
    assert not any("set aside" in line for line in said)
    ledger = SimpleNamespace(exclusions=[], left_out=0, rows_in=4)
    kept = read_log(folder, TODAY).without_faulty_jobs()
    detail = _left_out(SimpleNamespace(cohort=SimpleNamespace(ledger=ledger), log=kept)).detail
    assert detail == f"No job set aside for faults. {stray}"


def test_one_job_set_aside_is_told_in_the_singular(tmp_path, monkeypatch):
    tables = base()
    tables["jobs"][0]["bench_hours"] = "88"
    said: list[str] = []
    monkeypatch.setattr(monthly, "page_of_log", lambda notebook, log, out, say, **given: out)
    monthly.publish_review(write(tmp_path, tables), "2024-03", tmp_path / "out", said.append, dt.date(2024, 5, 1))
    assert "1 job with faults is set aside; 'rework check' lists it." in said


@pytest.mark.parametrize(
    ("table", "row", "column", "written", "meant"),
    [
        ("boot_tests", 0, "job_id", "JJ-1", "J-1"),
        ("jobs", 0, "donor_id", "D-11", "D-1"),
        ("jobs", 0, "technician_id", "T", "T1"),
        ("jobs", 3, "previous_job_id", "J2-", "J-2"),
    ],
)
def test_a_code_one_slip_away_is_offered(tmp_path, table, row, column, written, meant):
    tables = base()
    tables[table][row][column] = written
    todo = next(p.todo for p in found(write(tmp_path, tables)) if p.code == "unknown-key")
    assert todo.startswith(f"Did you mean {meant}? Correct the code"), todo


def test_nothing_is_offered_where_nothing_or_everything_is_near(tmp_path):
    near_all, near_none = base(), base()
    near_all["boot_tests"][0]["job_id"] = "J-8"  # one letter from each of four jobs
    near_none["boot_tests"][0]["job_id"] = "X-777"
    for at, tables in enumerate((near_all, near_none)):
        folder = tmp_path / str(at)
        folder.mkdir()
        todo = next(p.todo for p in found(write(folder, tables)) if p.code == "unknown-key")
        assert todo.startswith("Correct the code"), todo
