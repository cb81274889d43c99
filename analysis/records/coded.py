"""Typed columns as numbers: each different value once, and which row holds which; fast to compare and to hash."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis.records.dictionary import TABLES
from analysis.records.packed_texts import Words, packed


@dataclass(frozen=True)
class Coded:
    """One typed column.

    Parameters
    ----------
    codes : array of int, shape (rows,)
        Position of each row's value in ``values``; -1 is missing.
    values : sequence
        Each different text of the file read once; None is missing, and two texts may mean the same value.
    known_words : ndarray of uint64, optional
        The values as whole numbers, where they are texts and were read so; see ``packed_texts.py``.
    """

    codes: NDArray[np.integer]
    values: Sequence[Any]
    known_words: Words | None = None

    @classmethod
    def of(cls, series: pd.Series) -> Coded:
        """Number the values of a typed column."""
        codes, values = pd.factorize(series)
        return cls(codes, list(values))

    def spread(self, of_values: ArrayLike, missing: Any) -> NDArray[Any]:
        """What ``of_values`` says of each value, for every row."""
        return np.append(np.asarray(of_values), missing)[self.codes]

    @cached_property
    def words(self) -> Words:
        """The values of a column of codes as whole numbers."""
        return packed(self.values) if self.known_words is None else self.known_words

    @cached_property
    def alike(self) -> NDArray[np.int64]:
        """For each different text a number that texts of the same value share; -1 is missing."""
        if self.known_words is None:
            return np.asarray(pd.factorize(_objects(self.values))[0], dtype=np.int64)
        # Read as numbers, each text stands once; an empty one is missing.
        return np.where(self.known_words.any(axis=0), np.arange(len(self.values)), -1)

    @cached_property
    def numbers(self) -> NDArray[np.int64]:
        """For each row a number that rows with the same value share; -1 is missing."""
        return np.asarray(self.spread(self.alike, -1), dtype=np.int64)


def _objects(values: Sequence[Any]) -> NDArray[Any]:
    """The values in an array as they are, one a cell."""
    out = np.empty(len(values), dtype=object)
    out[:] = values
    return out


CodedTables = Mapping[str, Mapping[str, Coded]]


def coded_tables(tables: Mapping[str, pd.DataFrame]) -> dict[str, dict[str, Coded]]:
    """Number the values of every declared column of tables in memory."""
    return {table.name: {name: Coded.of(tables[table.name][name]) for name in table.names} for table in TABLES}
