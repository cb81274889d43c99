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
from analysis.models.intervals import Proportion, wilson
from analysis.models.results import Result

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
    lost, given_up, open : int
        Jobs that ended here by irreversible loss, by giving up, or are still open.
    within_continued : float
        Chance of a success by this test if no job had been given up; a loss for good still ends a job.
    within_all : float
        Share of all tested jobs with a success by this test, giving up and loss taken as they came (open jobs
        censored).
    """

    test_no: int
    tried: int
    chance: Proportion
    lost: int
    given_up: int
    open: int
    within_continued: float
    within_all: float


def life_table(test_no: ArrayLike, success: ArrayLike, then: ArrayLike, last: int = 6) -> tuple[AttemptRow, ...]:
    """Tabulate attempts by boot test number.

    Parameters
    ----------
    test_no : array_like, shape (n,)
        1 for a job's first test.
    success : array_like, shape (n,)
        0 or 1.
    then : array_like of str, shape (n,)
        "success", "continued", "lost for good", "given up" or "open".
    last : int
        Last test number shown.
    """
    number = np.asarray(test_no, dtype=int)
    won = np.asarray(success, dtype=float) == 1
    after = np.asarray(then, dtype=object)
    rows = []
    going_on, within_continued, staying, within_all = 1.0, 0.0, 1.0, 0.0
    for k in range(1, min(last, int(number.max()) if len(number) else 0) + 1):
        here = number == k
        tried, wins = int(here.sum()), int((here & won).sum())
        if not tried:
            break
        lost, gave_up = int((here & (after == "lost for good")).sum()), int((here & (after == "given up")).sum())
        within_continued += going_on * wins / tried
        going_on *= 1 - (wins + lost) / tried
        within_all += staying * wins / tried
        staying *= 1 - (wins + lost + gave_up) / tried
        still_open = int((here & (after == "open")).sum())
        rows.append(AttemptRow(k, tried, wilson(wins, tried), lost, gave_up, still_open, within_continued, within_all))
    return tuple(rows)


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
