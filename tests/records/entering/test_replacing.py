"""Files replaced as one, with every single step of it failing, and with the power cut before each of them."""

from __future__ import annotations

import errno
import os
import pathlib
import shutil

import pytest

from analysis.errors import LogError
from analysis.records.entering import replacing, storing
from analysis.records.entering.command import enter_at_the_bench
from analysis.records.entering.entry import Entry
from analysis.records.entering.replacing import JOURNAL, finish, replace_files
from analysis.records.entering.storing import HalfWrittenError, recover, store
from tests.files import TODAY, base, found, write

OLD = {"a.csv": b"a old\n", "b.csv": b"b old\n"}
NEW = {"a.csv": b"a old\na new\n", "c.csv": b"c new\n", "b.csv": b"b old\nb new\n"}
KEPT = {f"{name}.previous": b"kept since the last entry\n" for name in OLD}
DONE = {**NEW, **{f"{name}.previous": data for name, data in OLD.items()}}
MOST = 200


class PowerCutError(BaseException):
    """No code runs after it; so nothing that catches errors may see it."""


class Steps:
    """Counts what reaches the disk and lets one step fail, or all from one on.

    Parameters
    ----------
    monkeypatch : MonkeyPatch
    fails_at : int
        The step, counted from 0.
    how : str
        ``once``: this step alone fails. ``on``: every step from here on, as on a disk that has become read-only.
        ``cut``: nothing happens from here on, and what was being written is cut in half.
    """

    def __init__(self, monkeypatch, fails_at: int, how: str) -> None:
        self.at, self.fails_at, self.how = 0, fails_at, how
        self._writing: pathlib.Path | None = None
        steps = [(os, "replace"), (os, "fsync"), (shutil, "copymode"), (pathlib.Path, "unlink")]
        for owner, name in [*steps, (pathlib.Path, "open")]:
            monkeypatch.setattr(owner, name, self._step(name, getattr(owner, name)))

    def _step(self, name: str, real):
        def step(*given, **options):
            if name == "open" and given[1:] != ("wb",):  # only reads
                return real(*given, **options)
            self._count()
            if name == "open":
                self._writing = given[0]
            return None if name == "fsync" else real(*given, **options)  # the disk of a test need not be waited for

        return step

    @property
    def met(self) -> bool:
        return self.at > self.fails_at

    def _count(self) -> None:
        self.at += 1
        if self.at == self.fails_at + 1 or (self.met and self.how != "once"):
            if self.how == "cut":
                if self._writing is not None and self._writing.is_file():
                    os.truncate(self._writing, self._writing.stat().st_size // 2)
                raise PowerCutError
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def tree(folder) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def tables(state: dict[str, bytes]) -> dict[str, bytes]:
    return {name: data for name, data in state.items() if not name.endswith(".previous")}


@pytest.fixture
def anew(tmp_path):
    """Makes the folder as it was before."""
    numbers = iter(range(MOST * MOST))

    def make() -> pathlib.Path:
        folder = tmp_path / str(next(numbers))
        folder.mkdir()
        for name, data in {**OLD, **KEPT}.items():
            (folder / name).write_bytes(data)
        return folder

    return make


def failing(folder, how: str, at: int, doing=None) -> tuple[bool, bool]:
    """Replace the files, or do something else, with one step failing: was the step met, and was an error told?"""
    with pytest.MonkeyPatch.context() as patch:
        steps = Steps(patch, at, how)
        try:
            (doing or (lambda: replace_files(folder, NEW, "note")))()
        except (OSError, PowerCutError):
            return steps.met, True
    return steps.met, False


@pytest.mark.parametrize("how", ["once", "on", "cut"])
def test_whatever_fails_the_next_start_finds_or_makes_all_of_it_or_nothing(anew, how):
    old, told, done = {**OLD, **KEPT}, 0, 0
    for at in range(MOST):
        folder = anew()
        met, error = failing(folder, how, at)
        now = tree(folder)
        if how == "once" and error:  # the failure was told, and nothing lies about
            assert tables(now) == OLD, at
        if how == "once" and not error:
            assert {name: now[name] for name in DONE} == DONE, at
        if how == "on" and error and JOURNAL not in now:
            assert {name: now[name] for name in old} == old, at
        finished = finish(folder)
        after = tree(folder)
        if error and finished is None and JOURNAL not in now:
            assert tables(after) == OLD or (how == "cut" and after == DONE), at
        assert tables(after) in (OLD, NEW), (at, after)
        assert tables(after) == OLD or after == DONE, at
        assert finished is None or finished.done == (after == DONE), at
        assert finish(folder) is None
        assert tree(folder) == after, at
        told, done = told + error, done + (after == DONE)
        if not met:
            break
    assert not met
    assert told > 12
    assert done > 0


def test_a_failure_before_the_journal_keeps_the_previous_files_too(anew):
    renamed = []
    for at in range(MOST):
        folder = anew()
        with pytest.MonkeyPatch.context() as patch:
            real = os.replace
            patch.setattr(os, "replace", lambda old, new, real=real: (renamed.append(new), real(old, new)))
            met, _ = failing(folder, "once", at)
        if renamed:
            break
        assert met
        assert tree(folder) == {**OLD, **KEPT}
    assert at > 10


def test_the_power_cut_again_while_the_next_start_mends_it(anew):
    twice = 0
    for at in range(MOST):
        met, _ = failing(anew(), "cut", at)
        for again in range(MOST):
            folder = anew()
            failing(folder, "cut", at)
            met_again, cut = failing(folder, "cut", again, lambda folder=folder: finish(folder))
            finish(folder)
            after = tree(folder)
            assert tables(after) in (OLD, NEW), (at, again)
            assert finish(folder) is None
            twice += cut
            if not met_again:
                break
        assert not met_again
        if not met:
            break
    assert not met
    assert twice > 50


def test_a_file_that_is_held_open_takes_the_others_back_and_the_next_entry_goes_in(anew):
    folder = anew()
    real = os.replace

    def held(old, new):
        if pathlib.Path(new).name == "b.csv" and pathlib.Path(old).name.endswith("new"):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        real(old, new)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "replace", held)
        with pytest.raises(PermissionError):
            replace_files(folder, NEW, "note")
    assert tree(folder) == {**OLD, **KEPT}
    replace_files(folder, NEW, "note")
    assert tree(folder) == DONE


