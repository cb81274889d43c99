"""Columns along which successes and failures are split, so that no finite ordinary estimate exists.

Source: Konis, Linear programming algorithms for detecting separated data in binary logistic regression models (thesis,
Oxford 2007). A direction that splits successes from failures exists exactly when the linear programme below has a
solution other than zero.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from analysis.errors import ModelError

Floats = NDArray[np.float64]

NOT_ZERO = 1e-7


def separated_columns(x: Floats, y: Floats, names: tuple[str, ...]) -> tuple[str, ...]:
    """Name the columns along which successes and failures are split without overlap.

    Parameters
    ----------
    x : ndarray, shape (n, p)
    y : ndarray, shape (n,)
        Outcomes; rows strictly between 0 and 1 (grouped data with both outcomes) cannot be split.
    names : tuple of str

    Returns
    -------
    tuple of str
        Empty when the maximum-likelihood estimate exists. Where some rows overlap, every column without a finite
        estimate. Where none does, no column has one, and a smallest set that already splits the rows is named. A
        constant column takes part in most splits and explains none: it is named only when all outcomes are alike.
    """
    length = np.abs(x).max(axis=0)
    scaled = x / np.where(length > 0, length, 1.0)
    signed, mixed = _rows(scaled, y)
    weights = _split(signed, mixed)
    splitting = np.abs(weights) > NOT_ZERO
    if not splitting.any():
        return ()
    constant = np.ptp(x, axis=0) == 0
    if not len(mixed) and _margin(signed) > NOT_ZERO:
        splitting = _fewest(signed, weights, constant)
    told = splitting & ~constant if (splitting & ~constant).any() else splitting
    return tuple(name for name, yes in zip(names, told, strict=True) if yes)


def _rows(scaled: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Different rows only, those with one outcome turned so that a split makes all positive, and those with both."""
    both = (y > 0) & (y < 1)
    turned = scaled[~both] * np.where(y[~both] > 0.5, 1.0, -1.0)[:, None]
    return np.unique(turned, axis=0), np.unique(scaled[both], axis=0)


def _split(signed: Floats, mixed: Floats) -> Floats:
    """A direction that splits as many rows as it can; zero when there is none."""
    found = linprog(
        -signed.sum(axis=0),
        A_ub=-signed,
        b_ub=np.zeros(len(signed)),
        A_eq=mixed if len(mixed) else None,
        b_eq=np.zeros(len(mixed)) if len(mixed) else None,
        bounds=[(-1, 1)] * signed.shape[1],
    )
    if found.x is None:
        raise ModelError(f"Whether the outcomes can be split could not be settled: {found.message}")
    return np.asarray(found.x)


def _margin(signed: Floats) -> float:
    """How far the nearest row can be kept from a split of all rows; zero when some rows must lie on it."""
    width = signed.shape[1]
    found = linprog(
        np.append(np.zeros(width), -1.0),
        A_ub=np.column_stack([-signed, np.ones(len(signed))]),
        b_ub=np.zeros(len(signed)),
        bounds=[*[(-1, 1)] * width, (0, None)],
    )
    return float(found.x[-1]) if found.x is not None else 0.0


def _fewest(signed: Floats, weights: Floats, constant: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Leave columns out, the least weighty first, as long as the rest still splits every row."""
    used = np.ones(len(weights), dtype=bool)
    for j in np.argsort(np.abs(weights), kind="stable"):
        used[j] = bool(constant[j])
        if not used.any() or _margin(signed[:, used]) <= NOT_ZERO:
            used[j] = True
    return used
