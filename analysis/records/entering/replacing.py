"""Several files replaced as one: all of them or none, whenever the computer stops.

New files are written beside the old ones and flushed to the disk, then a journal says what is about to happen, then
each file is renamed over its old one, then the journal goes. Whoever comes next and finds a journal finishes the work,
or takes it back where a file was changed by hand meanwhile.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import signal
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.errors import LogError

JOURNAL = ".rework-entry.json"


def digest(path: Path) -> str:
    """SHA-256 of a file; empty when there is none."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


@dataclass(frozen=True)
class Part:
    """One file of the whole.

    Parameters
    ----------
    place : Path
        The file to replace, links followed.
    before, after : str
        Digests of its content; ``before`` is empty for a file that was not there.
    """

    place: Path
    before: str
    after: str

    @property
    def new(self) -> Path:
        """Where the new content waits."""
        return self.place.with_name(f"{self.place.name}.new")

    @property
    def previous(self) -> Path:
        """Where the old content is kept."""
        return self.place.with_name(f"{self.place.name}.previous")

    @property
    def waits(self) -> bool:
        """Whether the new content still lies beside the file."""
        return self.new.is_file()

    @property
    def may_go_on(self) -> bool:
        """Whether the new content is in the file, perhaps with later changes by hand, or can still be put there."""
        now = digest(self.place)
        waits_whole = now == self.before and digest(self.new) == self.after
        return now == self.after or waits_whole or (now != self.before and not self.waits)

    @property
    def may_go_back(self) -> bool:
        """Whether the new content is not in the file, or is there unchanged."""
        return self.waits or digest(self.place) in (self.before, self.after)

    def put(self) -> None:
        """Replace the file."""
        os.replace(self.new, self.place)

    def take_back(self) -> None:
        """Undo the replacement."""
        if self.before:
            back = self.place.with_name(f"{self.place.name}.back")
            write_durably(back, self.previous.read_bytes(), like=self.place)
            os.replace(back, self.place)
        else:
            self.place.unlink(missing_ok=True)


def write_durably(path: Path, data: bytes, like: Path | None = None) -> None:
    """Write a file and wait until the disk has it; ``like`` lends its permissions."""
    with path.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    if like is not None and like.is_file():
        shutil.copymode(like, path)


def _settle(folder: Path) -> None:
    """Wait until the disk knows the renamed files; Windows does that by itself."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Ctrl-C waits for the few milliseconds in which files are renamed."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    former = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, former)


def _clear(folder: Path, parts: Sequence[Part]) -> None:
    for part in parts:
        part.new.unlink(missing_ok=True)
    (folder / JOURNAL).unlink(missing_ok=True)


def replace_files(folder: Path, contents: Mapping[str, bytes], note: str) -> None:
    """Give files of a folder new contents, all or none; each old one is kept as ``NAME.previous``.

    Parameters
    ----------
    folder : Path
        Holds the files.
    contents : mapping of str to bytes
        File name to new content, in the order of writing.
    note : str
        What is being written; handed back by :func:`finish` if it had to be taken back.

    Raises
    ------
    OSError
        If the disk is full or a file cannot be replaced; then everything is as it was.
    """
    places = {name: (folder / name).resolve() for name in contents}
    after = {name: hashlib.sha256(data).hexdigest() for name, data in contents.items()}
    parts = [Part(place, digest(place), after[name]) for name, place in places.items()]
    plan = [
        {"name": name, "before": part.before, "after": part.after} for name, part in zip(places, parts, strict=True)
    ]
    with _undisturbed():
        try:
            for part, data in zip(parts, contents.values(), strict=True):
                write_durably(part.new, data, like=part.place)
            for part in parts:
                if part.before:
                    kept = part.previous.with_name(f"{part.previous.name}.new")
                    write_durably(kept, part.place.read_bytes(), like=part.place)
                    os.replace(kept, part.previous)
            draft = folder / f"{JOURNAL}.new"
            write_durably(draft, json.dumps({"files": plan, "note": note}).encode())
            os.replace(draft, folder / JOURNAL)
            _settle(folder)
        except OSError:
            _clear(folder, parts)
            raise
        _put_all(folder, parts)


def _put_all(folder: Path, parts: Sequence[Part]) -> None:
    try:
        for part in parts:
            if part.waits:
                part.put()
        _settle(folder)
    except OSError:  # on Windows: a file that is open in a spreadsheet
        _take_back(folder, parts)
        raise
    _clear(folder, parts)


def _take_back(folder: Path, parts: Sequence[Part]) -> None:
    for part in parts:
        if digest(part.place) == part.after:
            part.take_back()
    _clear(folder, parts)


@dataclass(frozen=True)
class Finished:
    """What became of an interrupted replacement: its note, and whether it is in the files now."""

    note: str
    done: bool


def finish(folder: Path) -> Finished | None:
    """Complete or take back what was interrupted; None when nothing was.

    Raises
    ------
    LogError
        If files were changed by hand so that neither can be done; nothing is touched then.
    """
    journal = folder / JOURNAL
    if not journal.is_file():
        return None
    try:
        plan = json.loads(journal.read_bytes())
        parts = [Part((folder / p["name"]).resolve(), p["before"], p["after"]) for p in plan["files"]]
        note = str(plan["note"])
    except (ValueError, KeyError, TypeError):
        raise _by_hand(folder, "its journal cannot be read") from None
    with _undisturbed():
        if all(part.may_go_on for part in parts):
            _put_all(folder, parts)
            return Finished(note, True)
        if all(part.may_go_back for part in parts):
            _take_back(folder, parts)
            return Finished(note, False)
    raise _by_hand(folder, "its files were changed by hand meanwhile")


def _by_hand(folder: Path, why: str) -> LogError:
    todo = (
        "Compare each .csv with its .csv.previous (before) and .csv.new (with the entry), keep what is right, then"
        f" delete {JOURNAL} and the .new files."
    )
    return LogError(
        f"an entry was interrupted and {why}.", rule="An entry is written whole.", todo=todo, where=str(folder)
    )
