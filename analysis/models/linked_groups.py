"""Which groups of rows share enough of their other columns for the groups to be told from those columns.

A column that only one group has, and has in every row, cannot be told from the group itself: whatever goes with the
column passes for the group. The same holds of two groups that share a kind of row nobody else has. Two groups can be
put side by side when the difference of their coefficients is estimable: when it is the same in every solution of a fit
with a column for each group and all the others (Searle, Linear Models, 1971, chapter 5; from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Share of the squared length of columns, scaled to one, below which a combination of them counts as nothing.
NOTHING = 1e-10
SAME = 1e-6


def linked_groups(group: NDArray[np.object_], x: Floats) -> tuple[tuple[str, ...], ...]:
    """Sets of groups that can be compared with one another, but not across.

    Parameters
    ----------
    group : ndarray of str, shape (n,)
    x : ndarray, shape (n, m)
        The other columns; they may explain one another.

    Returns
    -------
    tuple of tuple of str
        The set with most groups first, then with most rows, then by name; names sorted within.
    """
    names, at, rows = np.unique(group.astype(str), return_inverse=True, return_counts=True)
    columns = np.hstack([(at[:, None] == np.arange(len(names))).astype(float), x])
    products = columns.T @ columns
    length = np.sqrt(np.diagonal(products))
    scale = np.where(length > 0, length, 1.0)
    products = products / np.outer(scale, scale)
    values, vectors = np.linalg.eigh(products)
    # Combinations of columns that are nothing in every row; what they add to one group and not to another is anyone's.
    free = (vectors[:, values < NOTHING] / scale[:, None])[: len(names)]
    free = free / max(float(np.abs(free).max(initial=0.0)), SAME)
    sets: list[list[int]] = []
    for k in range(len(names)):
        own = next((each for each in sets if np.abs(free[each[0]] - free[k]).max(initial=0.0) < SAME), None)
        if own is None:
            sets.append([k])
        else:
            own.append(k)
    sets.sort(key=lambda each: (-len(each), -int(rows[each].sum()), str(names[each[0]])))
    return tuple(tuple(str(names[k]) for k in each) for each in sets)
