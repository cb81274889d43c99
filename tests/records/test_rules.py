"""Each rule is broken once in an otherwise clean log: exactly that is reported, and nothing else."""

from __future__ import annotations

import pytest

from analysis.records.problems import Severity
from tests.files import base, found, write

F, W = Severity.FAULT, Severity.WARNING

# table, row, changes, then (severity, code, line, column) expected; line 2 is the first row
CASES = [
    ("jobs", 0, {"bench_hours": "88"}, (F, "range", 2, "bench_hours")),
    ("jobs", 0, {"guessed_success_pct": "0"}, (F, "range", 2, "guessed_success_pct")),
    ("jobs", 0, {"device_age_years": "-1"}, (F, "range", 2, "device_age_years")),
    ("jobs", 0, {"intake_damage": ""}, (F, "blank", 2, "intake_damage")),
    ("jobs", 0, {"intake_damage": "dropped"}, (F, "code", 2, "intake_damage")),
    ("jobs", 0, {"received_date": "2024-12-24"}, (F, "future", 2, "received_date")),
    ("jobs", 0, {"closed_date": "2024-03-01"}, None),
    ("jobs", 0, {"technician_id": "T9"}, (F, "unknown-key", 2, "technician_id")),
    ("jobs", 0, {"donor_id": "D-9"}, (F, "unknown-key", 2, "donor_id")),
    ("jobs", 0, {"technician_id": "anna@example.org"}, (F, "personal-data", 2, "technician_id")),
    ("jobs", 0, {"board_family": "+49 170 1234567"}, (F, "personal-data", 2, "board_family")),
    ("jobs", 0, {"board_family": "A B"}, (F, "key", 2, "board_family")),
    ("jobs", 0, {"outcome": ""}, (F, "half-closed", 2, "outcome")),
    ("jobs", 1, {"closed_date": ""}, (F, "half-closed", 3, "closed_date")),
    ("jobs", 0, {"first_boot_result": "data_readable"}, (F, "first-boot-differs", 2, "first_boot_result")),
    ("jobs", 0, {"first_boot_result": "not_tested"}, (F, "first-boot-differs", 2, "first_boot_result")),
    (
        "jobs",
        1,
        {"outcome": "recovered", "failure_cause": "", "cause_evidence": ""},
        (F, "outcome-differs", 3, "outcome"),
    ),
    ("jobs", 0, {"outcome": "not_recovered", "loss_reversible": "yes"}, (W, "outcome-doubtful", 2, "outcome")),
    ("jobs", 1, {"loss_reversible": ""}, (W, "reversible-missing", 3, "loss_reversible")),
    ("jobs", 0, {"failure_cause": "poor_joint"}, (W, "cause-unasked", 2, "failure_cause")),
    ("jobs", 1, {"failure_cause": ""}, (W, "evidence-without-cause", 3, "cause_evidence")),
    ("jobs", 0, {"decline_reason": "price"}, (F, "reason-unasked", 2, "decline_reason")),
    ("jobs", 2, {"bench_hours": "2"}, (F, "work-without-job", 4, "bench_hours")),
    ("jobs", 2, {"outcome": "not_recovered", "loss_reversible": "yes"}, (F, "work-without-job", 4, "outcome")),
    ("jobs", 3, {"previous_job_id": ""}, (F, "earlier-job-missing", 5, "previous_job_id")),
    ("jobs", 0, {"previous_job_id": "J-2"}, (F, "earlier-job-unasked", 2, "previous_job_id")),
    ("jobs", 3, {"previous_job_id": "J-4"}, (F, "earlier-job-later", 5, "previous_job_id")),
    ("jobs", 3, {"previous_job_id": "J-7"}, (F, "unknown-key", 5, "previous_job_id")),
    ("boot_tests", 1, {"test_no": "3"}, (F, "test-gap", 3, "test_no")),
    ("boot_tests", 1, {"test_date": "2024-03-09"}, (F, "test-order", 3, "test_date")),
    ("boot_tests", 0, {"test_date": "2024-02-27"}, (F, "test-outside-job", 2, "test_date")),
    ("boot_tests", 1, {"test_date": "2024-03-30"}, (F, "test-outside-job", 3, "test_date")),
    ("boot_tests", 1, {"bench_hours_so_far": "4"}, (F, "hours-order", 3, "bench_hours_so_far")),
    ("boot_tests", 1, {"bench_hours_so_far": "9"}, (F, "hours-over-total", 3, "bench_hours_so_far")),
    ("boot_tests", 2, {"job_id": "J-77"}, None),
    ("boot_tests", 0, {"boot_result": "boots"}, None),
    ("chip_sides", 0, {"chip_source": "donor"}, (F, "chip-source", 2, "chip_source")),
    ("chip_sides", 0, {"clean_passes_n": "9"}, (F, "range", 2, "clean_passes_n")),
    ("chip_sides", 0, {"clean_passes_n": "2.5"}, (F, "number", 2, "clean_passes_n")),
    ("chip_sides", 0, {"pad_grade_left": "4"}, (F, "pads-grade", 2, "pads_lost_n")),
    ("chip_sides", 2, {"pad_grade_left": "1"}, (W, "pads-rebuilt", 4, "pad_grade_left")),
    ("chip_sides", 0, {"pad_grade_found": "3"}, (F, "pads-grade", 2, "pads_lost_n")),
    ("chip_sides", 0, {"pads_lost_at": "removal"}, (F, "pads-lost-at", 2, "pads_lost_at")),
    ("chip_sides", 0, {"before_test_no": "4"}, (F, "work-after-tests", 2, "before_test_no")),
    ("chip_sides", 0, {"clean_alloy": "low_melt"}, (W, "bismuth-lead", 2, "clean_alloy")),
    ("chip_sides", 0, {"clean_alloy": "low_melt_then_leaded"}, "clean"),
    ("chip_sides", 0, {"blade_used": "maybe"}, (F, "yes-no", 2, "blade_used")),
    ("chip_sides", 2, {"job_id": "J-3"}, (F, "work-without-job", 4, "job_id")),
    ("heat_steps", 2, {"set_temp_c": "626"}, (F, "range", 4, "set_temp_c")),
    ("heat_steps", 2, {"measured_peak_c": "180"}, (F, "below-melting-measured", 4, "measured_peak_c")),
    ("heat_steps", 2, {"set_temp_c": "175"}, (W, "below-melting-set", 4, "set_temp_c")),
    ("heat_steps", 2, {"step_no": "2"}, (F, "duplicate-key", 4, "step_no")),
    ("heat_steps", 2, {"set_temp_c": "330 °C"}, (F, "number", 4, "set_temp_c")),
    ("heat_steps", 2, {"preheat_c": "15"}, (F, "preheat-cold", 4, "preheat_c")),
    ("heat_steps", 2, {"preheat_c": "0"}, "clean"),
    ("donors", 1, {"donor_id": "D-1"}, None),
    ("donors", 0, {"prior_installs_n": "1,000"}, (F, "number", 2, "prior_installs_n")),
]


