"""What can stand on a disk in place of a file that is to be read, and files that change under the reader."""

from __future__ import annotations

import contextlib
import os
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
