"""A page and the files beside it put in place together: all of them or none."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from analysis.records.on_disk import replace_text


def replace_together(texts: Mapping[Path, str]) -> None:
    """Write several texts so that either all new ones stand in their places or all that stood there before.

    All are written and flushed beside their places first; then each is renamed, in the order given. If one cannot be,
    or the user interrupts, those already renamed get their old content back.

    Parameters
    ----------
    texts : mapping of Path to str
        Place to text.

    Raises
    ------
    OSError
        If a folder or file cannot be written; what was there stays.
    """
    waiting: dict[Path, Path] = {}
    before: dict[Path, str | None] = {}
    try:
        for place, text in texts.items():
            place.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=place.parent, prefix=f".{place.name[:40]}.", suffix=".part")
            waiting[place] = Path(name)
            with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace", newline="") as out:
                out.write(text)
                out.flush()
                os.fsync(out.fileno())
            waiting[place].chmod(0o644)
        for place, new in waiting.items():
            before[place] = place.read_text(encoding="utf-8", errors="replace") if place.is_file() else None
            os.replace(new, place)
    except BaseException:  # an interrupt by the user too
        for place, old in before.items():
            _put_back(place, old, still_waits=waiting[place].exists())
        raise
    finally:
        for new in waiting.values():
            new.unlink(missing_ok=True)


def _put_back(place: Path, old: str | None, *, still_waits: bool) -> None:
    if still_waits:
        return  # never replaced
    if old is None:
        place.unlink(missing_ok=True)
    else:
        replace_text(old, place)
