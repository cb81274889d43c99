"""What this log could show of technicians at all, and how often it marks people who do not differ.

The twin has the shop's own jobs, technicians and case mix; outcomes are drawn anew, and the page's whole comparison is
made on them: case mix learned again, intercepts, verdict words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from analysis.models.penalised_many import Maxima, maximise_many
from analysis.models.pooled import TAU_SCALE
from analysis.models.random_intercepts import above_mean_of_estimates
from analysis.models.within_group import CaseMix, above_means, case_mix, fit_case_mix
from analysis.questions.technicians import Technicians
from analysis.questions.twin import Rng, Share, Smallest, draw_outcomes, read_off, rng_of
from analysis.questions.verdicts import Verdict, verdict_of_chance

Floats = NDArray[np.float64]

SHOPS = 200
# Stated beforehand: share of logs of people who do not differ in which anyone is marked clear, or leaning or clear.
CLEAR_RATE, LEANING_RATE = 0.05, 0.20
# In standard errors of each person's own distance from the average.
SIZES = (1.5, 2.5, 3.5, 4.5, 6.0, 8.0)
TYPICAL_SD = TAU_SCALE * np.sqrt(2 / np.pi)  # mean of the half-normal prior of the SD between technicians, log odds
MANY_JOBS = 3000  # from here on the twin draws each person's estimate instead of jobs
NEAR = 1e-3  # standard errors: far below what a verdict turns on
SEEDS = {"quiet": 61, "planted": 62, "best": 63}


@dataclass(frozen=True)
class Detectable:
    """Smallest distance from the bench's average that would have been clear in 80 of 100 such shops.

    Parameters
    ----------
    code : str
    log_odds_above, log_odds_below : float
        Infinite when none of the sizes tried was found often enough.
    points_above, points_below : float
        The same in percentage points on the bench's own mix; infinite likewise.
    """

    code: str
    log_odds_above: float
    log_odds_below: float
    points_above: float
    points_below: float


@dataclass(frozen=True)
class TechnicianTwin:
    """What the twin says.

    Parameters
    ----------
    anyone_clear, anyone_leaning : Share
        Shops in which anyone is marked clear, or leaning or clear, though nobody differs.
    smallest_above, smallest_below : Smallest
        In standard errors; two, since with most boards booting it is easier to stand out below than above.
    detectable : tuple of Detectable
        One a person, in the order of their codes.
    best_above : Share
        Shops in which the truly best comes out above the bench's average, technicians differing as supposed beforehand.
    best_first : Share
        Shops in which the truly best comes out first.
    """

    anyone_clear: Share
    anyone_leaning: Share
    smallest_above: Smallest
    smallest_below: Smallest
    detectable: tuple[Detectable, ...]
    best_above: Share
    best_first: Share

    def of(self, code: str) -> Detectable:
        """The smallest distance of one person."""
        return next(each for each in self.detectable if each.code == code)


class _Twin:
    """Draws outcomes with planted technicians and compares them as the page does."""

    def __init__(self, found: Technicians) -> None:
        jobs = found.jobs
        self.within, self.found = jobs.within, found
        self.base = found.mix.offset + found.centre
        self.member = (jobs.within.group[:, None] == np.array(found.fit.names, object)[None, :]).astype(float)
        # What each person's own jobs tell, and how the case mix's uncertainty moves it.
        here = jobs.within.compared
        p = expit(self.base[here])
        weight = p * (1 - p)
        self.information = self.member[here].T @ weight
        cross = (self.member[here].T * weight) @ jobs.within.centred[here]
        self.moved = -cross / self.information[:, None]
        self.mix = found.mix.covariance[np.ix_(jobs.within.mix, jobs.within.mix)]
        self.covariance = np.diag(1 / self.information) + self.moved @ self.mix @ self.moved.T
        off_mean = np.eye(len(self.information)) - 1 / len(self.information)
        # Standard error of each distance from the mean if nothing were pooled.
        self.se = np.sqrt(np.diag(off_mean @ self.covariance @ off_mean))

    def above(self, planted: Floats, rngs: Sequence[Rng]) -> Floats:
        """Posterior chances of lying above the average, one twin a row of planted intercepts, shape (b, k)."""
        if len(self.base) > MANY_JOBS:
            return self.above_by_estimates(planted, rngs)
        shifts = planted @ self.member.T
        y = np.array([draw_outcomes(self.base + shift, rng) for shift, rng in zip(shifts, rngs, strict=True)])
        start = self.found.mix.beta
        fits = maximise_many(self.within.x, y, start, np.ones(len(start), dtype=bool), NEAR)
        return above_means(self.within, y, [self._mix(fits, k, y[k]) for k in range(len(y))])

    def above_by_estimates(self, planted: Floats, rngs: Sequence[Rng]) -> Floats:
        """The same from estimates drawn as they scatter, without drawing jobs: for large logs."""
        root = np.linalg.cholesky(self.covariance)
        drawn = planted + np.array([root @ rng.standard_normal(len(root)) for rng in rngs])
        return above_mean_of_estimates(drawn, self.information, self.moved, self.mix)

    def _mix(self, fits: Maxima, k: int, y: Floats) -> CaseMix:
        done = bool(fits.settled[k])
        return case_mix(self.within, fits.beta[k], fits.covariance[k]) if done else fit_case_mix(self.within, y)

    def one_apart(self, who: int, distance: float) -> Floats:
        """Intercepts with one person so far from the mean of all, the others alike."""
        k = len(self.se)
        return np.where(np.arange(k) == who, distance, -distance / (k - 1))

    def finds(self, size: float, side: float, shops: int) -> list[bool]:
        """Whether a person drawn by lot, planted so many standard errors above (1) or below (-1), is clear there."""
        rngs = [rng_of(SEEDS["planted"], shop) for shop in range(shops)]
        drawn = [int(rng.integers(len(self.se))) for rng in rngs]
        planted = np.array([self.one_apart(who, side * size * self.se[who]) for who in drawn])
        above = self.above(planted, rngs)[np.arange(shops), drawn]
        return [verdict_of_chance(float(a)) is Verdict.CLEAR and (a > 0.5) == (side > 0) for a in above]


def _detectable(twin: _Twin, above: float, below: float) -> tuple[Detectable, ...]:
    found = twin.found
    middle = found.rate_at(found.centre)

    def points(step: float) -> float:
        return 100 * abs(found.rate_at(found.centre + step) - middle) if np.isfinite(step) else np.inf

    steps = [(code, float(above * se), float(below * se)) for code, se in zip(found.fit.names, twin.se, strict=True)]
    return tuple(Detectable(code, up, down, points(up), points(-down)) for code, up, down in steps)


def technician_twin(found: Technicians, shops: int = SHOPS) -> TechnicianTwin:
    """Simulate the twin.

    Parameters
    ----------
    found : Technicians
        The comparison of the log itself: its jobs, case mix and average are kept.
    shops : int
        Simulated shops for each question; a quarter as many at each size planted above, and below.
    """
    twin = _Twin(found)
    k = len(found.fit.names)
    quiet = twin.above(np.zeros((shops, k)), [rng_of(SEEDS["quiet"], shop) for shop in range(shops)])
    words = [{verdict_of_chance(float(a)) for a in row} for row in quiet]
    rngs = [rng_of(SEEDS["best"], shop) for shop in range(shops)]
    planted = np.array([rng.normal(0, TYPICAL_SD, k) for rng in rngs])
    above, best, each = twin.above(planted, rngs), planted.argmax(axis=1), np.arange(shops)
    few = max(shops // 4, 1)
    ups, downs = (read_off(SIZES, [twin.finds(size, side, few) for size in SIZES]) for side in (1.0, -1.0))
    return TechnicianTwin(
        anyone_clear=Share(sum(Verdict.CLEAR in seen for seen in words), shops),
        anyone_leaning=Share(sum(len(seen - {Verdict.CANNOT_TELL}) > 0 for seen in words), shops),
        smallest_above=ups,
        smallest_below=downs,
        detectable=_detectable(twin, ups.size, downs.size),
        best_above=Share(int((above[each, best] > 0.5).sum()), shops),
        best_first=Share(int((above.argmax(axis=1) == best).sum()), shops),
    )
