"""A log is read once while nothing of it changes, and again as soon as anything does."""

from __future__ import annotations

import datetime as dt
import os
import shutil
from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import LogError
from analysis.records import once
from analysis.records.log import read_log

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture
def folder(tmp_path):
    return Path(shutil.copytree(DEMO, tmp_path / "log"))


@pytest.fixture
def reads(monkeypatch):
    """Every time that a log is really read."""
    said: list[Path] = []
    monkeypatch.setattr(once, "_LAST", [])
    monkeypatch.setattr(once, "read_log", lambda place: said.append(place) or read_log(place))
    return said


def test_an_unchanged_log_is_read_once_however_its_folder_is_written(folder, reads, monkeypatch):
    first = once.usable_log(folder)
    monkeypatch.chdir(folder.parent)
    assert once.usable_log(Path("log")) is first
    assert once.log_as_read(folder).hash == first.hash
    assert len(reads) == 1
    for name, table in read_log(folder).without_faulty_jobs().tables.items():
        pd.testing.assert_frame_equal(first.tables[name], table)


def _same_length(folder):
    path = folder / "jobs.csv"
    stat = path.stat()
    path.write_bytes(path.read_bytes().replace(b"liquid", b"drop  ", 1))
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))  # neither size nor time tell of it


@pytest.mark.parametrize(
    "change",
    [
        _same_length,
        lambda folder: (folder / "bench.toml").write_text('shop_name = "Another"\n'),
        lambda folder: (folder / "donors.csv").unlink(),
        lambda folder: (folder / "stranger.csv").write_text("a\n"),
    ],
    ids=["a cell", "settings", "a table gone", "a stranger"],
)
def test_whatever_changes_is_seen(folder, reads, change):
    before = once.log_as_read(folder)
    change(folder)
    after = once.log_as_read(folder)
    assert len(reads) == 2
    fresh = read_log(folder)
    assert (after.hash, after.problems, after.settings) == (fresh.hash, fresh.problems, fresh.settings)
    assert after is not before


def test_the_next_day_it_is_read_again(folder, reads, monkeypatch):
    """A date that was in the future no longer is."""
    once.log_as_read(folder)

    class Tomorrow(dt.date):
        @classmethod
        def today(cls):
            return dt.date.fromordinal(dt.date.toordinal(super().today()) + 1)

    monkeypatch.setattr(once.dt, "date", Tomorrow)
    once.log_as_read(folder)
    assert len(reads) == 2


def test_two_logs_are_not_taken_for_one_another(folder, tmp_path, reads):
    other = shutil.copytree(folder, tmp_path / "other")
    once.log_as_read(folder)
    once.log_as_read(other)
    assert len(reads) == 2


def test_a_log_that_changes_while_it_is_read_is_not_remembered(folder, monkeypatch):
    monkeypatch.setattr(once, "_LAST", [])

    def read(place):
        found = read_log(place)
        (place / "beside.csv").write_text("x")
        return found

    monkeypatch.setattr(once, "read_log", read)
    once.log_as_read(folder)
    assert not once._LAST


def test_a_folder_that_is_none_is_told_as_by_reading(tmp_path):
    with pytest.raises(LogError, match="does not exist"):
        once.usable_log(tmp_path / "gone")
    assert once.state_of(tmp_path / "gone") == ""
