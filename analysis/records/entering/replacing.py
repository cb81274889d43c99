"""Several files replaced as one: all of them or none, whenever the computer stops.

New files and copies of the old ones are written beside them and flushed to the disk, then a journal says what is about
to happen, then each new file is renamed over its old one, then each copy becomes ``NAME.previous``, then the journal
goes. Whoever comes next and finds a journal finishes the work, or takes it back where a file was changed by hand
meanwhile; without a journal nothing has happened yet, and what lies beside the files is swept away.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import signal
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.errors import LogError

JOURNAL = ".rework-entry.json"
_NEW, _OLD = ".rework-new", ".rework-old"
_DRAFT = f"{JOURNAL}{_NEW}"


def digest(path: Path) -> str:
    """SHA-256 of a file; empty when there is none."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


@dataclass(frozen=True)
class Part:
    """One file of the whole. The endings of what lies beside it are nobody else's, so that they can be swept away.

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

    def _beside(self, ending: str) -> Path:
        return self.place.with_name(f"{self.place.name}{ending}")

    @property
    def new(self) -> Path:
        """Where the new content waits."""
        return self._beside(_NEW)

    @property
    def old(self) -> Path:
        """Where the old content waits until every file is replaced."""
        return self._beside(_OLD)

    @property
    def previous(self) -> Path:
        """Where the old content is kept."""
        return self._beside(".previous")

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

    def prepare(self, data: bytes) -> None:
        """Write the new content and a copy of the old beside the file."""
        write_durably(self.new, data, like=self.place)
        if self.before:
            write_durably(self.old, self.place.read_bytes(), like=self.place)

    def take_back(self) -> None:
        """Undo the replacement."""
        if digest(self.place) != self.after or self.before == self.after:
            return
        if not self.before:
            self.place.unlink(missing_ok=True)
            return
        if not self.old.is_file():  # it has become NAME.previous already, and stays that
            write_durably(self.old, self.previous.read_bytes(), like=self.place)
        os.replace(self.old, self.place)


def write_durably(path: Path, data: bytes, like: Path | None = None) -> None:
    """Write a file and wait until the disk has it; ``like`` lends its permissions."""
    with path.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    if like is not None and like.is_file():
        shutil.copymode(like, path)


def _settle(folders: Iterable[Path]) -> None:
    """Wait until the disk knows the renamed files; Windows does that by itself."""
    for folder in set(folders) if os.name == "posix" else ():
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


def _sweep(folder: Path, parts: Iterable[Part]) -> None:
    """Remove what lies beside the files; what cannot be removed now is removed at the next start."""
    for path in (folder / _DRAFT, *(path for part in parts for path in (part.new, part.old))):
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)


def _left(folder: Path) -> list[Part]:
    """Files of the folder, or that its links lead to, beside which something may have been left."""
    places = [path.with_suffix("") if path.suffix in (_NEW, _OLD) else path for path in folder.iterdir()]
    return [Part(place.resolve(), "", "") for place in places]


def _end(folder: Path, parts: Sequence[Part]) -> None:
    """Let the journal go once the disk has all that it speaks of, then clear up."""
    _settle([folder, *(part.place.parent for part in parts)])
    (folder / JOURNAL).unlink(missing_ok=True)
    _sweep(folder, parts)


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
        If the disk is full or a file cannot be replaced; then everything is as it was, or, where :data:`JOURNAL` is
        left, will be at the next :func:`finish`.
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
                part.prepare(data)
            write_durably(folder / _DRAFT, json.dumps({"files": plan, "note": note}).encode())
            _settle([folder, *(part.place.parent for part in parts)])
            os.replace(folder / _DRAFT, folder / JOURNAL)
        except OSError:
            _sweep(folder, parts)
            raise
        _put_all(folder, parts)


def _put_all(folder: Path, parts: Sequence[Part]) -> None:
    try:
        _settle([folder])
        for part in parts:
            if part.waits:
                os.replace(part.new, part.place)
        for part in parts:
            if part.old.is_file():
                os.replace(part.old, part.previous)
        _end(folder, parts)
    except OSError:  # on Windows: a file that is open in a spreadsheet
        _take_back(folder, parts)
        raise


def _take_back(folder: Path, parts: Sequence[Part]) -> None:
    for part in parts:
        part.take_back()
    _end(folder, parts)


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
    OSError
        If the disk is full or a file cannot be replaced; the journal stays.
    """
    journal = folder / JOURNAL
    if not journal.is_file():
        _sweep(folder, _left(folder))
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
        "Compare each .csv with its .csv.rework-old (before) and .csv.rework-new (with the entry), keep what is right,"
        f" then delete {JOURNAL}; the next 'rework enter' clears the other files away."
    )
    return LogError(
        f"an entry was interrupted and {why}.", rule="An entry is written whole.", todo=todo, where=str(folder)
    )