def test_the_base_log_is_clean(tmp_path):
    assert found(write(tmp_path, base())) == []


@pytest.mark.parametrize(
    ("table", "row", "changes", "expected"),
    [case for case in CASES if case[3] is not None],
    ids=[f"{c[0]}-{'-'.join(c[2])}-{c[3][1] if c[3] != 'clean' else 'clean'}" for c in CASES if c[3] is not None],
)
def test_exactly_the_planted_problem_is_found(tmp_path, table, row, changes, expected):
    tables = base()
    tables[table][row] |= changes
    problems = found(write(tmp_path, tables))
    got = [(p.severity, p.code, p.line, p.column) for p in problems]
    assert got == ([] if expected == "clean" else [expected])
    for problem in problems:
        assert problem.file == f"{table}.csv"
        assert problem.rule
        assert problem.todo


def test_a_closing_before_receipt_also_puts_the_tests_outside(tmp_path):
    tables = base()
    tables["jobs"][0]["closed_date"] = "2024-03-01"
    codes = [p.code for p in found(write(tmp_path, tables))]
    assert codes == ["closed-before-received", "test-outside-job", "test-outside-job"]


def test_a_test_of_an_unknown_job_leaves_its_own_job_without_a_first_boot(tmp_path):
    tables = base()
    tables["boot_tests"][2]["job_id"] = "J-77"
    problems = found(write(tmp_path, tables))
    assert [(p.code, p.job) for p in problems] == [("first-boot-missing", "J-2"), ("unknown-key", "J-77")]


