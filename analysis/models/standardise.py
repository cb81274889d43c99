"""How many successes a group's jobs cost, against what the other jobs of the same time would have given on them.

The jobs of a period are compared with one another, their chances by intake facts as an offset, so that a fall of
everything alike is not laid at the door of whatever was new at the time. Standardisation: the group's own jobs are
given the log odds of the other jobs of the period instead of their own, everything else as it was. What the group
cost before, at its share of that time, is taken off: only the change accounts for a shortfall.

A group may cost more than before because its odds fell, because it took a larger share of the jobs, or both. The
test is of that cost as a whole, by the same profile that gives its interval; a share that is a little larger by
chance is allowed for at what a job of the group cost before.

Sources: penalised fit and the interval of the odds ratio as in ``firth.py``; standardisation as in Hernán and Robins,
Causal Inference: What If, chapter 13; profile of the cost as in ``summed_profile.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray
from scipy.special import expit

from analysis.models.binary import blocks, chances
from analysis.models.firth import FirthResult, fit_firth
from analysis.models.summed_profile import Curve, profile_of_sum

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NAMES = ("the period", "the group")
# A curve reaches this many standard errors to either side, in steps of a sixteenth of one.
REACH, POINTS = 8.0, 257
# A curve that reaches less far than WIDE log odds is worked out at NODES points: the polynomial through them is as
# exact as the arithmetic, for a chance has no singularity nearer than pi.
WIDE, NODES = 2.0, 33


@dataclass(frozen=True)
class SameOffset:
    """Jobs of the same offset taken together: the different offsets, jobs of each, and successes among these."""

    offset: Floats
    jobs: Floats
    done: Floats

    @classmethod
    def of(cls, y: Floats, offset: Floats) -> SameOffset:
        """Take jobs with outcomes and offsets of shape (n,) together."""
        found, each = np.unique(offset, return_inverse=True)
        jobs, done = (np.bincount(each, weights=every, minlength=len(found)) for every in (np.ones(len(y)), y))
        return cls(found, np.asarray(jobs, dtype=float), np.asarray(done, dtype=float))


@dataclass(frozen=True)
class Rows:
    """Jobs of a period or of the time before it.

    Parameters
    ----------
    y : ndarray, shape (n,)
        Success, 0 or 1.
    offset : ndarray, shape (n,)
        Expected log odds of success by intake facts.
    group : ndarray of bool, shape (n,)
        Jobs of the group.
    """

    y: Floats
    offset: Floats
    group: Flags

    @property
    def contrasted(self) -> bool:
        """Whether there are jobs inside and outside the group."""
        return bool(self.group.any() and not self.group.all())

    @cached_property
    def inside(self) -> SameOffset:
        """The jobs of the group."""
        return SameOffset.of(self.y[self.group], self.offset[self.group])

    @cached_property
    def outside(self) -> SameOffset:
        """The others."""
        return SameOffset.of(self.y[~self.group], self.offset[~self.group])


@dataclass(frozen=True)
class Toll:
    """What a group of jobs cost.

    Parameters
    ----------
    odds_ratio, low, high : float
        Odds of failure of the group's jobs against the period's others, and the 95 % profile interval.
    p : float
        Penalised likelihood-ratio P that ``lost`` is zero; without jobs before to compare with, P that the group
        stands equal to the others.
    lost, lost_low, lost_high : float
        Successes the change in the group accounts for in the period, and the 95 % profile interval.
    """

    odds_ratio: float
    low: float
    high: float
    p: float
    lost: float
    lost_low: float
    lost_high: float


def toll(period: Rows, before: Rows) -> Toll:
    """Compare a group's jobs with the others of the period, and count what the change cost.

    Parameters
    ----------
    period : Rows
        With jobs inside and outside the group.
    before : Rows
        Earlier jobs; where none of them, or all, belong to the group, it cost nothing before.
    """
    fit = _fit(period, intervals=True).shown()
    lost, curves = _cost(period, fit.coefficients), _curves(period, fit)
    if before.contrasted:
        earlier = _fit(before, intervals=False).shown()
        scale = len(period.y) / len(before.y)
        usual = _cost(before, earlier.coefficients)
        lost -= scale * usual
        curves += [curve.times(-scale) for curve in _curves(before, earlier)]
        curves.append(_by_chance(period, before).times(usual / before.group.sum()))
    profile = profile_of_sum(curves)
    odds = np.exp(-np.array([fit.coefficients[1], fit.high[1], fit.low[1]]))
    return Toll(
        odds_ratio=float(odds[0]),
        low=float(odds[1]),
        high=float(odds[2]),
        p=profile.p,
        lost=lost,
        lost_low=profile.low,
        lost_high=profile.high,
    )


def _fit(rows: Rows, *, intervals: bool) -> FirthResult:
    parts = rows.outside, rows.inside
    offset, jobs, done = (
        np.concatenate([getattr(part, name) for part in parts]) for name in ("offset", "jobs", "done")
    )
    x = np.column_stack([np.ones(len(jobs)), np.repeat([0.0, 1.0], [len(part.jobs) for part in parts])])
    return fit_firth(x, done / jobs, NAMES, weights=jobs, offset=offset, intervals=intervals)


def _cost(rows: Rows, beta: Floats) -> float:
    """Successes the group's jobs lost against the others' log odds."""
    own = rows.inside
    return float((expit(own.offset + beta[0]) - expit(own.offset + beta[0] + beta[1])) @ own.jobs)


def _curves(rows: Rows, fit: FirthResult) -> list[Curve]:
    """Parts of the cost: successes of the group's jobs at the others' log odds, less those at their own.

    Jobs inside and outside the group share no coefficient and the penalty falls into the same two parts, so that
    each has its own curve.
    """
    others = _curve(rows.outside, fit.coefficients[0], rows.inside)
    mine = _curve(rows.inside, fit.coefficients.sum(), rows.inside)
    return [others, mine.times(-1)]


def _by_chance(period: Rows, before: Rows) -> Curve:
    """Jobs more or fewer in the group than before by chance alone: binomial around its share before."""
    n, share = len(period.y), before.group.mean()
    steps = np.linspace(-REACH, REACH, POINTS)
    return Curve(steps * np.sqrt(n * share * (1 - share) * (1 + n / len(before.y))), steps**2)


def _curve(jobs: SameOffset, at: float, own: SameOffset) -> Curve:
    """Deviance of jobs' common shift in log odds, against the successes that shift gives the group's jobs."""
    chance = expit(jobs.offset + at)
    reach = REACH / np.sqrt((chance * (1 - chance)) @ jobs.jobs)
    nodes, through = _nodes() if reach < WIDE else (np.linspace(-1, 1, POINTS), np.eye(POINTS))
    shifts = at + reach * nodes
    information, loglik, successes = np.zeros((3, len(shifts)))
    for some in blocks(len(jobs.jobs), len(shifts)):
        z, n = jobs.offset[some] + shifts[:, None], jobs.jobs[some]
        rarer, log_sum = chances(-np.abs(z))
        information += (rarer * (1 - rarer)) @ n
        loglik += z @ jobs.done[some] - (np.maximum(z, 0.0) + log_sum) @ n
    for some in blocks(len(own.jobs), len(shifts)):
        successes += chances(own.offset[some] + shifts[:, None])[0] @ own.jobs[some]
    # Jeffreys' penalty: half the log of the information, p (1 - p) summed over the jobs.
    penalised = through @ (loglik + np.log(information) / 2)
    return Curve(through @ successes, 2 * (penalised.max() - penalised))


@cache
def _nodes() -> tuple[Floats, Floats]:
    """Points between -1 and 1, shape (NODES,), and what takes values there to the whole grid, shape (POINTS, NODES)."""
    nodes = chebyshev.chebpts1(NODES)
    to_coefficients = np.linalg.inv(chebyshev.chebvander(nodes, NODES - 1))
    return nodes, chebyshev.chebvander(np.linspace(-1, 1, POINTS), NODES - 1) @ to_coefficients
