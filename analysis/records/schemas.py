"""pandera schemas derived from the dictionary: the declaration of what a valid typed table is."""

from __future__ import annotations

import warnings
from functools import cache

import pandas as pd
import pandera.pandas as pa

from analysis.records.dictionary import BY_NAME, Column, Kind, Required, Table

_DTYPES: dict[Kind, object] = {
    Kind.KEY: pd.StringDtype(),
    Kind.NUMBER: float,
    Kind.INTEGER: pd.Int64Dtype(),
    Kind.DATE: "datetime64[ns]",
    Kind.YES_NO: pd.BooleanDtype(),
}


def _column(column: Column) -> pa.Column:
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
    table: Table = BY_NAME[name]
    return pa.DataFrameSchema({column.name: _column(column) for column in table.columns}, name=name)


def failures(name: str, frame: pd.DataFrame) -> list[tuple[int, str, str]]:
    """Where a typed table breaks its schema.

    Returns
    -------
    list of (int, str, str)
        Row position, column, and which check: "low", "high" or "blank"; each cell once.
    """
    try:
        with warnings.catch_warnings():
            # pandera joins its tables of failures in a way that pandas will change; the cells told are the same.
            warnings.simplefilter("ignore", FutureWarning)
            schema_of(name).validate(frame, lazy=True)
    except pa.errors.SchemaErrors as errors:
        cases = errors.failure_cases
        found = {
            (int(index), str(column), "blank" if check == "not_nullable" else str(check))
            for index, column, check in zip(cases["index"], cases["column"], cases["check"], strict=True)
            if index is not None and not pd.isna(index)
        }
        return sorted(found)
    return []
