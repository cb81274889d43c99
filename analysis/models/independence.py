"""Which columns of a design can be told apart from those before them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# A column counts as explained when less than this share of its length is left over after those before it.
LEAST_REST = 1e-7
CLEARLY_APART = 1e-8


def independent_columns(x: Floats, basis: Floats | None = None) -> tuple[NDArray[np.bool_], Floats]:
    """Mark the columns that are not combinations of those before them.

    Parameters
    ----------
    x : ndarray, shape (n, p)
    basis : ndarray, shape (n, k), optional
        Orthonormal columns that come before.

    Returns
    -------
    keep : ndarray of bool, shape (p,)
    basis : ndarray
        The basis with the kept columns added.
    """
    length = np.sqrt(np.einsum("ij,ij->j", x, x))
    rest = x / np.where(length > 0, length, 1.0)
    known = np.zeros((x.shape[0], 0)) if basis is None else basis
    for _ in range(2):  # the second pass keeps the basis orthogonal to rounding
        rest = rest - known @ (known.T @ rest)
    keep = np.zeros(x.shape[1], dtype=bool)
    own: list[Floats] = []
    for j in range(x.shape[1]):
        column = rest[:, j].copy()
        for _ in range(2):
            for unit in own:
                column -= (unit @ column) * unit
        size = float(np.sqrt(column @ column))
        if size > LEAST_REST:
            keep[j] = True
            own.append(column / size)
    return keep, np.column_stack([known, *own])


def explained_columns(x: Floats) -> tuple[int, ...]:
    """Positions of the columns that those before them already explain; constant zeros count among them.

    The products of the columns with one another settle the usual case in one pass; only when they leave a doubt is
    each column taken apart from those before it.
    """
    length = np.sqrt(np.einsum("ij,ij->j", x, x))
    if (length > 0).all() and np.linalg.eigvalsh((x.T @ x) / np.outer(length, length))[0] > CLEARLY_APART:
        return ()
    keep, _ = independent_columns(x)
    return tuple(int(j) for j in np.flatnonzero(~keep))
