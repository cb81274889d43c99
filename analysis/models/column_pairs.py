"""The products of each two columns of a design, so that one product of matrices gives many curvatures at once.

The weighted sum of products of columns (an information) is linear in the weights, and a quadratic form at a row is
linear in the matrix: both are plain products with the array of pairs, each two columns once.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

KEPT_CELLS = 2**22  # products of columns are made anew for every use where there would be more
FEW = 4  # sets of weights, or matrices, for which products are not worth making


def products(columns: Floats) -> Floats:
    """Products of each two columns (p, n), the upper triangle row by row, shape (p (p + 1) / 2, n)."""
    width, n = columns.shape
    out, at = np.empty((width * (width + 1) // 2, n)), 0
    for j in range(width):
        np.multiply(columns[j], columns[j:], out=out[at : at + width - j])
        at += width - j
    return out


@dataclass(frozen=True)
class Pairs:
    """A design column by column, shape (p, n), and the products of its columns where the rows are few enough."""

    columns: Floats
    kept: Floats | None

    @classmethod
    def of(cls, x: Floats) -> Pairs:
        """Take the columns of a design (n, p)."""
        columns = np.ascontiguousarray(x.T)
        few = columns.size * (len(columns) + 1) // 2 <= KEPT_CELLS
        return cls(columns, products(columns) if few else None)

    def __getitem__(self, rows: slice) -> Floats:
        """Products in some rows, shape (p (p + 1) / 2, len(rows))."""
        return products(self.columns[:, rows]) if self.kept is None else self.kept[:, rows]

    def sums(self, weights: Floats, rows: slice) -> Floats:
        """Sums of the products over some rows with weights (b, m), shape (b, p (p + 1) / 2)."""
        if self.kept is not None or len(weights) > FEW:
            return np.asarray(weights @ self[rows].T)
        columns = self.columns[:, rows]
        upper = np.triu_indices(len(columns))
        return np.array([((columns * each) @ columns.T)[upper] for each in weights])

    def forms(self, matrices: Floats, rows: slice) -> Floats:
        """The quadratic form of every symmetric matrix (b, p, p) at some rows, shape (b, m)."""
        if self.kept is not None or len(matrices) > FEW:
            return forms(matrices, self[rows])
        columns = self.columns[:, rows]
        return np.array([np.einsum("jn,jn->n", each @ columns, columns) for each in matrices])


@functools.lru_cache(maxsize=32)
def _places(width: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
    """Place of each element in the upper triangle, of each pair in the matrix, and how often the pair is there."""
    row, column = np.triu_indices(width)
    place = np.empty((width, width), dtype=np.intp)
    place[row, column] = place[column, row] = np.arange(len(row))
    return place, row * width + column, np.where(row == column, 1.0, 2.0)


def symmetric(sums: Floats, width: int) -> Floats:
    """Matrices (..., p, p) of which ``sums`` (..., p (p + 1) / 2) holds the upper triangles."""
    return np.take(sums, _places(width)[0], axis=-1)


def forms(matrices: Floats, pairs: Floats) -> Floats:
    """The quadratic form of every symmetric matrix (g, p, p) at every row, shape (g, m)."""
    width = matrices.shape[1]
    _, upper, often = _places(width)
    return np.asarray((np.take(matrices.reshape(-1, width * width), upper, axis=1) * often) @ pairs)
