"""What this log could show at all: a twin of the shop, simulated with a planted difference.

The twin has the shop's own jobs, their case mix and their numbers; only the outcomes are drawn anew, with a difference
of known size planted. How often the very comparison of the page then finds it tells the smallest difference that this
log would have shown: it stands beside every "cannot tell". This looks forward from the design (how many jobs, which
mix); it never takes the difference observed, which would only restate the verdict (Hoenig and Heisey, The American
Statistician 55 (2001) 19–24; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logit

from analysis.models.firth import fit_firth

Floats = NDArray[np.float64]
Rng = np.random.Generator

POWER = 0.8
# Jobs simulated for one size, all shops together: with more, shops are fewer, and their Monte Carlo error is told.
SIMULATED_JOBS = 2_000_000
FEWEST_SHOPS = 25


@dataclass(frozen=True)
class Share:
    """A share of simulated shops with its Monte Carlo error.

    Parameters
    ----------
    x, n : int
        Shops in which it happened, and shops simulated.
    """

    x: int
    n: int

    @property
    def rate(self) -> float:
        """The share."""
        return self.x / self.n

    @property
    def error(self) -> float:
        """Its Monte Carlo error (one standard deviation), with half a shop on either side so that it is never nil."""
        rate = (self.x + 0.5) / (self.n + 1)
        return float(np.sqrt(rate * (1 - rate) / self.n))


@dataclass(frozen=True)
class Smallest:
    """Smallest difference that would have been found.

    Parameters
    ----------
    size, error : float
        In the unit of the sizes planted, with its Monte Carlo error; infinite when even the largest size planted is
        found too seldom; the smallest size planted, with an error of NaN, when that is found often enough already and
        nothing tells how much smaller it may be.
    largest : float
        Largest size planted.
    sizes, found : tuple of float
        Sizes planted, and the share of shops in which each was found.
    shops : int
        Shops simulated at each size.
    power : float
        Share of shops in which a difference of this size is found.
    """

    size: float
    error: float
    largest: float
    sizes: tuple[float, ...]
    found: tuple[float, ...]
    shops: int
    power: float

    @property
    def or_less(self) -> bool:
        """Whether a difference smaller than ``size`` would have been found as well."""
        return np.isfinite(self.size) and bool(np.isnan(self.error))


def smallest_found(
    one_shop: Callable[[float, Rng], bool],
    sizes: Sequence[float],
    shops: int,
    rng_seed: int,
    power: float = POWER,
) -> Smallest:
    """Smallest planted size that is found with the power asked for.

    Parameters
    ----------
    one_shop : callable
        Simulates a shop with a planted difference of the size and by the generator given, makes the page's own
        comparison, and says whether it found the difference (in the right direction).
    sizes : sequence of float
        Sizes to plant, growing; the larger the difference, the oftener it must be found.
    shops : int
        Shops simulated at each size.
    rng_seed : int
        The same seed gives the same answer. All sizes share the shops' random numbers.
    power : float

    Returns
    -------
    Smallest
        Read off a logistic curve of found on size, so that no size has to be hit exactly.
    """
    found = np.array([[one_shop(size, rng_of(rng_seed, k)) for k in range(shops)] for size in sizes])
    return read_off(sizes, found, power)


def shops_for(shops: int, jobs: int) -> int:
    """How many shops of so many jobs are simulated: those asked for, fewer of a network (100 up to 20,000 jobs)."""
    return min(shops, max(FEWEST_SHOPS, SIMULATED_JOBS // max(jobs, 1)))


def rng_of(rng_seed: int, shop: int) -> Rng:
    """The random numbers of one simulated shop."""
    return np.random.default_rng((rng_seed, shop))


def read_off(sizes: Sequence[float], found: ArrayLike, power: float = POWER) -> Smallest:
    """The same from shops already simulated.

    Parameters
    ----------
    sizes : sequence of float
        Sizes planted, growing.
    found : array_like of bool, shape (len(sizes), shops)
        Whether the comparison found the difference.
    power : float
    """
    hits = np.asarray(found, dtype=float)
    shops, shares = hits.shape[1], hits.mean(axis=1)
    size, error = _crossing(np.asarray(sizes, float), shares, shops, power)
    largest = float(sizes[-1])
    if not 0 < size <= largest:
        size, error = float(sizes[0]) if shares[0] >= power else float("inf"), float("nan")
    return Smallest(size, error, largest, tuple(map(float, sizes)), tuple(map(float, shares)), shops, power)


def _crossing(sizes: Floats, shares: Floats, shops: int, power: float) -> tuple[float, float]:
    """Where the logistic curve of the shares crosses the power, and its error by the delta method."""
    unit = float(sizes.max())
    x = np.column_stack([np.ones(len(sizes)), sizes / unit])
    fit = fit_firth(x, shares, ("level", "size"), weights=np.full(len(sizes), float(shops)), intervals=False).shown()
    level, slope = fit.coefficients
    if slope <= 0:
        return float("inf"), float("nan")
    at = (float(logit(power)) - level) / slope
    gradient = np.array([-1.0, -at]) / slope
    return float(unit * at), float(unit * np.sqrt(gradient @ fit.covariance @ gradient))


def draw_outcomes(log_odds: Floats, rng: Rng) -> Floats:
    """Outcomes of the shop's own jobs, drawn anew, shape (n,)."""
    return np.asarray(np.log(1 / rng.random(len(log_odds)) - 1) > -log_odds, dtype=float)
