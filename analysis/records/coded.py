"""Typed columns as numbers: each different value once, and which row holds which; fast to compare and to hash."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.dictionary import TABLES


@dataclass(frozen=True)
class Coded:
    """One typed column.

    Parameters
    ----------
    codes : array of int, shape (rows,)
        Position of each row's value in ``values``; -1 is missing.
    values : sequence
        Each different text of the file read once; None is missing, and two texts may mean the same value.
    """

    codes: NDArray[np.integer]
    values: Sequence[Any]

    @classmethod
    def of(cls, series: pd.Series) -> Coded:
        """Number the values of a typed column."""
        codes, values = pd.factorize(series)
        return cls(codes, list(values))

    def spread(self, of_values: Sequence[Any], missing: Any) -> NDArray[Any]:
        """What ``of_values`` says of each value, for every row."""
        return np.array([*of_values, missing])[self.codes]

    def distinct(self) -> NDArray[np.int64]:
        """For each row a number that rows with the same value share; -1 is missing."""
        place: dict[Any, int] = {}
        numbers = [-1 if value is None else place.setdefault(value, len(place)) for value in self.values]
        return np.asarray(self.spread(numbers, -1), dtype=np.int64)


CodedTables = Mapping[str, Mapping[str, Coded]]


def coded_tables(tables: Mapping[str, pd.DataFrame]) -> dict[str, dict[str, Coded]]:
    """Number the values of every declared column of tables in memory."""
    return {table.name: {name: Coded.of(tables[table.name][name]) for name in table.names} for table in TABLES}
