"""One mistake is told of once: what merely follows from it is not told as a fault of its own."""

from __future__ import annotations

import pytest

from analysis.records.log import read_log
from analysis.records.problems import Severity
from tests.files import BASE, TODAY, as_csv_text, base, found, write

JOBS = as_csv_text("jobs", BASE["jobs"])
TESTS = as_csv_text("boot_tests", BASE["boot_tests"])


def spoiled(table, row, **changes):
    tables = base()
    tables[table][row] |= changes
    return tables


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"boot_result": "boots"}, "code"),
        ({"boot_result": ""}, "blank"),
        ({"test_no": "x"}, "number"),
        ({"test_no": "0"}, "range"),
        ({"test_no": ""}, "blank"),
    ],
)
@pytest.mark.parametrize("row", [0, 1])
def test_a_faulty_boot_test_does_not_put_its_job_in_doubt(tmp_path, row, changes, code):
    tables = spoiled("boot_tests", row, **changes)
    got = [(p.file, p.line, p.column, p.code) for p in found(write(tmp_path, tables))]
    assert got == [("boot_tests.csv", row + 2, *changes, code)]


@pytest.mark.parametrize("row", [2, 3, 4])
def test_a_ragged_boot_test_is_told_of_once(tmp_path, row):
    write(tmp_path, base())
    lines = TESTS.splitlines()
    lines[row - 1] += ",extra"
    (tmp_path / "boot_tests.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert [(p.code, p.line) for p in found(tmp_path)] == [("ragged-row", row)]


def test_an_unclosed_quote_in_jobs_leaves_no_row_of_other_tables_without_a_job(tmp_path):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_text(JOBS.replace("\nJ-2,", '\n"J-2,', 1), encoding="utf-8")
    assert [(p.code, p.file, p.line) for p in found(tmp_path)] == [("quotes", "jobs.csv", 3)]


@pytest.mark.parametrize("table", ["heat_steps", "chip_sides"])
def test_a_job_code_refused_everywhere_is_not_also_called_unknown(tmp_path, table):
    tables = base()
    tables["jobs"][3]["job_id"] = "J 4"
    tables[table].append(dict(tables[table][-1]) | {"job_id": "J 4"})
    assert {p.code for p in found(write(tmp_path, tables))} == {"key"}


def test_other_columns_are_checked_where_one_is_missing_or_stands_twice(tmp_path):
    tables = spoiled("jobs", 0, guessed_success_pct="170")
    text = as_csv_text("jobs", tables["jobs"])
    write(tmp_path, tables)
    (tmp_path / "jobs.csv").write_text(text.replace("intake_damage", "harm"), encoding="utf-8")
    faults = found(tmp_path, Severity.FAULT)
    assert [(p.code, p.line) for p in faults] == [("missing-column", 1), ("range", 2)]
    (tmp_path / "jobs.csv").write_text(text.replace("device_class", "decision"), encoding="utf-8")
    faults = found(tmp_path, Severity.FAULT)
    assert [(p.code, p.line) for p in faults] == [("duplicate-heading", 1), ("range", 2)]


def test_a_file_without_headings_is_told_of_in_one_line(tmp_path):
    write(tmp_path, base())
    (tmp_path / "donors.csv").write_text("D-1,2,,,full_boot,0,LOT-1\n", encoding="utf-8")
    assert [(p.code, p.file, p.line) for p in found(tmp_path)] == [("no-headings", "donors.csv", 1)]


def test_an_install_is_held_against_the_balls_it_was_made_with(tmp_path):
    tables = base()
    later = {"job_id": "J-1", "chip_role": "processor", "side": "lower", "before_test_no": "2", "ball_alloy": "sac305"}
    tables["chip_sides"].append(later)
    tables["heat_steps"][2]["measured_peak_c"] = "200"
    assert found(write(tmp_path / "leaded", tables)) == []
    tables["heat_steps"][2]["before_test_no"] = "2"
    assert [p.code for p in found(write(tmp_path / "lead_free", tables))] == ["below-melting-measured"]


def test_jobs_that_name_each_other_in_a_circle_are_found(tmp_path):
    tables = base()
    received = tables["jobs"][0]["received_date"]
    for job, other in ((0, "J-5"), (3, "J-1")):
        tables["jobs"][job] |= {"prior_rework": "here", "previous_job_id": other, "received_date": received}
    tables["jobs"].append(dict(tables["jobs"][3]) | {"job_id": "J-5", "previous_job_id": "J-4"})
    codes = [(p.code, p.job) for p in found(write(tmp_path, tables))]
    assert codes == [("earlier-job-circle", "J-1"), ("earlier-job-circle", "J-4"), ("earlier-job-circle", "J-5")]


def test_pads_lost_at_a_step_need_a_lost_pad(tmp_path):
    tables = spoiled("chip_sides", 2, pads_lost_n="", pad_grade_left="1")
    assert [(p.code, p.line) for p in found(write(tmp_path, tables))] == [("pads-lost-at", 4)]
    tables = spoiled("chip_sides", 2, pads_lost_n="", pad_grade_left="")
    assert found(write(tmp_path / "unknown", tables)) == []


@pytest.mark.parametrize(
    ("changes", "left"),
    [({"job_id": ""}, "jobs.csv:5"), ({"job_id": "J 4"}, "J 4"), ({"job_id": "5551234567"}, "5551234567")],
)
def test_a_job_without_a_usable_code_is_set_aside_by_its_line(tmp_path, changes, left):
    log = read_log(write(tmp_path, spoiled("jobs", 3, **changes)), TODAY).without_faulty_jobs()
    assert list(log.set_aside) == [left]
    assert log.tables["jobs"]["job_id"].tolist() == ["J-1", "J-2", "J-3"]


def test_a_row_whose_job_code_is_mistyped_takes_along_the_job_it_may_belong_to(tmp_path):
    log = read_log(write(tmp_path, spoiled("heat_steps", 1, job_id="J 1")), TODAY).without_faulty_jobs()
    assert set(log.set_aside) == {"J 1", "J-1"}
    assert "J-1" not in set(log.tables["jobs"]["job_id"])
    assert log.tables["heat_steps"].empty


def test_settings_that_cannot_be_used_are_told_with_everything_else(tmp_path):
    write(tmp_path, spoiled("jobs", 0, bench_hours="88"))
    (tmp_path / "bench.toml").write_text("shop_name = 'A'\nminimum_clas_n = 5\nminimum_at_risk = 0\n", encoding="utf-8")
    got = [(p.code, p.file, p.line) for p in found(tmp_path)]
    assert got == [("range", "jobs.csv", 2), ("setting", "bench.toml", 2), ("setting", "bench.toml", 3)]
    assert read_log(tmp_path, TODAY).settings.shop_name == "A"
