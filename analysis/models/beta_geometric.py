"""Chances that differ between jobs and stay the same from attempt to attempt: the beta-geometric distribution.

No page uses it: the outside checks of discrete time ask for it, beside the life table of the same published counts.

Source: Weinberg and Gladen, Biometrics 42 (1986) 547–560.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize, root
from scipy.special import betaln, psi

from analysis.errors import ModelError
from analysis.models.results import Result

Floats = NDArray[np.float64]


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
