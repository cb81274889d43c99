"""Arrays to typed tables of the log, fast."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from analysis.records.dictionary import BY_NAME, Kind


def typed_column(kind: Kind, codes: tuple[str, ...], values: Any) -> pd.Series:
    """One column with the dtype that reading a log gives; None and NaN are missing."""
    series = pd.Series(np.asarray(values))
    if kind is Kind.CHOICE:
        return series.astype(object).astype(pd.CategoricalDtype(list(codes)))
    if kind is Kind.KEY:
        return series.astype("string")
    if kind is Kind.NUMBER:
        return series.astype(float)
    if kind is Kind.INTEGER:
        return series.astype(float).astype("Int64")
    if kind is Kind.DATE:
        return series.astype("datetime64[ns]")
    return series.astype("boolean")


def stack(parts: list[dict[str, np.ndarray]]) -> pd.DataFrame:
    """Blocks of rows under each other; much faster than joining frames when the blocks are small."""
    return pd.DataFrame({name: np.concatenate([part[name] for part in parts]) for name in parts[0]})


def table_of(name: str, columns: Mapping[str, Any]) -> pd.DataFrame:
    """A table of the log with every declared column, blanks where nothing is given."""
    table = BY_NAME[name]
    rows = len(next(iter(columns.values())))
    unknown = set(columns) - set(table.names)
    if unknown:
        raise KeyError(f"{name}.csv has no column {sorted(unknown)}")
    blank = {Kind.DATE: np.full(rows, np.datetime64("NaT", "ns")), Kind.NUMBER: np.full(rows, np.nan)}
    frame = pd.DataFrame(
        {
            column.name: typed_column(
                column.kind,
                column.codes,
                columns.get(column.name, blank.get(column.kind, np.full(rows, None, dtype=object))),
            )
            for column in table.columns
        }
    )
    frame["_line"] = np.arange(2, rows + 2)
    return frame
