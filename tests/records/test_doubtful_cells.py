"""Cells that are read and may be meant otherwise, and hints where a word cannot be read."""

from __future__ import annotations

import pytest

from analysis.records.problems import Severity
from tests.files import base, found, write


def problems(folder, table: str, column: str, *cells: str, severity: Severity = Severity.WARNING):
    tables = base()
    for row, cell in zip(tables[table], cells, strict=False):
        row[column] = cell
    return [p for p in found(write(folder, tables), severity) if p.column == column]


@pytest.mark.parametrize(
    ("table", "column"), [("jobs", "fee_amount"), ("jobs", "donor_cost"), ("heat_steps", "step_s")]
)
def test_a_point_before_three_digits_is_doubted(tmp_path, table, column):
    (warning,) = problems(tmp_path, table, column, "480", "1.250")
    assert (warning.code, warning.line) == ("thousands", 3)
    assert warning.found == "'1.250', taken as 1.25"
    assert warning.todo == "Write 1250 if thousands were meant, else 1.25."


@pytest.mark.parametrize("cells", [("480", "1.25"), ("0.750", "1.250"), ("1250.000", "1.250"), ("12.5", "1.2500")])
def test_a_point_that_can_only_part_decimals_is_not(tmp_path, cells):
    assert problems(tmp_path, "jobs", "fee_amount", *cells) == []


def test_hours_that_would_be_out_of_range_as_thousands_are_not_doubted(tmp_path):
    assert problems(tmp_path, "boot_tests", "bench_hours_so_far", "1.250") == []


@pytest.mark.parametrize("word", ["n/a", "N/A", "?", "-", "unknown"])
@pytest.mark.parametrize(("table", "column"), [("chip_sides", "clean_passes_n"), ("chip_sides", "blade_used")])
def test_a_word_for_not_recorded_is_told_how_to_be_left_out(tmp_path, table, column, word):
    (fault,) = problems(tmp_path, table, column, word, severity=Severity.FAULT)
    assert fault.todo.startswith("Leave the cell blank if it is not known, or name the word under missing_codes")


def test_where_a_cell_must_be_filled_no_blank_is_offered(tmp_path):
    (fault,) = problems(tmp_path, "jobs", "received_date", "n/a", severity=Severity.FAULT)
    assert "blank" not in fault.todo


@pytest.mark.parametrize("word", ["yes", "No", "y"])
def test_an_outcome_is_not_guessed_from_yes_or_no(tmp_path, word):
    (fault,) = problems(tmp_path, "jobs", "outcome", word, severity=Severity.FAULT)
    assert "Did you mean" not in fault.todo
    assert "rework column outcome" in fault.todo


def test_a_date_read_otherwise_is_shown_with_its_line(tmp_path):
    (note,) = problems(tmp_path, "jobs", "received_date", "2/29/2024", severity=Severity.NOTE)
    assert note.found == "dates written month first (1 cell; line 2: '2/29/2024' read as 2024-02-29)"


def test_of_several_dates_one_is_shown(tmp_path):
    (note,) = problems(
        tmp_path, "jobs", "received_date", "2024-03-02", "29.2.2024", "28.2.2024", severity=Severity.NOTE
    )
    assert note.found == "dates written day first (2 cells; for example line 3: '29.2.2024' read as 2024-02-29)"
