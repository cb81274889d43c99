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
from numpy.typing import NDArray

from analysis.records.packed_texts import WORD as _WORD
from analysis.records.packed_texts import Words, numbered, unpacked
from analysis.records.texts import Texts

LONGEST_CELL = 1 << 20  # letters; a spreadsheet holds 32,767, a lost quotation mark makes one of a whole file
# What is worked on at once stays in a processor's cache: files of millions of rows are read three times as fast so.
_PIECE = 1 << 17  # bytes looked at together
_ROWS = 1 << 14  # rows of a column cut together
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
    carriage : bool
        Whether line ends have carriage returns.
    """

    data: bytes
    ends: Ints
    carriage: bool

    def column(self, at: int) -> Texts:
        """The cells of a column below the heading."""
        rows = len(self.ends) - 1
        new = np.empty(rows, dtype=bool)  # cells unlike the one above: often few
        pieces = []
        for first in range(0, rows, _ROWS):
            starts, lengths = self._cells(at, first)
            count = max(1, -(-int(lengths.max()) // _WORD))
            if count > _MOST_WORDS:
                return Texts.of(self._one_by_one(at))
            words = [self._words(starts, lengths, k * _WORD) for k in range(count)]
            here = new[first : first + _ROWS]
            here[0] = True
            np.not_equal(words[0][1:], words[0][:-1], out=here[1:])
            for word in words[1:]:
                here[1:] |= word[1:] != word[:-1]
            pieces.append([word[here] for word in words])
        codes, kinds = numbered(_joined(pieces))
        small = codes.astype(np.min_scalar_type(-kinds.shape[1] - 1))
        if len(small) < rows:
            small = small[np.cumsum(new, dtype=np.int32) - np.int32(1)]
        return Texts(small, unpacked(kinds), kinds)

    def _cells(self, at: int, first: int) -> tuple[Ints, Ints]:
        """Where some cells of a column start, from a row on, and how long they are."""
        above, here = self.ends[first : first + _ROWS], self.ends[first + 1 : first + _ROWS + 1]
        starts, stops = (here[:, at - 1] if at else above[: len(here), -1]) + 1, here[:, at]
        if at == self.ends.shape[1] - 1 and self.carriage:
            stops = stops - (np.frombuffer(self.data, np.uint8)[stops - 1] == ord("\r"))
        return starts, stops - starts

    def _one_by_one(self, at: int) -> list[str]:
        out = []
        for first in range(0, len(self.ends) - 1, _ROWS):
            starts, lengths = (part.tolist() for part in self._cells(at, first))
            out += [self.data[a : a + n].decode() for a, n in zip(starts, lengths, strict=True)]
        return out

    def _words(self, starts: Ints, lengths: Ints, skipped: int) -> NDArray[np.uint64]:
        """Eight bytes of each cell from a place in it on, as one number; zero beyond its end."""
        every = np.ndarray((len(self.data) - _WORD + 1,), "<u8", self.data, strides=(1,))
        if not skipped:
            return np.asarray(every[starts] & _LETTERS[np.minimum(lengths, _WORD)])
        out = np.zeros(len(starts), dtype=np.uint64)
        long = np.flatnonzero(lengths > skipped)
        out[long] = every[starts[long] + skipped] & _LETTERS[np.minimum(lengths[long] - skipped, _WORD)]
        return out


def _joined(pieces: list[list[NDArray[np.uint64]]]) -> Words:
    """The words of all pieces, one behind the other; a piece with shorter texts has fewer."""
    out = np.zeros((max(map(len, pieces)), sum(len(piece[0]) for piece in pieces)), dtype=np.uint64)
    at = 0
    for piece in pieces:
        for row, word in zip(out, piece, strict=False):
            row[at : at + len(word)] = word
        at += len(piece[0])
    return out


def _ends(data: bytes, size: int, delimiter: bytes, width: int) -> Ints | None:
    """Places of all delimiters and line ends, and of the end of the text where the last line has none.

    Returns
    -------
    ndarray of int, shape (lines, width), or None where the lines do not hold so many cells
    """
    closed = data[size - 1 : size] == b"\n"
    lines = data.count(b"\n", 0, size) + (not closed)
    out: Ints = np.empty(lines * width, np.int32 if size < np.iinfo(np.int32).max else np.int64)
    done = 0
    for at in range(0, size, _PIECE):
        piece = np.frombuffer(data, np.uint8, min(_PIECE, size - at), at)
        found = np.flatnonzero((piece == delimiter[0]) | (piece == ord("\n")))
        if done + len(found) > len(out):
            return None
        out[done : done + len(found)] = found + at
        done += len(found)
    if not closed and done < len(out):
        out[done] = size
        done += 1
    table = out.reshape(-1, width)
    # As many cells as that in all, and a line end behind every so many: then every line holds so many.
    whole = done == len(out) and (np.frombuffer(data, np.uint8)[table[: lines - (not closed), -1]] == ord("\n")).all()
    return table if whole else None


def split_plain(text: str, delimiter: str, width: int) -> Plain | None:
    """Cut a text into cells; None where it is not plain.

    A file is plain when it has no quotation mark, no NUL and no cell too long, every line holds ``width`` cells, and
    there is a row below the heading.
    """
    carriage = "\r" in text
    if '"' in text or "\0" in text or text.find("\n") in (-1, len(text) - 1):
        return None
    if carriage and text.count("\r") != text.count("\r\n"):
        return None
    data = (text + "\0" * _WORD).encode()
    table = _ends(data, len(data) - _WORD, delimiter.encode(), width)
    if table is None or np.diff(table[:, -1], prepend=-1).max() > LONGEST_CELL:
        return None
    return Plain(data, table, carriage)


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
