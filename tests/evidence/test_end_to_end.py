"""From CSV to verdict: a sheet is made, one cell of its sealed log is altered, and the recount says where."""

from __future__ import annotations

import datetime as dt
import re
import shutil

import pytest

from analysis.records.dictionary import BY_NAME, Kind
from analysis.report.evidence_recount import recount_sheet
from tests.evidence.sealed import EVERY_COLUMN, rows_of, sealed, sheet, write_rows
from tests.evidence.small_log import small_log

UNTIL = dt.date(2024, 9, 30)
FILL_IT = "fill it in tests/evidence/small_log.py"

# Columns that the sheet counts: altering one moves a total, and the recount names it with both numbers.
COUNTED = {
    ("jobs", name)
    for name in (
        "job_id",
        "received_date",
        "intake_damage",
        "previous_job_id",
        "decision",
        "first_boot_result",
        "outcome",
        "closed_date",
        "failure_cause",
        "loss_reversible",
        "fee_basis",
    )
} | {("boot_tests", "boot_result"), ("boot_tests", "job_id")}

# A change of the same kind would move nothing the sheet shows; these do.
OTHER = {
    ("jobs", "received_date"): "2023-12-30",
    ("jobs", "previous_job_id"): "K-05",
    ("jobs", "first_boot_result"): "short",
    ("jobs", "outcome"): "stopped_by_client",
    ("jobs", "closed_date"): "2024-10-02",
    ("jobs", "failure_cause"): "original_damage",
    ("boot_tests", "boot_result"): "starts_locked",
    ("boot_tests", "job_id"): "K-05",
    ("jobs", "decline_reason"): "no_time",
    ("jobs", "donor_id"): "D-2",
    ("boot_tests", "donor_id"): "D-2",
    ("jobs", "technician_id"): "T2",
}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The sealed small log and its sheet."""
    folder = small_log(tmp_path_factory.mktemp("small") / "log")
    sealed(folder, UNTIL)
    return folder, sheet(folder, folder.parent)


def told(page, folder):
    said: list[str] = []
    return recount_sheet(page, folder, said.append), "\n".join(said)


def other_value(table, name, value):
    """Another value that the column may hold."""
    column = BY_NAME[table][name]
    if (table, name) in OTHER:
        return OTHER[table, name]
    if column.kind is Kind.CHOICE:
        return next(code for code in column.codes if code not in (value, "here"))
    if column.kind is Kind.YES_NO:
        return "no" if value == "yes" else "yes"
    if column.kind is Kind.DATE:
        return (dt.date.fromisoformat(value) + dt.timedelta(days=1)).isoformat()
    return f"{value}9" if column.kind is Kind.KEY else str(int(value) + 1)


def altered(made, tmp_path, table, name, new):
    """A copy of the log in which one cell is another; also the key of its row."""
    folder = shutil.copytree(made[0], tmp_path / "log")
    heads, rows = rows_of(folder / f"{table}.csv")
    at = heads.index(name)
    full = next((row for row in rows if "K-02" in row and row[at]), None)
    row = full if full is not None else next((row for row in rows if row[at]), None)
    assert row is not None, f"{table}.{name} is blank: {FILL_IT}"
    keys = [row[heads.index(each)] for each in BY_NAME[table].key]
    row[at] = other_value(table, name, row[at]) if new else ""
    write_rows(folder / f"{table}.csv", heads, rows)
    return folder, " ".join(keys)


def names_row(text, table, key):
    return re.search(rf"rows? (changed|removed) since the seal: .*\b{table}\.csv {re.escape(key)}\b", text)


def test_every_column_of_every_table_is_filled_somewhere(made):
    for table, name in EVERY_COLUMN:
        heads, rows = rows_of(made[0] / f"{table}.csv")
        assert any(row[heads.index(name)] for row in rows), f"{table}.{name} is blank: {FILL_IT}"


def test_the_honest_small_log_matches(made):
    same, text = told(made[1], made[0])
    assert same, text
    assert text.startswith("Matches: ")


@pytest.mark.parametrize(("table", "name"), EVERY_COLUMN)
def test_another_value_in_any_field_is_caught_and_its_row_is_named(made, tmp_path, table, name):
    folder, key = altered(made, tmp_path, table, name, new=True)
    same, text = told(made[1], folder)
    assert not same
    assert text.startswith("Does not match:")
    assert names_row(text, table, key), text
    if (table, name) in COUNTED:
        assert re.search(r"total '[^']+': the sheet says \w+, the log gives \w+", text), text


@pytest.mark.parametrize(("table", "name"), sorted(COUNTED))
def test_an_emptied_field_is_caught_and_its_row_is_named(made, tmp_path, table, name):
    folder, key = altered(made, tmp_path, table, name, new=False)
    same, text = told(made[1], folder)
    assert not same
    assert names_row(text, table, key), text


# A donor or technician that no sealed row names is not sealed: nothing can be slipped in there.
@pytest.mark.parametrize(
    ("table", "what"),
    [(table, "removed") for table in BY_NAME] + [(table, "added") for table in list(BY_NAME)[:4]],
)
def test_a_row_taken_out_or_slipped_in_is_named(made, tmp_path, table, what):
    folder = shutil.copytree(made[0], tmp_path / "log")
    heads, rows = rows_of(folder / f"{table}.csv")
    row = next(row for row in rows if "K-02" in row or table in ("donors", "technicians"))
    if what == "removed":
        rows.remove(row)
    else:
        new = {"jobs": ("job_id", "K-90"), "boot_tests": ("test_no", "2"), "heat_steps": ("step_no", "2")}
        column, value = new.get(table, ("side", "upper"))
        rows.append([value if name == column else cell for name, cell in zip(heads, row, strict=True)])
    write_rows(folder / f"{table}.csv", heads, rows)
    same, text = told(made[1], folder)
    assert not same
    assert re.search(rf"rows? {what} since the seal: .*\b{table}\.csv ", text), text
