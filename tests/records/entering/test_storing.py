"""Entries are written whole or not at all: two writers at once, locked logs and people without rights included."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
import tempfile
import textwrap
from dataclasses import replace
from pathlib import Path

import pytest
from filelock import FileLock

from analysis.errors import LogError
from analysis.records.check import check_log
from analysis.records.entering import storing
from analysis.records.entering.command import enter_at_the_bench
from analysis.records.entering.entry import CodeTakenError, Entry, next_code
from analysis.records.entering.replacing import JOURNAL
from analysis.records.entering.storing import kept_answers, store
from analysis.records.entering.trial import RefusedEntryError
from tests.files import TODAY, as_csv_text, base, found, write
from tests.records.entering.entries import ENTRY, INTAKE, ROOT, TEST, contents


@pytest.fixture
def log(tmp_path):
    return write(tmp_path / "log", base())


def test_an_entry_lands_in_its_files_and_the_old_ones_are_kept(log):
    before = contents(log)
    stored = store(log, ENTRY, TODAY)
    assert stored.files == ("donors.csv", "jobs.csv", "boot_tests.csv")
    after = contents(log)
    for name in before:
        assert after[name].startswith(before[name])
        assert (after[name] != before[name]) == (name in stored.files)
    for name in stored.files:
        assert (log / f"{name}.previous").read_bytes() == before[name]
    assert found(log) == []
    assert not list(log.glob("*.rework-[no]*"))
    assert not (log / JOURNAL).exists()


def test_only_the_continued_row_changes(log):
    before = (log / "jobs.csv").read_bytes().splitlines(keepends=True)
    store(log, Entry("J-4", False, cells={"underfill": "full", "technician_id": "T1"}), TODAY)
    after = (log / "jobs.csv").read_bytes().splitlines(keepends=True)
    assert [old == new for old, new in zip(before, after, strict=True)] == [True, True, True, True, False]
    assert found(log) == []


@pytest.mark.parametrize(
    ("cells", "rows", "code"),
    [
        ({"received_date": "2025-01-01"}, {}, "future"),
        ({"intake_damage": "dropped"}, {}, "code"),
        ({"intake_damage": ""}, {}, "blank"),
        ({"bench_hours": "88"}, {}, "range"),
        ({"donor_id": "D-9"}, {}, "unknown-key"),
        ({"outcome": "recovered"}, {}, "half-closed"),
        ({"decision": "declined"}, {"boot_tests": (TEST,)}, "work-without-job"),
        ({}, {"boot_tests": ({**TEST, "test_no": "2"},)}, "test-gap"),
        ({}, {"boot_tests": ({**TEST, "test_date": "2024-05-01"},)}, "test-outside-job"),
        ({}, {"boot_tests": (TEST, TEST)}, "duplicate-key"),
        ({}, {"donors": ({"donor_id": "D-1"},)}, "duplicate-key"),
        ({}, {"chip_sides": ({"chip_role": "storage", "side": "lower", "chip_source": "donor"},)}, "chip-source"),
        ({"technician_id": "anna@example.org"}, {}, "personal-data"),
    ],
)
def test_what_check_would_refuse_is_not_written(log, cells, rows, code):
    before = contents(log)
    with pytest.raises(RefusedEntryError) as refused:
        store(log, Entry("J-5", True, cells={**INTAKE, **cells}, rows=rows), TODAY)
    assert code in [problem.code for problem in refused.value.problems]
    assert contents(log) == before


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize(("delimiter", "end"), [(",", "\n"), (";", "\r\n"), ("\t", "\r")])
def test_a_log_of_any_dialect_grows_and_stays_clean(tmp_path, codec, delimiter, end):
    for name, rows in base().items():
        text = as_csv_text(name, rows, delimiter).replace("\n", f"{delimiter}Öl{end}")
        (tmp_path / f"{name}.csv").write_bytes(text.replace(f"{delimiter}Öl", f"{delimiter}Größe", 1).encode(codec))
    before = {path.name: path.read_bytes().decode(codec).split(end) for path in tmp_path.glob("*.csv")}
    faults = check_log(tmp_path, TODAY).exit_status
    store(tmp_path, ENTRY, TODAY)
    store(tmp_path, Entry("J-4", False, cells={"bench_hours": "2.5", "underfill": "none"}), TODAY)
    assert faults == check_log(tmp_path, TODAY).exit_status == 0
    after = {path.name: path.read_bytes().decode(codec).split(end) for path in tmp_path.glob("*.csv")}
    changed = {n: [i for i, (a, b) in enumerate(zip(before[n], after[n], strict=False)) if a != b] for n in before}
    # The continued row, and behind the last line end the first new row; nothing else.
    assert changed == {name: [] for name in before} | {"jobs.csv": [4, 5], "donors.csv": [3], "boot_tests.csv": [4]}
    assert (tmp_path / "jobs.csv").read_bytes()[:3] == {"utf-8-sig": b"\xef\xbb\xbf", "utf-16": b"\xff\xfej"}.get(
        codec, b"job"
    )


def test_faults_that_were_there_do_not_block(tmp_path):
    tables = base()
    tables["jobs"][0]["bench_hours"] = "many"
    tables["boot_tests"][2]["test_no"] = "3"
    log = write(tmp_path, tables)
    faults = found(log)
    assert len(faults) >= 2
    store(log, ENTRY, TODAY)
    assert found(log) == faults


def test_a_taken_code_gives_way_only_when_it_was_proposed(log):
    entry = Entry("J-4", True, True, INTAKE)
    assert store(log, entry, TODAY).job == "J-5"
    with pytest.raises(CodeTakenError, match="J-6"):
        store(log, Entry("J-5", True, False, INTAKE), TODAY)


def test_a_code_that_gives_way_keeps_its_pattern(log):
    store(log, Entry("X-77", True, False, INTAKE), TODAY)
    assert store(log, Entry("J-4", True, True, INTAKE), TODAY).job == "J-5"


def test_a_cell_that_someone_else_filled_meanwhile_is_not_written_over(log):
    store(log, Entry("J-4", False, cells={"underfill": "none"}), TODAY)
    with pytest.raises(LogError, match="someone wrote it"):
        store(log, Entry("J-4", False, cells={"underfill": "full"}, seen={"underfill": ""}), TODAY)
    store(log, Entry("J-4", False, cells={"underfill": "full"}, seen={"underfill": "none"}), TODAY)
    assert b",full," in (log / "jobs.csv").read_bytes().splitlines()[4]


@pytest.mark.parametrize(
    ("codes", "expected"),
    [
        ([], "J-0001"),
        (["J-0650", "J-0649"], "J-0651"),
        (["J-0650", "X9"], "X10"),
        (["2026/099b"], "2026/100b"),
        (["007"], "008"),
        (["A", "999"], "1000"),
        (["alpha"], "J-0001"),
    ],
)
def test_the_next_code_follows_the_shops_own_pattern(codes, expected):
    assert next_code(codes, "J-0001") == expected


WRITER = """
    import datetime as dt, sys
    from pathlib import Path
    from analysis.records.entering import storing
    from analysis.records.entering.entry import Entry
    storing.WAIT_S = 300  # the machine may be busy
    for n in range(25):
        cells = {"received_date": "2024-05-02", "intake_damage": "drop", "decision": "accepted"}
        job, proposed = (f"{sys.argv[2]}-{n}", False) if n % 2 else ("J-5", True)
        test = {"test_no": "1", "test_date": "2024-05-04", "boot_result": "short"}
        entry = Entry(job, True, proposed, cells, rows={"boot_tests": (test,)})
        storing.store(Path(sys.argv[1]), entry, dt.date(2024, 11, 1))
