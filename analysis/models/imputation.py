"""Blanks filled in several times, each time with a value that a similar job really had.

Chained equations with predictive mean matching: each column with blanks is predicted from all others by a linear fit to
a bootstrap sample of the rows where it is known (for a category: of its levels at once), and a blank takes the value of
one of the five rows whose prediction is nearest, drawn at random. The outcome is among the predictors. Sources: van
Buuren, Flexible Imputation of Missing Data, 2nd ed. (2018), sections 3.4 and 4.5; White, Royston and Wood, Statistics
in Medicine 30 (2011) 377–399 (both from memory). Matching a category on the predictions of its levels is our own
simplification: one rule for numbers and categories, and no level is ever made up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.binary import blocks

Floats = NDArray[np.float64]

DONORS = 5
CYCLES = 5
MANY_PAIRS = 500_000  # of a blank row and a known one, from some 2,500 jobs on
MOST_LENDERS = 5_000  # rows that may lend a value to the same blanks
RIDGE = 1e-3  # of a row, so that a level without rows in a sample does no harm


def _targets(values: pd.Series) -> Floats:
    """Columns to predict: the number, or one column a level; rows with blanks are NaN, shape (n, k)."""
    if pd.api.types.is_numeric_dtype(values):
        known = values.to_numpy(float, na_value=np.nan)
        spread = np.nanstd(known)
        return np.asarray((known - np.nanmean(known)) / (spread if spread > 0 else 1.0))[:, None]
    codes, levels = pd.factorize(values, sort=True)
    out = np.asarray(codes[:, None] == np.arange(len(levels)), dtype=float)
    out[codes < 0] = np.nan
    return out


def _match(
    columns: Floats, own: slice, target: Floats, blank: NDArray[np.bool_], rng: np.random.Generator
) -> NDArray[np.int64]:
    """For every blank row the place of a row that lends it its value; its ``own`` of the columns predict nothing.

    Where more than :data:`MOST_LENDERS` rows know it, rows that know it and rows that do not are dealt by lot, anew
    each time, into parts that are fitted and matched by themselves. Every row may lend, so that the completed tables
    differ by what the blanks took away and not by how few rows were looked at.
    """
    known, gaps = np.flatnonzero(~blank), np.flatnonzero(blank)
    parts = math.ceil(len(known) / MOST_LENDERS)
    if parts == 1:
        return _lent(columns, own, target, known, gaps, rng)
    out, takers = np.empty(len(gaps), dtype=np.int64), np.array_split(rng.permutation(len(gaps)), parts)
    for lenders, mine in zip(np.array_split(rng.permutation(known), parts), takers, strict=True):
        if len(mine):
            out[mine] = _lent(columns, own, target, np.sort(lenders), gaps[mine], rng)  # in the order of memory
    return out


def _lent(
    columns: Floats,
    own: slice,
    target: Floats,
    known: NDArray[np.int64],
    gaps: NDArray[np.int64],
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    """For each of the rows ``gaps`` one of the rows ``known``."""
    of_known, of_gaps = (np.delete(columns[rows], own, axis=1) for rows in (known, gaps))
    sample = rng.integers(0, len(known), len(known))
    x, width = of_known[sample], of_known.shape[1]
    slope = np.linalg.solve(x.T @ x + RIDGE * len(x) * np.eye(width), x.T @ target[known[sample]])
    several = min(DONORS, len(known))
    near = _nearest(of_gaps @ slope, of_known @ slope, several)
    return known[near[np.arange(len(near)), rng.integers(0, several, len(near))]]


def _nearest(of: Floats, among: Floats, several: int) -> NDArray[np.int64]:
    """Places of the rows of ``among`` (n, k) nearest to each row of ``of`` (m, k), shape (m, several), in no order.

    Every pair is looked at where they are few, which keeps the draws of a bench's log as they are; beyond that a tree
    finds the same distances without their square.
    """
    if len(of) * len(among) > MANY_PAIRS:
        from scipy.spatial import KDTree

        return np.asarray(KDTree(among).query(of, k=[*range(1, several + 1)])[1], dtype=np.int64)
    out = np.empty((len(of), several), dtype=np.int64)
    for rows in blocks(len(of), len(among)):
        apart = np.zeros((len(of[rows]), len(among)))
        for mine, theirs in zip(of[rows].T, among.T, strict=True):
            step = mine[:, None] - theirs
            apart += np.multiply(step, step, out=step)
        out[rows] = np.argpartition(apart, several - 1, axis=1)[:, :several]
    return out


def impute(
    frame: pd.DataFrame, columns: Sequence[str], helpers: Floats, copies: int, rng: np.random.Generator
) -> list[pd.DataFrame]:
    """Complete a table several times.

    Parameters
    ----------
    frame : DataFrame, shape (n, ...)
        Rows; blanks are NaN or None.
    columns : sequence of str
        Columns to complete. One without any value, or without a blank, stays as it is.
    helpers : ndarray, shape (n, k)
        Further predictors without blanks, the outcome among them.
    copies : int
        Completed tables.
    rng : Generator
        Source of randomness.

    Returns
    -------
    list of DataFrame
        Copies of ``frame``; what was known is unchanged.
    """
    usable = [name for name in columns if frame[name].notna().any()]
    targets = {name: _targets(frame[name]) for name in usable}
    gaps = {name: frame[name].isna().to_numpy(bool) for name in usable}
    order = sorted((name for name in usable if gaps[name].any()), key=lambda name: (gaps[name].sum(), name))
    fixed = np.column_stack([np.ones(len(frame)), helpers])
    return [_complete(frame, targets, gaps, order, fixed, rng) for _ in range(copies)]


def _complete(
    frame: pd.DataFrame,
    targets: dict[str, Floats],
    gaps: dict[str, NDArray[np.bool_]],
    order: list[str],
    fixed: Floats,
    rng: np.random.Generator,
) -> pd.DataFrame:
    lent = {name: _any_known(gaps[name], rng) for name in order}
    filled = [target[lent[name]] if name in lent else target for name, target in targets.items()]
    columns = np.column_stack([fixed, *filled])
    ends = fixed.shape[1] + np.cumsum([0, *(target.shape[1] for target in targets.values())])
    own = {name: slice(start, end) for name, start, end in zip(targets, ends, ends[1:], strict=False)}
    for _ in range(CYCLES if len(order) > 1 else 1):
        for name in order:
            place = _match(columns, own[name], targets[name], gaps[name], rng)
            lent[name][gaps[name]] = place
            columns[gaps[name], own[name]] = targets[name][place]
    out = frame.copy(deep=False)  # columns are replaced, never written to
    for name in order:
        out[name] = frame[name].to_numpy()[lent[name]]
    return out


def _any_known(blank: NDArray[np.bool_], rng: np.random.Generator) -> NDArray[np.int64]:
    """Each row itself where it is known, else any known row."""
    place = np.arange(len(blank))
    place[blank] = rng.choice(np.flatnonzero(~blank), int(blank.sum()))
    return place