def test_what_lay_beside_a_file_behind_a_link_is_swept_too_and_nothing_else(anew, tmp_path):
    folder = anew()
    elsewhere = tmp_path / "elsewhere.csv"
    (folder / "a.csv").rename(elsewhere)
    (folder / "a.csv").symlink_to(elsewhere)
    left = [tmp_path / "elsewhere.csv.rework-new", folder / "b.csv.rework-old", folder / f"{JOURNAL}.rework-new"]
    mine = [folder / "b.csv.new", folder / "b.csv.back", folder / "b.csv.old", folder / "notes.txt"]
    for path in (*left, *mine):
        path.write_bytes(b"x")
    assert finish(folder) is None
    assert not any(path.exists() for path in left)
    assert all(path.exists() for path in mine)


# -- through the command -----------------------------------------------------------------------------------------------

INTAKE = {"received_date": "2024-05-02", "intake_damage": "liquid", "decision": "accepted"}
ENTRY = Entry("J-5", True, True, INTAKE, rows={"donors": ({"donor_id": "D-3"},)})


@pytest.fixture
def log(tmp_path):
    return write(tmp_path / "log", base())


def half_written(log, monkeypatch) -> None:
    """The disk becomes read-only when one of two files has been replaced."""
    real, done = os.replace, []

    def held(old, new):
        done.append(new)
        if len(done) > 2:  # the journal, donors.csv
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        real(old, new)

    monkeypatch.setattr(replacing.os, "replace", held)


def test_an_entry_that_can_be_neither_completed_nor_taken_back_says_so_and_is_mended_at_the_next_start(
    log, monkeypatch
):
    before = tree(log)
    half_written(log, monkeypatch)
    with pytest.raises(
        HalfWrittenError, match=r"Read-only file system.*A part of the entry may be in the files"
    ) as told:
        store(log, ENTRY, TODAY)
    assert f"rework enter {log}" in str(told.value)
    with pytest.raises(HalfWrittenError):
        recover(log)
    monkeypatch.undo()
    assert recover(log) == "The entry of job J-5 had been interrupted; it is complete now."
    assert found(log) == []
    assert {name for name in tree(log) if name[0] != "."} == {*before, "donors.csv.previous", "jobs.csv.previous"}


def test_answers_are_not_kept_twice_when_the_journal_holds_them(log, monkeypatch):
    answers = {"damage at intake": "drop", "decision": "accepted"}
    monkeypatch.setattr(
        storing, "replace_files", lambda *given: (half_written(log, monkeypatch), replace_files(*given))
    )
    with pytest.raises(HalfWrittenError) as told:
        enter_at_the_bench(log, "", TODAY, lambda prompt: answers.get(prompt.partition(":")[0], ""), print)
    assert "--answers" not in str(told.value)
    assert not list(log.glob("unwritten_*"))
    monkeypatch.undo()
    assert "J-5" in recover(log)
    assert found(log) == []


def test_a_file_that_cannot_be_read_while_mending_is_told_in_words(log, monkeypatch):
    (log / JOURNAL).write_text("{")
    with pytest.raises(LogError, match="its journal cannot be read"):
        recover(log)
