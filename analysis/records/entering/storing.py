"""An entry goes into the log: one writer at a time, checked against what stands there now, whole or not at all."""

from __future__ import annotations

import contextlib
import datetime as dt
import itertools
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from analysis.errors import LogError
from analysis.records.dictionary import TABLES
from analysis.records.entering.entry import Entry, applied, renumbered, texts_of
from analysis.records.entering.replacing import JOURNAL, finish, replace_files, write_durably
from analysis.records.entering.trial import RefusedEntryError, added_problems, faults_of
from analysis.records.problems import Problem
from analysis.records.settings import FILE

LOCK = ".rework-lock"
IMPORT = "import"  # what the journal says of files that 'rework import' was writing
WAIT_S = 8.0
_TRIES = 5


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Be the only writer of a log.

    Raises
    ------
    LogError
        If another one writes for long, or the folder cannot be written at all.
    """
    lock = FileLock(folder / LOCK, mode=0o666)  # another user of a shared folder must be able to take it too
    try:
        lock.acquire(timeout=WAIT_S)
    except Timeout:
        found = f"another entry has been writing for more than {WAIT_S:g} seconds."
        todo = "Try again when it is done; the lock goes by itself when that program ends."
        raise LogError(found, rule="one writer at a time", todo=todo, where=str(folder)) from None
    except OSError as error:
        raise _unwritable(folder, error) from None
    try:
        yield
    finally:
        lock.release()


class HalfWrittenError(LogError):
    """Some files hold the entry and others not; the next start completes it or takes it out."""


def _unwritable(folder: Path, error: OSError) -> LogError:
    found = f"cannot be written: {error.strerror or error}."
    todo = "Free some space, close the files in other programs, or mend the folder's permissions"
    if (folder / JOURNAL).is_file():
        todo += f"; then run 'rework enter {folder}': it first completes the entry or takes it out again."
        return HalfWrittenError(f"{found} A part of the entry may be in the files.", todo=todo, where=str(folder))
    return LogError(found, todo=f"{todo}; the log is as it was.", where=str(folder))


def _there(folder: Path) -> None:
    if not (folder / "jobs.csv").is_file():
        todo = "Make empty files to fill with 'rework blank-log'."
        raise LogError(f"{folder} holds no jobs.csv.", rule="The one file a log must have is jobs.csv.", todo=todo)


def read_files(folder: Path) -> dict[str, bytes]:
    """Content of every table that is there, by table name."""
    _there(folder)
    return {t.name: (folder / t.file).read_bytes() for t in TABLES if (folder / t.file).is_file()}


def settings_bytes(folder: Path) -> bytes | None:
    """Content of bench.toml, if there is one."""
    return (folder / FILE).read_bytes() if (folder / FILE).is_file() else None


def recover(folder: Path) -> str:
    """Finish an entry that was interrupted; a sentence on it, or nothing."""
    if not (folder / JOURNAL).is_file():
        _there(folder)  # or the lock would make the folder
    with locked(folder):
        return _mended(folder)


def _mended(folder: Path) -> str:
    try:
        finished = finish(folder)
    except OSError as error:
        raise _unwritable(folder, error) from None
    if finished is None:
        return ""
    if finished.note == IMPORT:
        became = "is complete now" if finished.done else "was taken back; run 'rework import' again"
        return f"An import had been interrupted; it {became}."
    entry = Entry.from_json(finished.note, JOURNAL)
    if finished.done:
        return f"The entry of job {entry.job} had been interrupted; it is complete now."
    return (
        f"The entry of job {entry.job} had been interrupted and could not be completed (a file was changed or could not"
        f" be replaced); it was taken out again. {kept_answers(entry, folder)}"
    )


@dataclass(frozen=True)
class Stored:
    """What was written: the job's code, the files that changed, warnings that the new rows bring.

    ``told`` says what became of an entry that had been interrupted before this one.
    """

    job: str
    files: tuple[str, ...]
    warnings: tuple[Problem, ...]
    told: str = ""


def tried(folder: Path, entry: Entry, today: dt.date) -> list[Problem]:
    """Faults and warnings that the entry would bring; nothing is written."""
    before = read_files(folder)
    texts = texts_of(before)
    return added_problems(settings_bytes(folder), before, applied(renumbered(entry, texts["jobs"]), texts), today)


def store(folder: Path, entry: Entry, today: dt.date) -> Stored:
    """Write an entry.

    Raises
    ------
    RefusedEntryError
        If it brings faults into the log.
    LogError
        If the log cannot be read, locked or written; nothing is changed then.
    """
    _there(folder)
    with locked(folder):
        told = _mended(folder)
        for _ in range(_TRIES):
            before = read_files(folder)
            texts = texts_of(before)
            entry = renumbered(entry, texts["jobs"])
            after = applied(entry, texts)
            problems = added_problems(settings_bytes(folder), before, after, today)
            faults = faults_of(problems)
            if faults:
                raise RefusedEntryError(faults)
            if read_files(folder) != before:  # a spreadsheet saved it while it was being checked
                continue
            try:
                replace_files(folder, {f"{name}.csv": data for name, data in after.items()}, entry.as_json())
            except OSError as error:
                raise _unwritable(folder, error) from None
            return Stored(entry.job, tuple(f"{name}.csv" for name in after), tuple(problems), told)
    todo = "Close its files in other programs and try again."
    raise LogError("the log is being changed again and again.", todo=todo, where=str(folder))


def kept_answers(entry: Entry, folder: Path) -> str:
    """Keep an entry that could not be written; a sentence that says where, or holds the entry itself."""
    path = _saved(entry, folder)
    if path is None:
        return f"It could not be kept in any file; copy it from here:\n{entry.as_json()}"
    return f"The answers are kept in {path}. Enter them with: rework enter {folder} --answers {path}"


def _saved(entry: Entry, folder: Path) -> Path | None:
    """Save it in the log's folder, else at home, else among temporary files; never over another saved entry."""
    name = re.sub(r"[^A-Za-z0-9-]", "_", entry.job)
    for place in (folder, Path.home(), Path(tempfile.gettempdir())):
        paths = (place / f"unwritten_{name}{n or ''}.json" for n in itertools.count())
        with contextlib.suppress(OSError):
            path = next(path for path in paths if not path.exists())
            try:
                write_durably(path, entry.as_json().encode())
            except OSError:
                path.unlink(missing_ok=True)
                continue
            return path
    return None
