"""The files of an import, written as one with the means by which entries are written: all or none, one writer."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from analysis.errors import LogError
from analysis.records.entering.replacing import JOURNAL, replace_files
from analysis.records.entering.storing import IMPORT


def write_together(folder: Path, files: Mapping[Path, str]) -> list[Path]:
    """Write files so that a failure leaves every one as it was; a replaced one is kept as ``NAME.previous``.

    Parameters
    ----------
    folder : Path
        The log; the caller holds its lock.
    files : mapping of Path to str
        Path to its new text; a file that holds this text already is left alone.

    Returns
    -------
    list of Path
        The files that were written.

    Raises
    ------
    LogError
        If anything could not be written.
    """
    given = {path: text.encode() for path, text in files.items()}
    changed = {path: data for path, data in given.items() if not path.is_file() or path.read_bytes() != data}
    try:
        for path in changed:
            path.parent.mkdir(parents=True, exist_ok=True)
        replace_files(folder, {str(path.resolve()): data for path, data in changed.items()}, IMPORT)
    except OSError as error:
        todo = "Look at the folder's permissions and the free space, and close the files in other programs"
        if (folder / JOURNAL).is_file():
            todo += "; then run the import again: it first completes what was begun, or takes it back."
        else:
            todo += "; the files are as they were."
        raise LogError(f"cannot be written ({error.strerror or error}).", todo=todo, where=str(folder)) from None
    return list(changed)
