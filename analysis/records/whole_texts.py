"""Texts written to a disk in one step: the whole new text stands there, or what stood there before."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from analysis.errors import LogError


def written_beside(text: str, place: Path) -> Path:
    r"""Write a text to a file beside its place, to be renamed to it or removed.

    Letters that no encoding can write (from damaged file names) are written as ``\udc..``.

    Raises
    ------
    OSError
        If the folder or file cannot be written; nothing is left of it.
    """
    place.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name[:40]}.", suffix=".part")
    new = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace", newline="") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        new.chmod(0o644)
    except BaseException:  # an interrupt by the user too
        new.unlink(missing_ok=True)
        raise
    return new


def replace_text(text: str, target: Path) -> None:
    """Write a text in its place.

    Raises
    ------
    OSError
        If the folder or file cannot be written; what was there stays.
    """
    new = written_beside(text, target)
    try:
        os.replace(new, target)
    finally:
        new.unlink(missing_ok=True)


def export_text(text: str, target: Path, log: Path, names: Sequence[str]) -> None:
    """Write an export to where the user wants it, but never over a file of the log.

    Parameters
    ----------
    text : str
        What to write.
    target : Path
        File that the user named; a device such as /dev/stdout is written to as it is.
    log : Path
        Folder of the log.
    names : sequence of str
        Files of the log.

    Raises
    ------
    LogError
        If the target is a file of the log; nothing is written.
    OSError
        If it cannot be written.
    """
    kept = [log / name for name in names]
    if any(file.exists() and target.exists() and file.samefile(target) for file in kept) or target.resolve() in {
        file.resolve() for file in kept
    }:
        todo = "Choose another name or folder for the export."
        raise LogError(f"{target} is a file of the log.", rule="The log is only ever read.", todo=todo)
    if target.exists() and not target.is_file():
        target.write_text(text, encoding="utf-8", errors="backslashreplace", newline="")
    else:
        replace_text(text, target)
