"""Whether technicians differ once easy and hard boards are put side by side.

Never a ranking: people stand in the order of their codes, each beside the bench's average with a chance of lying above
it, and beside what this log could have shown at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from analysis.cohort.features import Cohort
from analysis.cohort.ledger import Ledger
from analysis.models import poisson_binomial
from analysis.models.intervals import Proportion, wilson
from analysis.models.random_intercepts import RandomIntercepts, rank_intervals
from analysis.models.within_group import CaseMix, compare_groups, fit_case_mix
from analysis.questions.technicians_rows import Comparable, NotComparable, comparable
from analysis.questions.verdicts import Verdict, verdict_of_chance

Floats = NDArray[np.float64]

DRAWS = 4000
RNG_SEED = 6
SENSITIVITY = (0.25, 1.0)  # scales of the prior of the SD between technicians, beside 0.5
WARNING, ACTION = 0.95, 0.998  # limits of the funnel, as usual for funnel plots (Spiegelhalter 2005)
NODES = np.linspace(-8, 8, 401)
BLOCK = 5000  # jobs


@dataclass(frozen=True)
class Limits:
    """Successes that chance alone allows on a person's own jobs, exactly, if they worked like the bench's average."""

    low: int
    high: int
    level: float


@dataclass(frozen=True)
class Adjusted:
    """First boots of 100 jobs of the bench's own mix: posterior mean and 95 % interval, as shares."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Person:
    """One technician beside the bench's average.

    Parameters
    ----------
    code : str
        The pseudonym of the log.
    raw : Proportion
        First boots of the own jobs (95 % Wilson interval).
    expected : float
        Successes that the bench's average would have had on the same jobs.
    limits : tuple of Limits
        At :data:`WARNING` and :data:`ACTION`.
    adjusted : Adjusted
        Rate on the bench's own mix of boards.
    difference : Adjusted
        Distance of that rate from the bench's average.
    log_odds : tuple of float
        The same distance in log odds: posterior mean and ends of the 95 % interval.
    above : float
        Posterior chance of lying above the bench's average.
    above_by_scale : tuple of (float, float)
        The same with the other scales of the prior.
    beyond : float
        Posterior chance of lying further from the average than the smallest difference worth acting on.
    ranks : tuple of int
        95 % interval of the rank; 1 is the highest.
    verdict : Verdict
    """

    code: str
    raw: Proportion
    expected: float
    limits: tuple[Limits, ...]
    adjusted: Adjusted
    difference: Adjusted
    log_odds: tuple[float, float, float]
    above: float
    above_by_scale: tuple[tuple[float, float], ...]
    beyond: float
    ranks: tuple[int, int]
    verdict: Verdict

    @property
    def hardness(self) -> float:
        """Rate that the bench's average would have on this person's boards; lower: harder boards."""
        return self.expected / self.raw.n


@dataclass(frozen=True)
class Technicians:
    """The comparison.

    Parameters
    ----------
    people : tuple of Person
        In the order of their codes.
    bench : Proportion
        Raw rate of all jobs compared.
    average : float
        Rate at the bench's average person on the bench's own mix.
    spread_beyond : float
        Posterior chance that the two furthest apart differ by the smallest difference worth acting on.
    smallest : float
        That difference, as a share.
    fit : RandomIntercepts
    mix : CaseMix
    jobs : Comparable
    ledger : Ledger
    """

    people: tuple[Person, ...]
    bench: Proportion
    average: float
    spread_beyond: float
    smallest: float
    fit: RandomIntercepts
    mix: CaseMix
    jobs: Comparable
    ledger: Ledger

    def marked(self, *verdicts: Verdict) -> tuple[Person, ...]:
        """People with one of these verdicts."""
        return tuple(person for person in self.people if person.verdict in verdicts)

    def person(self, code: str) -> Person:
        """The person of a code; StopIteration when not compared."""
        return next(person for person in self.people if person.code == code)

    @property
    def offset(self) -> Floats:
        """Log odds of the jobs compared by their case mix."""
        return self.mix.offset[self.jobs.within.compared]

    @property
    def centre(self) -> float:
        """Posterior mean of the mean of the intercepts."""
        return float(self.fit.weight @ self.fit.location.mean(axis=1))

    def rate_at(self, intercept: float) -> float:
        """Rate on the bench's own mix at an intercept."""
        return float(expit(self.offset + intercept).mean())