def test_a_duplicate_names_both_lines(tmp_path):
    tables = base()
    tables["jobs"].append(dict(tables["jobs"][0]))
    duplicate = [p for p in found(write(tmp_path, tables)) if p.code == "duplicate-key"]
    assert [(p.line, p.found) for p in duplicate] == [(6, "'J-1' again; first on line 2")]


def test_a_duplicate_donor_is_told_of_with_the_job_it_leaves_without_one(tmp_path):
    tables = base()
    tables["donors"][1]["donor_id"] = "D-1"
    codes = {(p.file, p.code) for p in found(write(tmp_path, tables))}
    assert codes == {("donors.csv", "duplicate-key"), ("jobs.csv", "unknown-key")}


def test_a_refused_cell_is_told_of_once_and_silences_rules_that_read_it(tmp_path):
    tables = base()
    tables["boot_tests"][0]["boot_result"] = "boots"
    assert [(p.code, p.column) for p in found(write(tmp_path, tables))] == [("code", "boot_result")]


def test_fahrenheit_is_named_with_its_celsius_value(tmp_path):
    tables = base()
    tables["heat_steps"][2]["set_temp_c"] = "626"
    (problem,) = found(write(tmp_path, tables))
    assert "looks like Fahrenheit; it would be 330 °C" in problem.todo


def test_the_trade_settings_pass_without_a_warning(tmp_path):
    """Residue 230, leaded balls 300, install 330 °C, airflow 40, two to three passes (common practice, no source)."""
    tables = base()
    tables["chip_sides"] = [
        {
            "job_id": "J-1",
            "chip_role": chip,
            "chip_source": "client",
            "side": side,
            "clean_passes_n": passes,
            "pad_grade_found": grade,
            "ball_alloy": "sn63pb37" if side == "lower" else "",
            "clean_alloy": "sn63pb37",
        }
        for chip, side, passes, grade in (
            ("processor", "lower", "3", "1"),
            ("processor", "upper", "2", "0"),
            ("storage", "lower", "2", "0"),
        )
    ]
    assert found(write(tmp_path, tables)) == []


def test_optional_tables_and_columns_may_be_missing(tmp_path):
    (tmp_path / "jobs.csv").write_text(
        "job_id,received_date,intake_damage,decision,outcome,closed_date,first_boot_result\n"
        "J-1,2024-03-02,drop,accepted,recovered,2024-03-20,data_readable\n"
        "J-2,2024-03-02,drop,declined,,,\n",
        encoding="utf-8",
    )
    assert found(tmp_path) == []


def test_many_faults_are_found_at_once_and_none_invented(tmp_path):
    tables = base()
    planted = []
    for table, row, changes, code in (
        ("jobs", 0, {"bench_hours": "88"}, "range"),
        ("jobs", 1, {"loss_reversible": ""}, "reversible-missing"),
        ("jobs", 2, {"decline_reason": "too_hard"}, "code"),
        ("jobs", 3, {"previous_job_id": "J-9"}, "unknown-key"),
        ("chip_sides", 0, {"clean_alloy": "sn42bi58"}, "bismuth-lead"),
        ("chip_sides", 2, {"pads_lost_n": "0", "pads_lost_at": ""}, "pads-grade"),
        ("heat_steps", 0, {"set_temp_c": "446"}, None),
        ("heat_steps", 2, {"measured_peak_c": "150"}, "below-melting-measured"),
        ("boot_tests", 1, {"test_date": "31/12/2024"}, "future"),
        ("donors", 0, {"known_good": "Full Boot"}, None),
    ):
        tables[table][row] |= changes
        planted += [(f"{table}.csv", row + 2, code)] if code else []
    got = sorted((p.file, p.line, p.code) for p in found(write(tmp_path, tables)))
    assert got == sorted(planted)
