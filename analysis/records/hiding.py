"""Texts that read like a client's are shown by no report: each becomes "hidden-1", "hidden-2", wherever it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from analysis.records.dictionary import TABLES, Kind
from analysis.records.problems import Problem

PERSONAL = "personal-text"


def _texts(tables: Mapping[str, pd.DataFrame], problems: Sequence[Problem]) -> dict[str, str]:
    """Each text that a warning was given about, with what is shown in its place."""
    cells: dict[tuple[str, str], set[int]] = {}
    for problem in problems:
        if problem.code == PERSONAL:
            cells.setdefault((problem.file.removesuffix(".csv"), problem.column), set()).add(problem.line)
    found: dict[str, str] = {}
    for (name, column), lines in cells.items():
        frame = tables[name]
        for text in frame.loc[frame["_line"].isin(list(lines)), column].dropna().unique():
            found.setdefault(str(text), f"hidden-{len(found) + 1}")
    return found


def hide_personal(tables: Mapping[str, pd.DataFrame], problems: Sequence[Problem]) -> Mapping[str, pd.DataFrame]:
    """Put stand-ins for texts that read like a client's, the same one in all tables, so that rows stay joined.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Typed tables with ``_line``.
    problems : sequence of Problem
        What the check found.
    """
    names = _texts(tables, problems)
    if not names:
        return tables
    out = dict(tables)
    for table in TABLES:
        keys = [column.name for column in table.columns if column.kind is Kind.KEY]
        shown = {key: tables[table.name][key].map(lambda text: names.get(text, text), "ignore") for key in keys}
        out[table.name] = tables[table.name].assign(**{key: text.astype("string") for key, text in shown.items()})
    return out
