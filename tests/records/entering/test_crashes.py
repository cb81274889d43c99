"""A crash, a full disk or a file that cannot be replaced leaves the log as it was, or the next start completes it."""

from __future__ import annotations

import errno
import os
import signal
from pathlib import Path

import pytest

from analysis.errors import LogError
from analysis.records.check import check_log
from analysis.records.entering import replacing
from analysis.records.entering.entry import CodeTakenError, Entry
from analysis.records.entering.replacing import JOURNAL
from analysis.records.entering.storing import recover, store
from tests.files import TODAY, base, found, write
from tests.records.entering.entries import ENTRY, contents, run


@pytest.fixture
def log(tmp_path):
    return write(tmp_path / "log", base())


KILLED = """
    import datetime as dt, os, signal, sys
    from pathlib import Path
    from analysis.records.entering import replacing, storing
    from analysis.records.entering.entry import Entry
    left, real = int(sys.argv[2]), os.replace
    def replace(old, new):
        global left
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        left -= 1
        real(old, new)
    replacing.os.replace = replace
    storing.store(Path(sys.argv[1]), Entry.from_json(sys.argv[3], ""), dt.date(2024, 11, 1))
"""
# The journal is renamed first, then the three files themselves, then the copies of the old ones.
AFTER_JOURNAL = (1, 2, 3, 5)


def kill_after(log: Path, renames: int) -> None:
    done = run(KILLED, log, renames, ENTRY.as_json())
    assert done.returncode == -signal.SIGKILL, done.stderr


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a POSIX signal")
def test_killed_before_the_journal_nothing_has_happened(log):
    before = contents(log)
    kill_after(log, 0)
    assert contents(log) == before
    assert recover(log) == ""
    assert contents(log) == before
    assert store(log, ENTRY, TODAY).job == "J-5"


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a POSIX signal")
@pytest.mark.parametrize("renames", AFTER_JOURNAL)
def test_killed_between_two_files_the_next_start_completes_the_entry(log, renames):
    before = contents(log)
    kill_after(log, renames)
    changed = [name for name, data in contents(log).items() if data != before[name]]
    assert len(changed) == min(renames - 1, 3)
    assert "interrupted-entry" in [p.code for p in check_log(log, TODAY).problems]
    assert "J-5" in recover(log)
    report = check_log(log, TODAY)
    assert (report.exit_status, found(log)) == (0, [])
    assert report.rows_read["jobs"] == 5
    assert report.rows_read["boot_tests"] == 4
    assert recover(log) == ""
    with pytest.raises(CodeTakenError):
        store(log, Entry.from_json(ENTRY.as_json(), ""), TODAY)


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a POSIX signal")
def test_a_file_edited_by_hand_after_the_crash_is_never_overwritten(log):
    before = contents(log)
    kill_after(log, 2)  # donors.csv holds the entry, jobs.csv not yet
    edited = before["jobs.csv"].replace(b"FAM-A", b"FAM-B")
    (log / "jobs.csv").write_bytes(edited)
    told = recover(log)
    assert "taken out again" in told
    assert contents(log) == {**before, "jobs.csv": edited}
    saved = log / "unwritten_J-5.json"
    assert str(saved) in told
    store(log, Entry.from_json(saved.read_text(), ""), TODAY)
    assert check_log(log, TODAY).rows_read["jobs"] == 5


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a POSIX signal")
def test_an_edit_after_the_file_was_written_stays_with_the_completed_entry(log):
    kill_after(log, 2)
    edited = (log / "donors.csv").read_bytes().replace(b"LOT-1", b"LOT-2")
    (log / "donors.csv").write_bytes(edited)
    assert "complete now" in recover(log)
    assert (log / "donors.csv").read_bytes() == edited
    assert check_log(log, TODAY).rows_read["jobs"] == 5


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a POSIX signal")
def test_files_edited_on_both_sides_are_left_to_the_user(log):
    kill_after(log, 2)
    for name in ("donors.csv", "jobs.csv"):
        (log / name).write_bytes((log / name).read_bytes() + b"\n")
    before = contents(log)
    with pytest.raises(LogError, match=r"csv\.rework-old"):
        recover(log)
    assert contents(log) == before


@pytest.mark.parametrize("writes", range(7))
def test_a_full_disk_leaves_the_log_as_it_was(log, monkeypatch, writes):
    before, real, done = contents(log), os.fsync, []

    def full(handle):
        done.append(handle)
        if len(done) > writes:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        real(handle)

    monkeypatch.setattr(replacing.os, "fsync", full)
    with pytest.raises(LogError, match="No space left"):
        store(log, ENTRY, TODAY)
    assert contents(log) == before
    assert not (log / JOURNAL).exists()
    monkeypatch.undo()
    assert recover(log) == ""
    assert store(log, ENTRY, TODAY).job == "J-5"


@pytest.mark.parametrize("renames", range(1, 7))
def test_a_file_that_cannot_be_replaced_takes_the_others_back(log, monkeypatch, renames):
    """As on Windows, where a spreadsheet that has the file open forbids it."""
    before, real, done = contents(log), os.replace, []

    def held(old, new):
        done.append(new)
        if len(done) == renames + 1:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        real(old, new)

    monkeypatch.setattr(replacing.os, "replace", held)
    with pytest.raises(LogError, match="Permission denied"):
        store(log, ENTRY, TODAY)
    assert contents(log) == before
    assert not (log / JOURNAL).exists()


@pytest.mark.skipif(os.name != "posix", reason="a file size limit is a POSIX notion")
def test_a_real_failing_write_leaves_the_log_as_it_was(log):
    before = contents(log)
    code = """
        import datetime as dt, resource, sys
        from pathlib import Path
        from analysis.records.entering import storing
        from analysis.records.entering.entry import Entry
        real = storing.replace_files
        def limited(*given):
            resource.setrlimit(resource.RLIMIT_FSIZE, (300, resource.RLIM_INFINITY))
            real(*given)
        storing.replace_files = limited
        try:
            storing.store(Path(sys.argv[1]), Entry.from_json(sys.argv[2], ""), dt.date(2024, 11, 1))
        except storing.LogError as error:
            print(error)
    """
    done = run(code, log, ENTRY.as_json())
    assert "cannot be written: File too large" in done.stdout, done.stderr
    assert contents(log) == before
    assert not list(log.glob("*.rework-[no]*"))
