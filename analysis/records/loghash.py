"""One number for the content of a log, so that anyone can see whether two reports rest on the same records."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.dictionary import TABLES, Column, Kind, Table
from analysis.records.rulebook import plain


def hash_of(tables: Mapping[str, pd.DataFrame]) -> str:
    """SHA-256 of the typed content of all tables.

    Each table enters as its different texts a column, sorted, and for each row, sorted by its key, which of them
    stands there. The order of rows and columns in the files, encoding, delimiter and spelling do not matter.
    """
    digest = hashlib.sha256()
    for table in TABLES:
        frame = tables[table.name]
        columns = {column.name: _ranked(frame[column.name], column) for column in table.columns}
        order = _row_order({name: codes for name, (codes, _) in columns.items()}, table, len(frame))
        digest.update(f"{table.name} {len(frame)}\n".encode())
        for name, (codes, texts) in columns.items():
            digest.update(f"{name} {len(texts)}\n".encode())
            digest.update("\n".join(texts).encode())
            digest.update((codes if order is None else codes[order]).astype("<i4").tobytes())
    return digest.hexdigest()


def _ranked(series: pd.Series, column: Column) -> tuple[NDArray[np.int64], list[str]]:
    """For each row the place of its text among the sorted different texts of the column; -1 where it is blank."""
    if column.kind is Kind.CHOICE and isinstance(series.dtype, pd.CategoricalDtype):
        codes, uniques = np.asarray(series.cat.codes, dtype=np.int64), list(series.cat.categories)
        used = np.unique(codes[codes >= 0])
        texts = [str(uniques[at]) for at in used]
        place = np.full(len(uniques) + 1, -1, dtype=np.int64)
        place[used] = np.arange(len(used))
        codes = place[codes]
    else:
        codes, found = pd.factorize(series)
        texts = [plain(value) if column.kind is not Kind.NUMBER else repr(float(value)) for value in found]
    rank = np.full(len(texts) + 1, -1, dtype=np.int64)
    rank[np.argsort(np.array(texts, dtype=object), kind="stable")] = np.arange(len(texts))
    return rank[codes], sorted(texts)


def _row_order(columns: Mapping[str, NDArray[np.int64]], table: Table, rows: int) -> NDArray[np.int64] | None:
    """Order of the rows by their key; by every cell where keys repeat; None when they lie so already."""
    if rows < 2:
        return None
    keys = [columns[name] for name in table.key]
    step = _compared(keys, np.arange(rows))
    if (step > 0).all():
        return None
    order = np.lexsort(keys[::-1])
    if (_compared(keys, order) > 0).all():
        return order
    return np.lexsort([*list(columns.values())[::-1], *keys[::-1]])


def _compared(keys: list[NDArray[np.int64]], order: NDArray[np.int64]) -> NDArray[np.int64]:
    """1 where a row's key lies after the key of the row before, 0 where it is the same, -1 where it lies before."""
    out = np.zeros(len(order) - 1, dtype=np.int64)
    for key in reversed(keys):
        step = np.sign(np.diff(key[order]))
        out = np.where(step == 0, out, step)
    return out
