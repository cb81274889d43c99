"""Where pages go: a folder looked at before the work, a page and the files beside it put in place together or not."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from analysis.errors import RenderError
from analysis.records.whole_texts import replace_text, written_beside


def refuse_unwritable(folder: Path) -> None:
    """Refuse a folder that nothing can be written to, before work is done for nothing.

    A folder that does not exist yet is one that can be made. Nothing is left there by looking.

    Raises
    ------
    RenderError
        If it is a file, lies in one, or does not take a file.
    """
    place = folder
    try:
        while not os.path.lexists(place):
            place = place.parent
        if not place.is_dir():
            raise RenderError(f"{place} is a file.", todo="Name a folder for the page.")
        with tempfile.TemporaryFile(dir=place):
            return
    except OSError as error:
        raise _unwritable(folder, error) from None


def _unwritable(place: Path, error: OSError) -> RenderError:
    todo = "Look at the folder's permissions and free space, or choose another one."
    return RenderError(f"{place} cannot be written: {error.strerror}.", todo=todo)


def publish(text: str, target: Path, beside: Mapping[str, str] | None = None) -> None:
    """Put a page in place in one step: either the whole new page is there, or the old one.

    Parameters
    ----------
    text : str
        The page.
    target : Path
        Where it goes.
    beside : mapping of str to str, optional
        File ending to text of files that belong to the page and change together with it.

    Raises
    ------
    RenderError
        If the folder or a file cannot be written; what was there stays.
    """
    texts = {target: text} | {target.with_suffix(ending): other for ending, other in (beside or {}).items()}
    try:
        replace_together(texts)
    except OSError as error:
        raise _unwritable(target, error) from None


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
            waiting[place] = written_beside(text, place)
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
