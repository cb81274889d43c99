"""Intervals for a proportion: Wilson, exact (Clopper–Pearson) and Jeffreys.

Sources: Wilson, JASA 22 (1927) 209–212; Clopper and Pearson, Biometrika 26 (1934) 404–413; Brown, Cai and DasGupta,
Statistical Science 16 (2001) 101–133, whose edge rule the Jeffreys interval keeps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analysis.errors import ModelError

Method = Literal["wilson", "exact", "jeffreys"]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Proportion:
    """A proportion with its denominator and interval.

    Parameters
    ----------
    x, n : int
        Successes and trials.
    low, high : float
        Ends of the interval; NaN when ``n`` is 0.
    level : float
        Confidence level, e.g. 0.95.
    method : str
        "wilson", "exact" or "jeffreys".
    """

    x: int
    n: int
    low: float
    high: float
    level: float
    method: Method

    @property
    def rate(self) -> float:
        """Successes over trials; NaN when there are none."""
        return self.x / self.n if self.n else float("nan")


def _checked(x: ArrayLike, n: ArrayLike, level: float) -> tuple[Floats, Floats]:
    successes, trials = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(n, dtype=float))
    if not 0 < level < 1:
        raise ModelError(f"A level of {level} is not between 0 and 1.")
    if (trials < 0).any() or (successes < 0).any() or (successes > trials).any():
        raise ModelError("A count of successes must lie between 0 and its number of trials.")
    return successes, trials


def _wilson(x: Floats, n: Floats, level: float) -> tuple[Floats, Floats]:
    z = -float(special.ndtri((1 - level) / 2))
    with np.errstate(invalid="ignore", divide="ignore"):
        p = x / n
        centre = (p + z**2 / (2 * n)) / (1 + z**2 / n)
        half = z / (1 + z**2 / n) * np.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
        # At the edges the formula gives 0 and 1 only up to rounding; the ends are exactly these.
        low = np.where(x == 0, 0.0, centre - half)
        high = np.where(x == n, 1.0, centre + half)
    return low, high


def _exact(x: Floats, n: Floats, level: float) -> tuple[Floats, Floats]:
    tail = (1 - level) / 2
    inside_low, inside_high = np.maximum(x, 1), np.minimum(x, n - 1)
    low = np.where(x == 0, 0.0, special.betaincinv(inside_low, n - inside_low + 1, tail))
    high = np.where(x == n, 1.0, 1 - special.betaincinv(np.maximum(n - inside_high, 1), inside_high + 1, tail))
    return low, high


def _jeffreys(x: Floats, n: Floats, level: float) -> tuple[Floats, Floats]:
    tail = (1 - level) / 2
    low = np.where(x == 0, 0.0, special.betaincinv(x + 0.5, n - x + 0.5, tail))
    high = np.where(x == n, 1.0, 1 - special.betaincinv(n - x + 0.5, x + 0.5, tail))
    return low, high


_METHODS = {"wilson": _wilson, "exact": _exact, "jeffreys": _jeffreys}


def proportion_interval(
    x: ArrayLike, n: ArrayLike, level: float = 0.95, method: Method = "wilson"
) -> tuple[Floats, Floats]:
    """Both ends of the interval, element by element.

    Parameters
    ----------
    x, n : array_like, any common shape
        Successes and trials.
    level : float
        Confidence level.
    method : {"wilson", "exact", "jeffreys"}
        Which interval.

    Returns
    -------
    low, high : ndarray
        NaN where ``n`` is 0.

    Raises
    ------
    ModelError
        If a count lies outside 0..n or the level outside (0, 1).
    """
    successes, trials = _checked(x, n, level)
    some = np.where(trials > 0, trials, 1.0)
    low, high = _METHODS[method](np.minimum(successes, some), some, level)
    return np.where(trials > 0, low, np.nan), np.where(trials > 0, high, np.nan)


def proportion(x: int, n: int, level: float = 0.95, method: Method = "wilson") -> Proportion:
    """One proportion with its interval; see :func:`proportion_interval`."""
    low, high = proportion_interval(x, n, level, method)
    return Proportion(int(x), int(n), float(low), float(high), level, method)


def wilson(x: int, n: int, level: float = 0.95) -> Proportion:
    """One proportion with its Wilson interval, the one that reports use."""
    return proportion(x, n, level, "wilson")
