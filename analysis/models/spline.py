"""Natural cubic splines with knots and bounds that are stored with the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class NaturalSpline:
    """A natural cubic spline: cubic between its knots, straight outside its bounds.

    The basis is the truncated-power form of Hastie, Tibshirani and Friedman, The Elements of Statistical Learning,
    2nd ed., equations 5.4–5.5, scaled to the range. It spans the same curves as R's ``splines::ns`` with the same
    knots and bounds (checked under tests/reference/logistic), without the constant.

    Parameters
    ----------
    knots : tuple of float
        All knots, the two bounds included, rising.
    """

    knots: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.knots) < 2 or np.any(np.diff(self.knots) <= 0):
            raise ModelError("The knots of a curve must rise; too few different values were recorded.")

    @property
    def df(self) -> int:
        """Columns of the basis."""
        return len(self.knots) - 1

    def basis(self, x: ArrayLike) -> Floats:
        """Columns of the curve at ``x``.

        Parameters
        ----------
        x : array_like, shape (n,)
            Values in the unit of the knots.

        Returns
        -------
        ndarray, shape (n, df)
            The first column is linear.
        """
        knots = np.asarray(self.knots)
        scale = knots[-1] - knots[0]
        at = (np.asarray(x, dtype=float) - knots[0]) / scale
        k = (knots - knots[0]) / scale

        def d(j: int) -> Floats:
            cubes = np.maximum(at - k[j], 0) ** 3 - np.maximum(at - k[-1], 0) ** 3
            return np.asarray(cubes / (k[-1] - k[j]))

        last = d(len(k) - 2)
        columns = [at] + [d(j) - last for j in range(len(k) - 2)]
        return np.column_stack(columns)


def spline_through(x: ArrayLike, df: int) -> NaturalSpline:
    """Place inner knots at equal quantiles and the bounds at the smallest and largest value.

    Bounds further in would keep the curve straight where it may bend: with bounds at the 5th and 95th percentile a
    planted shallow optimum came out a quarter too deep (tests/studies/first_boot.py). Fewer columns are used where the
    values are too few to keep the knots apart.

    Parameters
    ----------
    x : array_like, shape (n,)
        Recorded values.
    df : int
        Columns wanted.

    Raises
    ------
    ModelError
        If fewer than two different values remain.
    """
    values = np.asarray(x, dtype=float)
    # A curve through k different values, the constant apart, cannot have more than k - 1 columns.
    for columns in range(min(df, len(np.unique(values)) - 1), 0, -1):
        knots = np.unique(np.quantile(values, np.linspace(0, 1, columns + 1)))
        if len(knots) == columns + 1:
            return NaturalSpline(tuple(float(knot) for knot in knots))
    raise ModelError("Too few different values were recorded for a curve.")
