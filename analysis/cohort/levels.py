"""How a typed column of the log becomes a feature that a model can tell levels of."""

from __future__ import annotations

import pandas as pd

from analysis.records.dictionary import WORD_OF

NOT_KNOWN = "unknown"  # a code of some columns; for a model the same as a blank


def as_levels(values: pd.Series) -> pd.Series:
    """Codes as texts, true and false as the words of the log, not known and blank as None; a number stays one.

    The counter reads its answers to the same texts, so that what it is told is what the model has seen.

    Parameters
    ----------
    values : Series, shape (n,)
        With the dtype that reading the log gives.
    """
    if pd.api.types.is_bool_dtype(values.dtype):
        values = values.astype(object).map(WORD_OF, na_action="ignore")
    elif not (isinstance(values.dtype, pd.CategoricalDtype) or pd.api.types.is_string_dtype(values.dtype)):
        return values
    known = values.astype(object).where(values.notna(), None)
    return known.where(known.ne(NOT_KNOWN), None)