"""


def test_two_processes_enter_25_jobs_each_and_none_is_lost(log):
    command = [sys.executable, "-c", textwrap.dedent(WRITER), str(log)]
    both = [subprocess.Popen([*command, name], cwd=ROOT) for name in ("A", "B")]
    assert [process.wait(timeout=400) for process in both] == [0, 0]
    report = check_log(log, TODAY)
    assert report.exit_status == 0
    assert report.rows_read["jobs"] == 4 + 50
    assert report.rows_read["boot_tests"] == 3 + 50


def test_a_held_lock_is_told_of_and_nothing_is_written(log, monkeypatch):
    monkeypatch.setattr(storing, "WAIT_S", 0.2)
    before = contents(log)
    with FileLock(log / storing.LOCK), pytest.raises(LogError, match="another entry"):
        store(log, ENTRY, TODAY)
    assert contents(log) == before


def test_a_read_only_folder_is_told_of_before_the_first_question(log, monkeypatch):
    def refuse(self, timeout):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(FileLock, "acquire", refuse)
    with pytest.raises(LogError, match="Permission denied"):
        enter_at_the_bench(log, "", TODAY, lambda prompt: pytest.fail("asked"), print)


def test_a_read_only_folder_is_told_of(log, monkeypatch):
    def refuse(self, timeout):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(FileLock, "acquire", refuse)
    with pytest.raises(LogError, match="Permission denied"):
        store(log, ENTRY, TODAY)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root can become another user")
def test_another_user_without_rights_can_only_keep_the_answers(log, monkeypatch):
    for folder in (log, *log.parents[:-2]):
        folder.chmod(folder.stat().st_mode | 0o055)
    monkeypatch.setenv("HOME", "/nonexistent")
    before = contents(log)
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:  # pragma: no cover
        os.setuid(65534)
        try:
            store(log, ENTRY, TODAY)
        except LogError as error:
            os.write(writer, f"{error}\n{kept_answers(ENTRY, log)}".encode())
        finally:
            os._exit(0)
    os.close(writer)
    told = os.read(reader, 10_000).decode()
    os.waitpid(child, 0)
    os.close(reader)
    assert "Permission denied" in told
    kept = Path(told.partition("kept in ")[2].partition(". Enter")[0])
    assert kept.parent == Path(tempfile.gettempdir())
    assert Entry.from_json(kept.read_text(), "") == replace(ENTRY, proposed=False)
    kept.unlink()
    assert contents(log) == before


def test_a_change_by_hand_during_the_check_is_read_again(log, monkeypatch):
    real, edited = storing.added_problems, []
    typed = {"job_id": "J-5", "received_date": "2024-05-01", "intake_damage": "drop", "decision": "declined"}

    def meanwhile(*given):
        problems = real(*given)
        if not edited:
            edited.append(True)
            heading, row = as_csv_text("jobs", [typed]).splitlines()
            assert (log / "jobs.csv").read_text().startswith(f"{heading}\n")
            with (log / "jobs.csv").open("a") as file:
                file.write(f"{row}\n")
        return problems

    monkeypatch.setattr(storing, "added_problems", meanwhile)
    assert store(log, ENTRY, TODAY).job == "J-6"  # the code it had proposed is taken now
    assert check_log(log, TODAY).rows_read["jobs"] == 6
    assert found(log) == []


def test_kept_answers_never_replace_others(log):
    first, second = kept_answers(ENTRY, log), kept_answers(ENTRY, log)
    assert first != second
    assert len(list(log.glob("unwritten_*"))) == 2
    assert not [p for p in check_log(log, TODAY).problems if p.code == "stranger"]


def test_a_broken_saved_entry_is_refused_in_words():
    good = json.loads(ENTRY.as_json())
    for broken in ("", "[]", "{}", json.dumps({**good, "colour": 1}), json.dumps({**good, "cells": {"colour": "x"}})):
        with pytest.raises(LogError, match="not a saved entry"):
            Entry.from_json(broken, "file")


@pytest.mark.skipif(os.name != "posix", reason="links and modes are POSIX notions")
def test_links_and_permissions_stay(log, tmp_path):
    elsewhere = tmp_path / "shared.csv"
    (log / "jobs.csv").rename(elsewhere)
    elsewhere.chmod(0o640)
    (log / "jobs.csv").symlink_to(elsewhere)
    store(log, ENTRY, TODAY)
    assert (log / "jobs.csv").is_symlink()
    assert elsewhere.stat().st_mode & 0o777 == 0o640
    assert b"J-5" in elsewhere.read_bytes()
