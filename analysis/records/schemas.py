"""pandera schemas derived from the dictionary: the declaration of what a valid typed table is."""

from __future__ import annotations

import warnings
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.dictionary import BY_NAME, Column, Kind, Required, Table

if TYPE_CHECKING:
    import pandera.pandas as pa

_DTYPES: dict[Kind, object] = {
    Kind.KEY: pd.StringDtype(),
    Kind.NUMBER: float,
    Kind.INTEGER: pd.Int64Dtype(),
    Kind.DATE: "datetime64[ns]",
    Kind.YES_NO: pd.BooleanDtype(),
}


def _column(column: Column) -> pa.Column:
    import pandera.pandas as pa

    checks = []
    if column.low is not None:
        checks.append(pa.Check.ge(column.low, error="low"))
    if column.high is not None:
        checks.append(pa.Check.le(column.high, error="high"))
    dtype = pd.CategoricalDtype(list(column.codes)) if column.kind is Kind.CHOICE else _DTYPES[column.kind]
    return pa.Column(dtype, checks, nullable=column.required is not Required.ALWAYS, name=column.name)


@cache
def schema_of(name: str) -> pa.DataFrameSchema:
    """Schema of one table: types, ranges, codes, required cells; the rules check keys, since they name both lines."""
    import pandera.pandas as pa

    table: Table = BY_NAME[name]
    return pa.DataFrameSchema({column.name: _column(column) for column in table.columns}, name=name)


def _suspects(table: Table, frame: pd.DataFrame) -> NDArray[np.bool_]:
    """Rows that do not plainly hold what every column declares, shape (rows,)."""
    out = np.zeros(len(frame), dtype=bool)
    for column in table.columns:
        values = frame[column.name]
        if column.required is Required.ALWAYS:
            out |= values.isna().to_numpy(bool)
        if column.low is not None or column.high is not None:
            numbers = values.to_numpy(float, na_value=np.nan)
            out |= numbers < (-np.inf if column.low is None else column.low)
            out |= numbers > (np.inf if column.high is None else column.high)
    return out


def failures(name: str, frame: pd.DataFrame) -> list[tuple[int, str, str]]:
    """Where a typed table breaks its schema.

    Only rows in which a number lies out of its range or a required cell is blank are put before pandera: a log of
    millions of rows holds few of them, and mostly none.

    Returns
    -------
    list of (int, str, str)
        Row position, column, and which check: "low", "high" or "blank"; each cell once.
    """
    suspect = frame[_suspects(BY_NAME[name], frame)]
    if not len(suspect):
        return []
    import pandera.pandas as pa  # takes longer to import than most logs to check

    try:
        with warnings.catch_warnings():
            # pandera joins its tables of failures in a way that pandas will change; the cells told are the same.
            warnings.simplefilter("ignore", FutureWarning)
            schema_of(name).validate(suspect, lazy=True)
    except pa.errors.SchemaErrors as errors:
        cases = errors.failure_cases
        found = {
            (int(index), str(column), "blank" if check == "not_nullable" else str(check))
            for index, column, check in zip(cases["index"], cases["column"], cases["check"], strict=True)
            if index is not None and not pd.isna(index)
        }
        return sorted(found)
    return []