def _rates(offset: Floats, intercepts: Floats) -> Floats:
    """Mean chance over the jobs at each intercept, read off a fine grid."""
    blocks = (offset[i : i + BLOCK] for i in range(0, len(offset), BLOCK))
    curve = np.sum([expit(NODES[:, None] + block[None, :]).sum(axis=1) for block in blocks], axis=0) / len(offset)
    return np.asarray(np.interp(intercepts, NODES, curve))


def _summary(draws: Floats) -> list[Adjusted]:
    ends = np.quantile(draws, [0.025, 0.975], axis=0)
    return [
        Adjusted(float(m), float(lo), float(hi)) for m, lo, hi in zip(draws.mean(axis=0), ends[0], ends[1], strict=True)
    ]


def _against_chance(chances: Floats) -> tuple[float, tuple[Limits, ...]]:
    """Expected successes, and limits of a person's own jobs."""
    mass = poisson_binomial.pmf(chances)
    limits = tuple(Limits(*poisson_binomial.central_range(mass, level), level) for level in (WARNING, ACTION))
    return float(chances.sum()), limits


def _people(
    jobs: Comparable, mix: CaseMix, fit: RandomIntercepts, others: Sequence[RandomIntercepts], smallest: float
) -> tuple[tuple[Person, ...], float]:
    here = jobs.within.compared
    offset, group, y = mix.offset[here], jobs.within.group[here], jobs.outcome
    draws = fit.draws(DRAWS, np.random.default_rng(RNG_SEED))
    rates = _rates(offset, draws)
    apart = rates - _rates(offset, draws.mean(axis=1))[:, None]
    adjusted, difference = _summary(rates), _summary(apart)
    low, high = rank_intervals(draws)
    mean, log_low, log_high = fit.distance()
    above = fit.above_mean()
    by_scale = [other.above_mean() for other in others]
    centre = float(fit.weight @ fit.location.mean(axis=1))
    people = []
    for k, code in enumerate(fit.names):
        own = group == code
        won = int(y[own].sum())
        expected, limits = _against_chance(expit(offset[own] + centre))
        people.append(
            Person(
                code=code,
                raw=wilson(won, int(own.sum())),
                expected=expected,
                limits=limits,
                adjusted=adjusted[k],
                difference=difference[k],
                log_odds=(float(mean[k]), float(log_low[k]), float(log_high[k])),
                above=float(above[k]),
                above_by_scale=tuple((s, float(a[k])) for s, a in zip(SENSITIVITY, by_scale, strict=True)),
                beyond=float((np.abs(apart[:, k]) >= smallest).mean()),
                ranks=(int(low[k]), int(high[k])),
                verdict=verdict_of_chance(float(above[k])),
            )
        )
    return tuple(people), float((np.ptp(rates, axis=1) >= smallest).mean())


def compare_technicians(cohort: Cohort, minimum: int, smallest_points: float) -> Technicians | NotComparable:
    """Compare the technicians of a log on first boot.

    Parameters
    ----------
    cohort : Cohort
    minimum : int
        First boots a technician must have to be shown.
    smallest_points : float
        Smallest difference worth acting on, in percentage points.

    Returns
    -------
    Technicians or NotComparable

    Raises
    ------
    UnconvergedError
        If a fit did not settle.
    """
    jobs = comparable(cohort, minimum)
    if isinstance(jobs, NotComparable):
        return jobs
    mix = fit_case_mix(jobs.within, jobs.y)
    fit = compare_groups(jobs.within, jobs.y, mix).shown()
    fit = replace(fit, ledger=jobs.ledger, log_hash=cohort.log_hash)
    others = [compare_groups(jobs.within, jobs.y, mix, scale).shown() for scale in SENSITIVITY]
    smallest = smallest_points / 100
    people, spread_beyond = _people(jobs, mix, fit, others, smallest)
    y = jobs.outcome
    offset = mix.offset[jobs.within.compared]
    return Technicians(
        people=people,
        bench=wilson(int(y.sum()), len(y)),
        average=float(expit(offset + fit.weight @ fit.location.mean(axis=1)).mean()),
        spread_beyond=spread_beyond,
        smallest=smallest,
        fit=fit,
        mix=mix,
        jobs=jobs,
        ledger=jobs.ledger,
    )
