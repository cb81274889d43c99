"""The quick way through a large file in which every line is one row with as many cells as the heading.

Quotation marks, ragged or blank lines and other oddities go the careful way (``delimited``), which names them.
Both ways give the same cells and lines.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.records.texts import Texts

LONGEST_CELL = 1 << 20  # letters; a spreadsheet holds 32,767, a lost quotation mark makes one of a whole file
_PIECE = 1 << 26  # bytes looked at together


def is_plain(data: bytes, delimiter: str, width: int) -> bool:
    """Whether no quotation mark or cell too long is there, every line ends alike and holds ``width`` cells."""
    if b'"' in data or data.count(b"\r") != data.count(b"\r\n"):
        return False
    parts, end = delimiter.encode(), b"\n"
    at = 0
    while at < len(data):
        stop = len(data) if at + _PIECE >= len(data) else data.rfind(end, at, at + _PIECE) + 1
        if stop <= at:
            return False  # a line longer than a piece
        piece = np.frombuffer(data, dtype=np.uint8, count=stop - at, offset=at)
        ends = np.flatnonzero(piece == end[0])
        if not len(ends) or ends[-1] != len(piece) - 1:
            ends = np.append(ends, len(piece))
        if np.diff(ends, prepend=-1).max() > LONGEST_CELL:
            return False
        delimiters = np.flatnonzero(piece == parts[0])
        if (np.diff(np.searchsorted(delimiters, ends), prepend=0) != width - 1).any():
            return False
        at = stop
    return True


def read_plain(data: bytes, delimiter: str, headings: Mapping[str, int]) -> tuple[dict[str, Texts], int] | None:
    """Read the declared columns of a plain file.

    Parameters
    ----------
    data : bytes
        UTF-8 text for which :func:`is_plain` holds; the first line is the heading.
    delimiter : str
        Comma, semicolon or tab.
    headings : mapping of str to int
        Declared column name to position.

    Returns
    -------
    tuple or None
        The columns and the number of rows; None when a line holds only blanks, which the careful way must count.
    """
    wanted = sorted(headings.values())
    if not wanted or data.find(b"\n") in (-1, len(data) - 1):
        return None
    frame = pd.read_csv(
        io.BytesIO(data),
        sep=delimiter,
        header=None,
        skiprows=1,
        usecols=wanted,
        dtype="category",
        quoting=csv.QUOTE_NONE,
        keep_default_na=False,
        na_filter=False,
        skip_blank_lines=False,
        encoding="utf-8",
    )
    cells = {at: Texts(frame[at].cat.codes.to_numpy(), [str(c) for c in frame[at].cat.categories]) for at in wanted}
    blank = np.ones(len(frame), dtype=bool)
    for column in cells.values():
        blank &= column.is_blank()
    if blank.any():
        return None
    return {name: cells[at] for name, at in headings.items()}, len(frame)
