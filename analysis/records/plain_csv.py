"""The quick way through a file in which every line is one row with as many cells as the heading.

Quotation marks, ragged or blank lines and other oddities go the careful way (``delimited``), which names them.
Both ways give the same cells and lines.

Where every cell ends is found for the whole file at once; a column is then compared eight letters at a time, as whole
numbers, so that only each different text ever becomes a text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.texts import Texts

LONGEST_CELL = 1 << 20  # letters; a spreadsheet holds 32,767, a lost quotation mark makes one of a whole file
_PIECE = 1 << 24  # bytes looked at together
_WORD = 8  # bytes compared as one number
_MOST_WORDS = 16  # longer cells are compared as texts
_LETTERS = np.array([(1 << 8 * n) - 1 for n in range(_WORD + 1)], dtype=np.uint64)  # the first n bytes of a word

Ints = NDArray[np.integer]


@dataclass(frozen=True)
class Plain:
    """A plain file and where its cells end.

    Parameters
    ----------
    data : bytes
        The file, and eight NUL bytes behind it.
    ends : ndarray of int, shape (rows + 1, width)
        Place of the delimiter or line end behind each cell, the heading's included.
    """

    data: bytes
    ends: Ints

    def column(self, at: int) -> Texts:
        """The cells of a column below the heading."""
        stops = self.ends[1:, at]
        starts = (self.ends[1:, at - 1] if at else self.ends[:-1, -1]) + 1
        if at == self.ends.shape[1] - 1 and b"\r" in self.data:
            stops = stops - (np.frombuffer(self.data, np.uint8)[stops - 1] == ord("\r"))
        lengths = stops - starts
        count = max(1, -(-int(lengths.max()) // _WORD))
        if count > _MOST_WORDS:
            cells = zip(starts.tolist(), stops.tolist(), strict=True)
            return Texts.of([self.data[start:stop].decode() for start, stop in cells])
        return _numbered([self._words(starts, lengths, k * _WORD) for k in range(count)])

    def _words(self, starts: Ints, lengths: Ints, skipped: int) -> NDArray[np.uint64]:
        """Eight bytes of each cell from a place in it on, as one number; zero beyond its end."""
        every = np.ndarray((len(self.data) - _WORD + 1,), "<u8", self.data, strides=(1,))
        if not skipped:
            return np.asarray(every[starts] & _LETTERS[np.minimum(lengths, _WORD)])
        out = np.zeros(len(starts), dtype=np.uint64)
        long = np.flatnonzero(lengths > skipped)
        out[long] = every[starts[long] + skipped] & _LETTERS[np.minimum(lengths[long] - skipped, _WORD)]
        return out


def _numbered(words: list[NDArray[np.uint64]]) -> Texts:
    """Number the different texts of a column in the order they come; ``words`` hold eight bytes of each cell."""
    first, repeated = _without_repeats(words)
    codes = pd.factorize(first[0])[0]
    for more in first[1:]:
        own, kinds = pd.factorize(more)
        codes = pd.factorize(codes * len(kinds) + own)[0]
    new = np.flatnonzero(np.diff(np.maximum.accumulate(codes), prepend=-1))  # where each text stands first
    letters = np.ascontiguousarray(np.column_stack([word[new] for word in first])).view(f"S{_WORD * len(first)}")[:, 0]
    texts = b"\n".join(letters.tolist()).decode().split("\n")  # none holds a line end; faster than one by one
    small = codes.astype(np.min_scalar_type(-len(texts) - 1))
    return Texts(small if repeated is None else small[repeated], texts)


def _without_repeats(words: list[NDArray[np.uint64]]) -> tuple[list[NDArray[np.uint64]], Ints | None]:
    """The cells unlike the one above, and which of them stands in each row; None where few repeat."""
    changes = np.zeros(len(words[0]), dtype=bool)
    changes[0] = True
    for word in words:
        changes[1:] |= word[1:] != word[:-1]
    if changes.sum() > len(changes) // 2:
        return words, None
    return [word[changes] for word in words], np.cumsum(changes, dtype=np.int32) - np.int32(1)


def _ends(data: bytes, size: int, delimiter: bytes) -> Ints:
    """Places of all delimiters and line ends, and of the end of the text where the last line has none."""
    kind = np.int32 if size < np.iinfo(np.int32).max else np.int64
    places = []
    for at in range(0, size, _PIECE):
        piece = np.frombuffer(data, np.uint8, min(_PIECE, size - at), at)
        places.append((np.flatnonzero((piece == delimiter[0]) | (piece == ord("\n"))) + at).astype(kind))
    if data[size - 1 : size] != b"\n":
        places.append(np.array([size], dtype=kind))
    return np.concatenate(places)


def split_plain(text: str, delimiter: str, width: int) -> Plain | None:
    """Cut a text into cells; None where it is not plain.

    A file is plain when it has no quotation mark, no NUL and no cell too long, every line holds ``width`` cells, and
    there is a row below the heading.
    """
    if '"' in text or "\0" in text or text.count("\r") != text.count("\r\n") or text.find("\n") in (-1, len(text) - 1):
        return None
    data = text.encode() + bytes(_WORD)
    size = len(data) - _WORD
    ends = _ends(data, size, delimiter.encode())
    if len(ends) % width:
        return None
    table = ends.reshape(-1, width)
    lines = np.frombuffer(data, np.uint8)[table[:, -1]]
    whole = (lines[:-1] == ord("\n")).all() and lines[-1] in (ord("\n"), 0)
    if not whole or data.count(b"\n", 0, size) != int((lines == ord("\n")).sum()):
        return None
    if np.diff(table[:, -1], prepend=-1).max() > LONGEST_CELL:
        return None
    return Plain(data, table)


def read_plain(
    text: str, delimiter: str, width: int, headings: Mapping[str, int]
) -> tuple[dict[str, Texts], int] | None:
    """Read the declared columns of a plain file.

    Parameters
    ----------
    text : str
        The file; its first line is the heading.
    delimiter : str
        Comma, semicolon or tab.
    width : int
        Cells of the heading.
    headings : mapping of str to int
        Declared column name to position.

    Returns
    -------
    tuple or None
        The columns and the number of rows; None when the file is not plain, or a line holds only blanks, which the
        careful way must count.
    """
    plain = split_plain(text, delimiter, width)
    if plain is None:
        return None
    cells = {name: plain.column(at) for name, at in headings.items()}
    rows = len(plain.ends) - 1
    blank = np.ones(rows, dtype=bool)
    for column in sorted(cells.values(), key=lambda column: len(column.uniques)):
        blank &= column.is_blank()
        if not blank.any():
            return cells, rows
    return None
