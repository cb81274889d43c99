"""One number for the content of a log, so that anyone can see whether two reports rest on the same records."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from itertools import repeat
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.records.coded import Coded, CodedTables
from analysis.records.dictionary import TABLES, Column, Kind, Table
from analysis.records.packed_texts import joined, ranked


def hash_of(coded: CodedTables) -> str:
    """SHA-256 of the typed content of all tables.

    Each table enters as its different values a column, sorted as text, and for each row, sorted by its key, which of
    them stands there. The order of rows and columns in the files, encoding, delimiter and spelling do not matter.
    """
    digest = hashlib.sha256()
    for table in TABLES:
        columns = {column.name: _ranked(coded[table.name][column.name], column) for column in table.columns}
        rows = len(columns[table.names[0]][0])
        order = _row_order({name: codes for name, (codes, _, _) in columns.items()}, table, rows)
        digest.update(f"{table.name} {rows}\n".encode())
        for name, (codes, n, texts) in columns.items():
            digest.update(f"{name} {n}\n".encode())
            digest.update(texts)
            digest.update((codes if order is None else codes[order]).tobytes())
    return digest.hexdigest()


def _text(value: Any, column: Column) -> str:
    """The one way a value is written for the hash."""
    if column.kind is Kind.NUMBER:
        return repr(float(value))
    if column.kind is Kind.INTEGER:
        return str(int(value))
    return str(value)[:10] if column.kind is Kind.DATE else str(value)


def _ranked(coded: Coded, column: Column) -> tuple[NDArray[np.int32], int, bytes]:
    """For each row the place of its text among the sorted different texts of the column, -1 where it is blank.

    Returns
    -------
    places, how many different texts, and those, a line each
    """
    if column.kind is Kind.KEY:
        return _ranked_keys(coded)
    if column.kind is Kind.CHOICE:
        texts = list(coded.values)
    else:
        texts = [None if value is None else _text(value, column) for value in coded.values]
    different = sorted(set(texts) - {None})
    place: dict[str | None, int] = dict(zip(different, range(len(different)), strict=True))
    places = coded.spread(list(map(place.get, texts, repeat(-1))), -1).astype("<i4")
    return places, len(different), "\n".join(different).encode()


def _ranked_keys(coded: Coded) -> tuple[NDArray[np.int32], int, bytes]:
    """The same for a column of codes, of which there may be millions: compared as numbers."""
    ranks, different = ranked(coded.words)
    blank = int(different.shape[1] > 0 and not different[:, 0].any())  # a missing code is empty and comes first
    told = different[:, blank:]
    return coded.spread(ranks - blank, -1).astype("<i4"), told.shape[1], joined(told)


def _row_order(columns: Mapping[str, NDArray[np.int32]], table: Table, rows: int) -> NDArray[np.int64] | None:
    """Order of the rows by their key; by every cell where keys repeat; None when they lie so already."""
    if rows < 2:
        return None
    keys = [columns[name] for name in table.key]
    one = _as_one(keys)
    if one is not None:
        if (np.diff(one) > 0).all():
            return None
        order = np.argsort(one, kind="stable")
        if (np.diff(one[order]) > 0).all():
            return order
    return np.lexsort([*list(columns.values())[::-1], *keys[::-1]])


def _as_one(keys: list[NDArray[np.int32]]) -> NDArray[np.int64] | None:
    """The parts of each row's key as one number in the same order; None where that would not fit."""
    out, most = np.zeros(len(keys[0]), dtype=np.int64), 1
    for key in keys:
        size = int(key.max()) + 2
        out, most = out * size + key + 1, most * size
    return out if most < 2**63 else None
