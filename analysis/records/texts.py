"""A column of text as it stands in the file: each different text once, and which row holds which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.packed_texts import Words, packed


@dataclass(frozen=True)
class Texts:
    """The cells of one column.

    Parameters
    ----------
    codes : array of int, shape (rows,)
        For each row the position of its text in ``uniques``.
    uniques : list of str
        Each different text once.
    known_words : ndarray of uint64, optional
        The different texts as whole numbers, where they were read so; see ``packed_texts.py``.
    """

    codes: NDArray[np.integer]
    uniques: list[str]
    known_words: Words | None = None

    @classmethod
    def of(cls, cells: Sequence[str]) -> Texts:
        """Make a column from its cells."""
        codes, uniques = pd.factorize(np.asarray(cells, dtype=object))
        return cls(codes, [str(text) for text in uniques])

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, at: int) -> str:
        return self.uniques[self.codes[at]]

    @property
    def words(self) -> Words:
        """The different texts as whole numbers; for short texts only."""
        return packed(self.uniques) if self.known_words is None else self.known_words

    def is_blank(self) -> NDArray[np.bool_]:
        """Whether each cell holds nothing but spaces."""
        blank = np.array([not text.strip() for text in self.uniques], dtype=bool)
        return blank[self.codes] if len(self.uniques) else np.zeros(len(self.codes), dtype=bool)
