"""Attempts: discrete time, counted in boot tests; the life table with its views of jobs not followed to an end.

A row a test is also what the person-period regression of ``questions/survival.py`` is fitted to. Sources: Singer and
Willett, Journal of Educational Statistics 18 (1993) 155–195 (person-period logit); Prentice and Gloeckler, Biometrics
34 (1978) 57–67 (complementary log-log).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.cohort.attempts import GAVE_UP, LOST, OPEN, STOPPED, SUCCESS, UNRECORDED, UNRECORDED_BOOT
from analysis.models.incidence import ROUNDING, StepCurve, cumulative_incidence
from analysis.models.intervals import Proportion, wilson
from analysis.models.timed import CENSORED, COMPETING, EVENT, timed

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]


@dataclass(frozen=True)
class AttemptRow:
    """What happened at one boot test number.

    Parameters
    ----------
    test_no : int
        1, 2, 3 …
    tried : int
        Jobs that made this test without an earlier success.
    chance : Proportion
        Successes of those that tried, with Wilson interval.
    lost, given_up, stopped : int
        Jobs that ended here by irreversible loss, given up by the bench, or stopped by the client.
    still_open, unrecorded, unrecorded_boot : int
        Jobs still open; closed ones of which no later test is written down, without and with a recovery.
    within_low, within_high : tuple of float, length 3
        Share of all tested jobs with a success by this test, giving up and loss taken as they came and open jobs
        censored; with its 95 % interval. Low: closed jobs without a record of later tests had no success at a test
        counted here. High: those not recovered are censored, as if they had gone on like the jobs with a record that
        were not lost, and those recovered had their success at the next test. The same where every job has its record.
    within_continued : tuple of float, length 3
        The high view with jobs given up or stopped censored too: an assumption, and no bound. A loss for good still
        ends a job.
    """

    test_no: int
    tried: int
    chance: Proportion
    lost: int
    given_up: int
    stopped: int
    still_open: int
    unrecorded: int
    unrecorded_boot: int
    within_low: tuple[float, float, float]
    within_high: tuple[float, float, float]
    within_continued: tuple[float, float, float]

    @property
    def bounded(self) -> bool:
        """Whether missing records leave two bounds of the share of all tested jobs."""
        return abs(self.within_high[0] - self.within_low[0]) > ROUNDING


def _views(number: Counts, ended: Mapping[str, NDArray[np.bool_]]) -> tuple[StepCurve, StepCurve, StepCurve]:
    """Low and high share of all tested jobs, and the view without giving up; see :class:`AttemptRow`.

    Of a job still open after its failed test k nothing more is known than that test; a job known not to be lost was
    spared the loss that others had after it, and may be given up after that. So censoring and ends follow a test in
    that order, at k, k + 1/4 and k + 1/2. All at k alone would count open jobs as continued.

    Parameters
    ----------
    number : ndarray of int, shape (n,)
        Test numbers.
    ended : mapping of str to mask
        The last row of each job, by what ended it: "success", the kinds of the cohort, and "open".
    """

    def curve(given: Mapping[str, tuple[float, int]]) -> StepCurve:
        times, codes = [], []
        for kind, (later, code) in given.items():
            times.append(number[ended[kind]] + later)
            codes.append(np.full(int(ended[kind].sum()), code))
        return cumulative_incidence(timed(np.concatenate(times), np.concatenate(codes)), minimum=1)

    always = {SUCCESS: (0.0, EVENT), OPEN: (0.0, CENSORED), LOST: (0.25, COMPETING)}
    given_up, not_lost = (0.5, COMPETING), (0.25, CENSORED)
    # A success at a test that nobody wrote down came at the next test at the earliest.
    high = {UNRECORDED: not_lost, UNRECORDED_BOOT: (1.0, EVENT)}
    return (
        curve(always | dict.fromkeys((GAVE_UP, STOPPED, UNRECORDED, UNRECORDED_BOOT), given_up)),
        curve(always | high | dict.fromkeys((GAVE_UP, STOPPED), given_up)),
        curve(always | high | dict.fromkeys((GAVE_UP, STOPPED), not_lost)),
    )


def life_table(test_no: ArrayLike, success: ArrayLike, then: ArrayLike, last: int = 6) -> tuple[AttemptRow, ...]:
    """Tabulate attempts by boot test number.

    The chance by a test is the cumulative incidence over test numbers (Aalen–Johansen), in three views of the jobs
    that were not followed to an end.

    Parameters
    ----------
    test_no : array_like, shape (n,)
        1 for a job's first test.
    success : array_like, shape (n,)
        0 or 1.
    then : array_like of str, shape (n,)
        What followed, in the words of :mod:`analysis.cohort.attempts`.
    last : int
        Last test number shown.
    """
    number = np.asarray(test_no, dtype=int)
    won = np.asarray(success, dtype=float) == 1
    after = np.asarray(then, dtype=object)
    if not len(number):
        return ()
    ended = {SUCCESS: won}
    ended |= {kind: ~won & (after == kind) for kind in (LOST, GAVE_UP, STOPPED, OPEN, UNRECORDED, UNRECORDED_BOOT)}
    low, high, continued = _views(number, ended)
    rows = []
    for k in range(1, min(last, int(number.max())) + 1):
        here = number == k
        if not here.any():
            continue
        count = {kind: int((mask & here).sum()) for kind, mask in ended.items()}
        rows.append(
            AttemptRow(
                test_no=k,
                tried=int(here.sum()),
                chance=wilson(count[SUCCESS], int(here.sum())),
                lost=count[LOST],
                given_up=count[GAVE_UP],
                stopped=count[STOPPED],
                still_open=count[OPEN],
                unrecorded=count[UNRECORDED],
                unrecorded_boot=count[UNRECORDED_BOOT],
                within_low=low.at(float(k)),
                within_high=high.at(float(k)),
                within_continued=continued.at(float(k)),
            )
        )
    return tuple(rows)
