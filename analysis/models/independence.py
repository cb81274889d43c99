"""Which columns of a design can be told apart from those before them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.errors import ModelError

Floats = NDArray[np.float64]

# A column counts as explained when less than this share of its length is left over after those before it.
LEAST_REST = 1e-7
# The products of the columns settle it where this share of the squared length is left; rounding is far below.
CLEARLY_APART = 1e-6


def independent_columns(x: Floats, before: Floats | None = None) -> tuple[NDArray[np.bool_], Floats]:
    """Mark the columns that are not combinations of those before them.

    Parameters
    ----------
    x : ndarray, shape (n, p)
    before : ndarray, shape (n, k), optional
        Columns that come before, of length one and independent of one another.

    Returns
    -------
    keep : ndarray of bool, shape (p,)
    after : ndarray
        The columns before with the kept ones added, scaled to length one.
    """
    length = np.sqrt(np.einsum("ij,ij->j", x, x))
    scaled = x / np.where(length > 0, length, 1.0)
    both = scaled if before is None else np.hstack([before, scaled])
    first = both.shape[1] - x.shape[1]
    products = both.T @ both
    if _all_apart(products):
        return np.ones(x.shape[1], dtype=bool), both
    chosen = list(range(first))
    for j in range(first, both.shape[1]):
        with_chosen = products[chosen, j]
        rest = products[j, j] - with_chosen @ np.linalg.solve(products[np.ix_(chosen, chosen)], with_chosen)
        if rest > CLEARLY_APART or _share_left(both[:, chosen], both[:, j]) > LEAST_REST:
            chosen.append(j)
    keep = np.isin(np.arange(first, both.shape[1]), chosen)
    return keep, both if len(chosen) == both.shape[1] else both[:, chosen]


def _all_apart(products: Floats) -> bool:
    """Whether something is clearly left of every column after those before it, all at once.

    The squares on the diagonal of the Cholesky factor are what is left of each column's squared length.
    """
    try:
        left = np.diag(np.linalg.cholesky(products))
    except np.linalg.LinAlgError:
        return False
    return bool((left**2 > CLEARLY_APART).all())


def _share_left(before: Floats, column: Floats) -> float:
    """Length of what is left of a column after those before it, exact to rounding."""
    known, _ = np.linalg.qr(before)
    rest = column - known @ (known.T @ column)
    rest = rest - known @ (known.T @ rest)  # the second pass removes the rounding of the first
    return float(np.sqrt(rest @ rest))


def explained_columns(x: Floats) -> tuple[int, ...]:
    """Positions of the columns that those before them already explain; columns of zeros count among them."""
    keep, _ = independent_columns(x)
    return tuple(int(j) for j in np.flatnonzero(~keep))


def refuse_aliased(x: Floats, names: tuple[str, ...]) -> None:
    """Refuse, by name, columns that the rows cannot tell from those before them.

    Raises
    ------
    ModelError
        Naming the columns.
    """
    if explained := explained_columns(x):
        raise ModelError(
            f"Some columns cannot be told apart from those before them: {', '.join(names[j] for j in explained)}.",
            rule="Every column of a model must differ from the others in some row.",
            todo="Leave them out, or merge levels that always go together.",
        )
