"""A log read once in a process, however many parts of a page ask for it."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from analysis.records.log import FILES, Log, read_log


def digest_of(folder: Path) -> str:
    """SHA-256 of the bytes of every file of a log, bench.toml included; nothing is parsed."""
    whole = hashlib.sha256()
    for name in FILES:
        path = folder / name
        if path.is_file():
            with path.open("rb") as file:
                whole.update(f"{name} {hashlib.file_digest(file, 'sha256').hexdigest()}\n".encode())
    return whole.hexdigest()


def state_of(folder: Path) -> str:
    """Hash of all that reading a log depends on: bytes of its files, names of what lies beside them, the day.

    Empty where a file cannot be read, so that nothing is known of it.
    """
    try:
        beside = sorted((path.name, path.is_file()) for path in folder.iterdir())
        return hashlib.sha256(f"{digest_of(folder)} {beside!r} {dt.date.today()}".encode()).hexdigest()
    except OSError:
        return ""


@dataclass(frozen=True)
class _Read:
    place: Path
    state: str
    log: Log
    usable: list[Log]


_LAST: list[_Read] = []


def _last(folder: Path) -> _Read:
    place, state = folder.resolve(), state_of(folder)
    if state and _LAST and (_LAST[0].place, _LAST[0].state) == (place, state):
        return _LAST[0]
    read = _Read(place, state, read_log(folder), [])
    _LAST[:] = [read] if state_of(folder) == state else []  # if it changed meanwhile, what was read is of neither state
    return read


def log_as_read(folder: Path) -> Log:
    """The log of :func:`analysis.records.log.read_log`; read again only if anything it depends on has changed.

    Raises
    ------
    LogError
        As there.
    """
    return _last(Path(folder)).log


def usable_log(folder: Path) -> Log:
    """The same without its faulty jobs.

    Raises
    ------
    LogError
        If it cannot be read, or has faults that leaving out jobs does not mend.
    """
    read = _last(Path(folder))
    if not read.usable:
        read.usable.append(read.log.without_faulty_jobs())
    return read.usable[0]


def announced_log(folder: Path, say: Callable[[str], None]) -> Log:
    """The usable log, its reading announced: what is wrong with it is told before a page's process is started.

    Raises
    ------
    LogError
        As :func:`usable_log`.
    """
    say(f"Reading the log in {folder.resolve().name} …")
    return usable_log(folder)
