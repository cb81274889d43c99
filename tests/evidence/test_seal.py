"""Sealing: any order of rows the same, every field caught, the ledger only ever added to, faults refused."""

from __future__ import annotations

import datetime as dt
import json
import random
import stat
import sys

import pandas as pd
import pytest

from analysis.errors import LogError
from analysis.records.dictionary import BY_NAME, Kind
from analysis.records.log import read_log
from analysis.records.sealing import hashes
from analysis.records.sealing.ledger import read_ledger, read_secret
from analysis.records.sealing.seal import changes_since
from tests.evidence.sealed import EVERY_COLUMN, copy_of, demo_copy, rows_of, sealed, write_rows
from tests.files import base, write

SALT = bytes(range(32))
DAY = pd.Timestamp("2024-09-30")


def seal_file(folder):
    return folder / "seals" / "ledger.jsonl"


@pytest.fixture(scope="module")
def typed(demo_log):
    """The sealed log as read, with the hashes of its rows under a fixed salt."""
    log = read_log(demo_log)
    return log, hashes.row_hashes(log, DAY, SALT)


def other_value(column, value):
    """Another value of the column's kind; a blank is filled."""
    if column.kind is Kind.CHOICE:
        return next(code for code in column.codes if pd.isna(value) or code != value)
    if column.kind is Kind.YES_NO:
        return True if pd.isna(value) else not value
    if column.kind is Kind.DATE:
        return DAY - pd.Timedelta(days=9) if pd.isna(value) else value - pd.Timedelta(days=1)
    if column.kind is Kind.KEY:
        return "X-1" if pd.isna(value) else f"{value}X"
    return 1 if pd.isna(value) else value + 1


def settled_row(log, sealed_rows, table):
    """Position of a sealed row of a settled job (its cells all count), filled rather than blank where possible."""
    frame = log.tables[table]
    jobs = log.tables["jobs"]
    done = set(jobs.loc[jobs["closed_date"].le(DAY - pd.Timedelta(days=60)), "job_id"])
    used = set(jobs.loc[jobs["job_id"].isin(done), "donor_id"]) | set(jobs["technician_id"])
    key = BY_NAME[table].key[0]
    fitting = frame[key].isin(done if key == "job_id" else used)
    return frame[fitting].index[7 if fitting.sum() > 7 else 0]


@pytest.mark.parametrize(("table", "column"), EVERY_COLUMN)
def test_a_change_in_any_field_is_caught(typed, table, column):
    log, before = typed
    at = settled_row(log, before, table)
    frame = log.tables[table].copy()
    frame.loc[at, column] = other_value(BY_NAME[table][column], frame.loc[at, column])
    spoilt = type(log)({**log.tables, table: frame}, log.folder)
    changes = hashes.compare_rows(before, hashes.row_hashes(spoilt, DAY, SALT))
    assert changes.any
    assert f"{table}.csv" in {file for file, _ in (*changes.added, *changes.changed, *changes.removed)}


@pytest.mark.parametrize("table", BY_NAME)
def test_a_row_taken_out_or_put_in_is_caught(typed, table):
    log, before = typed
    at = settled_row(log, before, table)
    fewer = log.tables[table].drop(index=at).reset_index(drop=True)
    changes = hashes.compare_rows(before, hashes.row_hashes(type(log)({**log.tables, table: fewer}), DAY, SALT))
    assert any(file == f"{table}.csv" for file, _ in changes.removed)
    again = hashes.row_hashes(type(log)({**log.tables, table: fewer}), DAY, SALT)
    assert any(file == f"{table}.csv" for file, _ in hashes.compare_rows(again, before).added)


def test_the_order_of_rows_and_columns_and_the_spelling_of_the_file_do_not_matter(tmp_path, demo_log, typed):
    folder = demo_copy(tmp_path / "shuffled")
    rng = random.Random(3)
    for path in folder.glob("*.csv"):
        heads, rows = rows_of(path)
        rng.shuffle(rows)
        order = rng.sample(range(len(heads)), len(heads))
        write_rows(path, [heads[at] for at in order], [[row[at] for at in order] for row in rows])
    assert hashes.row_hashes(read_log(folder), DAY, SALT) == typed[1]
    assert hashes.root_hash(hashes.row_hashes(read_log(folder), DAY, SALT)) == hashes.root_hash(typed[1])


def test_another_salt_gives_other_hashes_and_every_seal_has_its_own(tmp_path, typed):
    log, before = typed
    other = hashes.row_hashes(log, DAY, bytes(32))
    assert not set(before["jobs"].values()) & set(other["jobs"].values())
    folder = write(tmp_path / "log", base())
    sealed(folder, dt.date(2024, 4, 30))
    sealed(folder, dt.date(2024, 4, 30))
    one, two = read_ledger(folder)
    assert read_secret(folder, one).salt != read_secret(folder, two).salt
    assert one.root != two.root


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such permissions")
def test_the_private_file_is_for_its_owner_alone_and_the_ledger_holds_no_salt(demo_log):
    private = demo_log / "seals" / "seal-1.private.json"
    assert stat.S_IMODE(private.stat().st_mode) == 0o600
    found = json.loads(private.read_text(encoding="utf-8"))
    public = seal_file(demo_log).read_text(encoding="utf-8")
    assert found["salt"] not in public
    assert not any(value in public for value in found["rows"]["jobs"].values())
    assert "J-0" not in public


