"""What follows from a fault is said with it: jobs that go along, faults that come of it, rows that are no jobs."""

from __future__ import annotations

import pytest

from analysis.records.log import read_log
from tests.files import TODAY, base, found, write


def test_a_faulty_donor_names_the_jobs_that_go_with_it(tmp_path):
    tables = base()
    tables["donors"][0]["donor_age_years"] = "old"
    folder = write(tmp_path, tables)
    (fault,) = found(folder)
    assert fault.todo.endswith(" Until then a report sets aside with it: J-1.")
    assert set(read_log(folder, TODAY).without_faulty_jobs().set_aside) == {"J-1"}


def test_of_many_jobs_some_are_named_and_the_others_counted(tmp_path):
    tables = base()
    tables["jobs"] += [tables["jobs"][2] | {"job_id": f"K-{n}", "technician_id": "T1"} for n in range(6)]
    tables["technicians"][0]["bga_experience_band"] = "long"
    folder = write(tmp_path, tables)
    (fault,) = [p for p in found(folder) if p.file == "technicians.csv"]
    assert fault.todo.endswith(" Until then a report sets aside with it: J-1, J-2, K-0, K-1, K-2 and 3 more.")
    assert len(read_log(folder, TODAY).without_faulty_jobs().set_aside) == 8


def test_a_faulty_donor_that_no_job_names_says_nothing_of_jobs(tmp_path):
    tables = base()
    tables["donors"].append({"donor_id": "D-7", "known_good": "sure"})
    (fault,) = found(write(tmp_path, tables))
    assert "sets aside" not in fault.todo


def test_a_code_that_stands_twice_says_that_other_faults_may_follow(tmp_path):
    tables = base()
    tables["jobs"][1]["job_id"] = "J-1"
    faults = found(write(tmp_path, tables))
    (twice,) = [p for p in faults if p.code == "duplicate-key"]
    assert "may follow from it: mend it first" in twice.todo
    assert len(faults) > 1


@pytest.mark.parametrize("word", ["Total", "SUM", "Gesamt"])
def test_a_line_of_totals_is_told_as_such_and_not_as_a_name(tmp_path, word):
    tables = base()
    tables["jobs"].append({"job_id": word, "bench_hours": "14"})
    problems = found(write(tmp_path, tables))
    (of_code,) = [p for p in problems if p.column == "job_id"]
    assert (of_code.code, of_code.todo) == ("sum-row", "Delete the row; reports count for themselves.")
    assert not any("person" in p.todo for p in problems)


def test_a_job_called_so_by_its_shop_is_a_job(tmp_path):
    tables = base()
    tables["jobs"][2]["job_id"] = "Total"
    assert not any(p.code == "sum-row" for p in found(write(tmp_path, tables)))
