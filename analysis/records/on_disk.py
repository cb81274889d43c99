"""What can stand on a disk in place of a file, files that change under the reader, and texts written in one step."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from analysis.errors import LogError


def not_a_file(path: Path) -> str:
    """What stands where a file is meant, in words; empty for a file, or for nothing at all.

    Pipes and devices are never opened: reading them may wait for ever or never end.
    """
    if path.is_file() or not os.path.lexists(path):
        return ""
    if path.is_symlink() and not path.exists():
        return "a link that leads nowhere"
    return "a folder" if path.is_dir() else "a pipe or device"


def _state(paths: Sequence[Path]) -> list[tuple[int, int, int] | None]:
    """Size, time of the last change and identity of each file; None where there is none."""
    out: list[tuple[int, int, int] | None] = []
    for path in paths:
        try:
            told = path.stat()
            out.append((told.st_size, told.st_mtime_ns, told.st_ino))
        except OSError:
            out.append(None)
    return out


@contextlib.contextmanager
def unchanged(paths: Sequence[Path]) -> Iterator[None]:
    """Hold that files stay as they are while they are read.

    Raises
    ------
    LogError
        If one of them was changed, replaced, made or removed meanwhile: rows of before and after would be mixed.
    """
    before = _state(paths)
    yield
    changed = [path.name for path, old, new in zip(paths, before, _state(paths), strict=True) if old != new]
    if changed:
        rule = "A log stays as it is while it is read, so that its tables belong together."
        todo = "Wait until the file is saved and the folder is copied, then run the command again."
        raise LogError(f"{', '.join(changed)} changed while the log was read; nothing was used.", rule=rule, todo=todo)


def replace_text(text: str, target: Path) -> None:
    r"""Write a text in one step: either the whole new text stands there or what stood there before.

    Letters that no encoding can write (from damaged file names) are written as ``\udc..``.

    Raises
    ------
    OSError
        If the folder or file cannot be written; what was there stays.
    """
    temporary = ""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:40]}.", suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace", newline="") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        os.chmod(temporary, 0o644)
        os.replace(temporary, target)
    finally:
        if temporary:  # gone by now unless something went wrong, an interrupt by the user included
            Path(temporary).unlink(missing_ok=True)


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
