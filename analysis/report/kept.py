"""What the cells of a page showed, kept for as long as nothing that they depend on changes.

A file a page, in a folder that may be deleted at any time. Its name is a hash of all that decides what the cells show:
their code and parameters, every byte of the log and of other files that parameters name, the day, the source of this
package, the versions of the packages that count and draw. So nothing is found that belongs to another log or other
code, and a file that is damaged, gone or cannot be written only means that the cells are run.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import platform
from collections.abc import Iterator, Mapping, Sequence
from contextvars import ContextVar
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from analysis.records.once import state_of
from analysis.records.source import PACKAGE, source_hash
from analysis.records.whole_texts import replace_text

FORM = "outputs of the cells of a notebook, form 1"
MOST_KEPT = 30
THAT_COUNT_AND_DRAW = ("ipython", "matplotlib", "numpy", "pandas", "pillow", "scipy", "seaborn", "statsmodels")

_FOLDER: ContextVar[Path | None] = ContextVar("folder of kept outputs", default=None)


@contextlib.contextmanager
def kept_in(folder: Path | None) -> Iterator[None]:
    """Keep what cells show in this folder meanwhile; None: keep nothing, as outside of this."""
    before = _FOLDER.set(folder)
    try:
        yield
    finally:
        _FOLDER.reset(before)


def _hash(*parts: str) -> str:
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def _installed(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def code_state(package: Path = PACKAGE) -> str:
    """Hash of every source file of the package and of the versions of Python and of the packages below it."""
    versions = [platform.python_version(), platform.machine(), *map(_installed, THAT_COUNT_AND_DRAW)]
    return _hash(source_hash(package), *versions)


def _state(log: Path) -> str:
    """Beginning of a hash of a log, the day and the code; empty where it cannot be told."""
    state = state_of(log)
    return _hash(FORM, state, code_state())[:16] if state else ""


def _named(value: object) -> str:
    """Content of the file or log that a parameter names; empty for any other value."""
    if not isinstance(value, str) or not Path(value).is_absolute():
        return ""
    path = Path(value)
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else state_of(path)


def name_of(sources: Sequence[str], given: Mapping[str, Any]) -> str:
    """Name under which the outputs of cells are kept, given their sources with the parameters filled in.

    Empty where nothing is kept: nobody asked for it, no log is named, or something that they depend on cannot be read.
    """
    log = given.get("log_folder")
    if _FOLDER.get() is None or log is None or not (state := _state(Path(log))):
        return ""
    return f"{state}-{_hash(*sources, *map(_named, given.values()))}.json"


def recall(name: str) -> list[list[dict[str, Any]]] | None:
    """Outputs of each cell as they were; None where they are not kept, or damaged."""
    folder = _FOLDER.get()
    if folder is None or not name:
        return None
    try:
        head, text = (folder / name).read_text(encoding="utf-8").split("\n", 1)
        if head != _head(name, text):
            return None
        os.utime(folder / name)  # those used last are kept longest
        return list(json.loads(text))
    except (OSError, ValueError):
        return None


def _head(name: str, text: str) -> str:
    return json.dumps([FORM, name, hashlib.sha256(text.encode()).hexdigest()])


def store(name: str, outputs: Sequence[Sequence[Mapping[str, Any]]]) -> None:
    """Keep the outputs of cells; where that cannot be done they are made anew the next time."""
    folder = _FOLDER.get()
    if folder is None or not name:
        return
    text = json.dumps(outputs)
    with contextlib.suppress(OSError):
        replace_text(f"{_head(name, text)}\n{text}", folder / name)
        for old in sorted(folder.glob("*.json"), key=lambda path: path.stat().st_mtime)[:-MOST_KEPT]:
            old.unlink(missing_ok=True)


def pages_kept(log: Path) -> int:
    """Pages kept of a log as it is now, made by the code as it is now."""
    folder, state = _FOLDER.get(), _state(log)
    return len(list(folder.glob(f"{state}-*.json"))) if folder is not None and state else 0
