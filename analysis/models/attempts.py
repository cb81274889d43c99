"""Attempts: discrete time, counted in boot tests.

The life table, both views of giving up, and the person-period regression. Sources: Singer and Willett, Journal of
Educational Statistics 18 (1993) 155–195 (person-period logit); Prentice and Gloeckler, Biometrics 34 (1978) 57–67
(complementary log-log); Weinberg and Gladen, Biometrics 42 (1986) 547–560 (beta-geometric).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize, root
from scipy.special import betaln, psi

from analysis.errors import ModelError
from analysis.models.incidence import StepCurve, cumulative_incidence
from analysis.models.intervals import Proportion, wilson
from analysis.models.results import Result
from analysis.models.timed import COMPETING, EVENT, timed

Floats = NDArray[np.float64]


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
    lost, given_up, not_followed : int
        Jobs that ended here by irreversible loss or by giving up; jobs still open or without a record of later tests.
    within_continued : tuple of float, length 3
        Chance of a success by this test if no job had been given up, a loss for good still ending a job; with its
        95 % interval.
    within_all : tuple of float, length 3
        Share of all tested jobs with a success by this test, giving up and loss taken as they came (jobs not followed
        are censored); with its 95 % interval.
    """

    test_no: int
    tried: int
    chance: Proportion
    lost: int
    given_up: int
    not_followed: int
    within_continued: tuple[float, float, float]
    within_all: tuple[float, float, float]


def life_table(test_no: ArrayLike, success: ArrayLike, then: ArrayLike, last: int = 6) -> tuple[AttemptRow, ...]:
    """Tabulate attempts by boot test number.

    The chance by a test is the cumulative incidence over test numbers (Aalen–Johansen); giving up is a competing end
    in one view and censoring in the other.

    Parameters
    ----------
    test_no : array_like, shape (n,)
        1 for a job's first test.
    success : array_like, shape (n,)
        0 or 1.
    then : array_like of str, shape (n,)
        "success", "continued", "lost for good", "given up"; anything else is not followed further.
    last : int
        Last test number shown.
    """
    number = np.asarray(test_no, dtype=int)
    won = np.asarray(success, dtype=float) == 1
    after = np.asarray(then, dtype=object)
    numbers = np.arange(1, (int(number.max()) if len(number) else 0) + 1)

    def count(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
        return np.bincount(number[mask], minlength=len(numbers) + 1)[1:]

    tried, wins = count(np.ones(len(number), dtype=bool)), count(won)
    lost, gave_up = count(~won & (after == "lost for good")), count(~won & (after == "given up"))
    if not len(numbers):
        return ()
    apart = tried - wins - lost - gave_up - np.append(tried[1:], 0)

    def by_then(competing: NDArray[np.int64], censored: NDArray[np.int64]) -> StepCurve:
        times = np.concatenate([np.repeat(numbers, ends) for ends in (wins, competing, censored)])
        kinds = np.repeat([EVENT, COMPETING, 0], [wins.sum(), competing.sum(), censored.sum()])
        return cumulative_incidence(timed(times, kinds), minimum=1)

    everyone, continued = by_then(lost + gave_up, apart), by_then(lost, apart + gave_up)
    return tuple(
        AttemptRow(
            test_no=int(k),
            tried=int(tried[i]),
            chance=wilson(int(wins[i]), int(tried[i])),
            lost=int(lost[i]),
            given_up=int(gave_up[i]),
            not_followed=int(apart[i]),
            within_continued=continued.at(float(k)),
            within_all=everyone.at(float(k)),
        )
        for i, k in enumerate(numbers[:last])
        if tried[i]
    )


@dataclass(frozen=True, kw_only=True)
class BetaGeometric(Result):
    """Chances that differ between jobs by a beta distribution, and do not change from attempt to attempt.

    Parameters
    ----------
    alpha, beta : float
        Parameters of the beta distribution; the mean chance is alpha / (alpha + beta).
    loglik : float
    """

    alpha: float
    beta: float
    loglik: float

    @property
    def mean(self) -> float:
        """Mean chance at the first attempt."""
        return self.alpha / (self.alpha + self.beta)


def fit_beta_geometric(successes: ArrayLike, beyond: int) -> BetaGeometric:
    """Fit a beta-geometric distribution to the attempt at which each job first succeeded.

    Parameters
    ----------
    successes : array_like, shape (k,)
        Jobs that first succeeded at attempt 1, …, k.
    beyond : int
        Jobs without a success in k attempts.

    Raises
    ------
    ModelError
        If there is no success or no failure at all.
    """
    counts = np.asarray(successes, dtype=float)
    attempt = np.arange(1, len(counts) + 1)
    failures = float(((attempt - 1) * counts).sum() + beyond * len(counts))
    if not counts.sum() or not failures:
        raise ModelError("A spread of chances needs both successes and failed attempts.")

    def minus_loglik(logs: Floats) -> tuple[float, Floats]:
        a, b = np.exp(logs)
        mass = betaln(a + 1, b + attempt - 1) - betaln(a, b)
        tail = betaln(a, b + len(counts)) - betaln(a, b)
        both = psi(a + b) - psi(a + b + attempt)
        slope_a = counts @ (1 / a + both) + beyond * (psi(a + b) - psi(a + b + len(counts)))
        slope_b = counts @ (psi(b + attempt - 1) - psi(b) + both)
        slope_b += beyond * (psi(b + len(counts)) - psi(b) + psi(a + b) - psi(a + b + len(counts)))
        return float(-(counts @ mass + beyond * tail)), -np.array([slope_a * a, slope_b * b])

    found = minimize(minus_loglik, np.zeros(2), jac=True, method="BFGS", options={"gtol": 1e-9, "maxiter": 500})
    polished = root(lambda logs: minus_loglik(logs)[1], found.x, tol=1e-13)
    logs = polished.x if np.abs(polished.fun).max() <= np.abs(found.jac).max() else found.x
    a, b = np.exp(logs)
    # Without real spread the likelihood rises for ever as both parameters grow.
    settled = bool(np.abs(minus_loglik(logs)[1]).max() < 1e-5 and a + b < 1e4)
    return BetaGeometric(
        n=int(counts.sum() + beyond),
        events=int(counts.sum()),
        converged=settled,
        reason="" if settled else "the jobs show no spread of chances",
        alpha=float(a),
        beta=float(b),
        loglik=-minus_loglik(logs)[0],
    )