def test_what_goes_on_after_the_day_is_no_change(tmp_path):
    tables = base()
    folder = write(tmp_path / "log", tables)
    seal = sealed(folder, dt.date(2024, 4, 30))  # J-4 is open then
    tables["jobs"][3] |= {"outcome": "not_recovered", "closed_date": "2024-05-20", "loss_reversible": "yes"}
    tables["boot_tests"].append({"job_id": "J-4", "test_no": "1", "test_date": "2024-05-10", "boot_result": "short"})
    tables["chip_sides"].append({"job_id": "J-4", "chip_role": "processor", "side": "lower", "clean_passes_n": "2"})
    tables["jobs"].append(
        {"job_id": "J-5", "received_date": "2024-05-02", "intake_damage": "drop", "decision": "accepted"}
    )
    write(folder, tables)
    log = read_log(folder)
    assert not log.faults
    assert not changes_since(log, folder, seal).any


@pytest.mark.parametrize(
    ("row", "change"),
    [
        (3, {"intake_damage": "heat"}),
        (3, {"decision": "withdrawn"}),
        (3, {"received_date": "2024-04-02"}),
        (3, {"outcome": "recovered", "closed_date": "2024-04-20", "first_boot_result": "data_readable"}),
        (0, {"closed_date": "2024-05-20"}),
    ],
)
def test_an_open_job_cannot_be_changed_back_in_time(tmp_path, row, change):
    tables = base()
    folder = write(tmp_path / "log", tables)
    seal = sealed(folder, dt.date(2024, 4, 30))
    tables["jobs"][row] |= change
    write(folder, tables)
    assert changes_since(read_log(folder), folder, seal).changed


def test_a_correction_stays_visible_in_the_ledger(tmp_path):
    tables = base()
    folder = write(tmp_path / "log", tables)
    sealed(folder, dt.date(2024, 4, 30))
    tables["jobs"][1]["failure_cause"] = "poor_joint"
    write(folder, tables)
    second = sealed(folder, dt.date(2024, 4, 30))
    assert second.since_previous == {"added": 0, "changed": 1, "removed": 0}
    first, read = read_ledger(folder)
    assert read == second
    assert read.previous == first.fingerprint


def test_a_log_with_a_fault_is_refused_and_nothing_written(tmp_path):
    tables = base()
    tables["jobs"][0]["bench_hours"] = "99"
    folder = write(tmp_path / "log", tables)
    with pytest.raises(LogError, match="1 fault and is not sealed"):
        sealed(folder, dt.date(2024, 4, 30))
    assert not (folder / "seals").exists()


def test_a_day_that_is_not_over_and_a_log_without_jobs_by_then_are_refused(tmp_path):
    folder = write(tmp_path / "log", base())
    with pytest.raises(LogError, match="is not over yet"):
        sealed(folder, dt.date(2024, 12, 1), today=dt.date(2024, 12, 1))
    with pytest.raises(LogError, match="no job had come in"):
        sealed(folder, dt.date(2024, 1, 1))


@pytest.mark.parametrize("spoil", ["edit", "drop first", "swap", "cut"])
def test_a_ledger_that_was_tampered_with_is_refused(tmp_path, spoil):
    folder = write(tmp_path / "log", base())
    for day in (20, 25, 30):
        sealed(folder, dt.date(2024, 4, day))
    path = seal_file(folder)
    lines = path.read_text(encoding="utf-8").splitlines()
    spoilt = {
        "edit": [lines[0].replace("2024-04-20", "2024-04-21"), *lines[1:]],
        "drop first": lines[1:],
        "swap": [lines[1], lines[0], lines[2]],
        "cut": [*lines[:2], lines[2][:-9]],
    }[spoil]
    path.write_text("\n".join(spoilt) + "\n", encoding="utf-8")
    with pytest.raises(LogError, match="ledger of seals is not what was written"):
        read_ledger(folder)
    with pytest.raises(LogError, match="ledger of seals"):
        sealed(folder, dt.date(2024, 4, 30))


def test_a_private_file_that_was_exchanged_is_refused(tmp_path):
    folder = write(tmp_path / "log", base())
    seal = sealed(folder, dt.date(2024, 4, 30))
    path = folder / "seals" / "seal-1.private.json"
    found = json.loads(path.read_text(encoding="utf-8"))
    found["rows"]["jobs"]["J-1"] = "0" * 64
    path.write_text(json.dumps(found), encoding="utf-8")
    with pytest.raises(LogError, match="not the one that was sealed"):
        read_secret(folder, seal)
    path.unlink()
    with pytest.raises(LogError, match="missing or damaged"):
        read_secret(folder, seal)


def test_a_private_file_left_by_an_interrupted_run_does_not_stop_the_next(tmp_path):
    folder = write(tmp_path / "log", base())
    (folder / "seals").mkdir()
    (folder / "seals" / "seal-1.private.json").write_text("half", encoding="utf-8")
    seal = sealed(folder, dt.date(2024, 4, 30))
    assert not changes_since(read_log(folder), folder, seal).any


def test_the_tables_of_the_log_stay_as_they_are(tmp_path, demo_log):
    folder = copy_of(demo_log, tmp_path / "log")
    before = {path.name: path.read_bytes() for path in folder.glob("*.*")}
    sealed(folder)
    assert {name: (folder / name).read_bytes() for name in before} == before
