"""Counts such as pads lost: Poisson where the counts allow it, negative binomial where they vary more.

Sources: Hilbe, Negative Binomial Regression, 2nd ed. (2011), for the test of over-dispersion (a likelihood-ratio test
whose null lies at the edge, so that its P is halved) and for the variance mu + alpha mu^2; Liang and Zeger, Biometrika
73 (1986) 13–22, for standard errors that allow rows of one job to be alike. All from memory.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from analysis.errors import ModelError
from analysis.models.independence import refuse_aliased
from analysis.models.results import Result

Floats = NDArray[np.float64]

OVER_DISPERSED_P = 0.05


@dataclass(frozen=True, kw_only=True)
class CountResult(Result):
    """A fitted count model.

    Parameters
    ----------
    names : tuple of str
    coefficients, se : ndarray, shape (p,)
        Log rate ratios; ``se`` allows for rows of one group.
    covariance : ndarray, shape (p, p)
        Allowing for groups.
    p : ndarray, shape (p,)
        Two-sided Wald P.
    kind : str
        "Poisson" or "negative binomial".
    alpha : float
        Extra variance mu + alpha mu^2 of the negative binomial; 0 for Poisson.
    dispersion : float
        Pearson chi-square of the Poisson fit over its degrees of freedom; about 1 where Poisson fits.
    over_p : float
        P that there is no more variance than Poisson's.
    loglik, loglik_poisson : float
        Of the chosen model, and of Poisson.
    zeros : int
        Rows with a count of zero.
    zeros_expected : float
        Rows with zero that the chosen model expects.
    """

    names: tuple[str, ...]
    coefficients: Floats
    se: Floats
    covariance: Floats
    p: Floats
    kind: str
    alpha: float
    dispersion: float
    over_p: float
    loglik: float
    loglik_poisson: float
    zeros: int
    zeros_expected: float

    def ratio(self, at: int, level: float = 0.95) -> tuple[float, float, float]:
        """Rate ratio of a column with its Wald interval."""
        half = float(stats.norm.isf((1 - level) / 2)) * self.se[at]
        return tuple(float(np.exp(self.coefficients[at] + k * half)) for k in (0, -1, 1))  # type: ignore[return-value]


def fit_counts(x: Floats, counts: Floats, names: tuple[str, ...], groups: NDArray[np.int64]) -> CountResult:
    """Fit Poisson, test for over-dispersion, and take the negative binomial where it is found.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Design with the intercept in column 0.
    counts : ndarray, shape (n,)
        Whole numbers, not negative.
    names : tuple of str
    groups : ndarray of int, shape (n,)
        Rows of one group (a job) may be alike.

    Raises
    ------
    ModelError
        If a count is negative or not whole, a value is missing, no count is positive, or columns are aliased.
    """
    # Slow to import, and three times as slow through statsmodels.api.
    from statsmodels.discrete.discrete_model import NegativeBinomial
    from statsmodels.genmod.families import Poisson
    from statsmodels.genmod.generalized_linear_model import GLM

    _refuse(x, counts, names)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # whether it settled is looked at below
        plain = GLM(counts, x, family=Poisson()).fit(tol=1e-12, maxiter=200)
        more = NegativeBinomial(counts, x).fit(
            start_params=np.append(plain.params, _start_alpha(counts, plain.mu)),
            disp=0,
            method="bfgs",
            maxiter=500,
            gtol=1e-7,
        )
        loglik = float(Poisson().loglike(counts, plain.mu))
        gain = max(0.0, 2 * (more.llf - loglik))
        over_p = float(stats.chi2.sf(gain, 1) / 2)
        wide = over_p < OVER_DISPERSED_P and bool(more.mle_retvals["converged"])
        alpha = float(more.params[-1]) if wide else 0.0
        beta = np.asarray(more.params[:-1] if wide else plain.params)
        beta, mu, settled = _polish(x, counts, beta, alpha)
    covariance = _robust(x, counts, mu, alpha, groups)
    se = np.sqrt(np.diag(covariance))
    zero = np.exp(-mu) if alpha == 0 else (1 + alpha * mu) ** (-1 / alpha)
    usable = settled and bool(np.isfinite(se).all())
    return CountResult(
        n=len(counts),
        events=int((counts > 0).sum()),
        converged=usable,
        reason="" if usable else "the iteration did not settle; look for a level without any pad lost",
        names=tuple(names),
        coefficients=beta,
        se=se,
        covariance=covariance,
        p=2 * stats.norm.sf(np.abs(beta) / se),
        kind="negative binomial" if wide else "Poisson",
        alpha=alpha,
        dispersion=float(plain.pearson_chi2 / plain.df_resid),
        over_p=over_p,
        loglik=float(more.llf) if wide else loglik,
        loglik_poisson=loglik,
        zeros=int((counts == 0).sum()),
        zeros_expected=float(zero.sum()),
    )


def _refuse(x: Floats, counts: Floats, names: tuple[str, ...]) -> None:
    if len(x) != len(counts) or x.shape[1] != len(names) or len(x) <= x.shape[1]:
        raise ModelError("The rows of the design and of the counts do not match, or are too few.")
    if not (np.isfinite(x).all() and np.isfinite(counts).all()):
        raise ModelError("A value is missing or infinite; blanks must be coded before the fit.")
    if (counts < 0).any() or (counts != np.round(counts)).any() or not counts.any():
        raise ModelError("Counts are whole numbers, not negative, and not all zero.")
    refuse_aliased(x, names)


def _start_alpha(counts: Floats, mu: Floats) -> float:
    """Extra variance by the method of moments, kept off the edge."""
    return float(max(((counts - mu) ** 2 - mu).sum() / (mu**2).sum(), 0.1))


def _polish(x: Floats, counts: Floats, beta: Floats, alpha: float) -> tuple[Floats, Floats, bool]:
    """Fisher scoring at the extra variance found, to the last digits; and whether it settled."""
    for _ in range(100):
        mu = np.exp(np.clip(x @ beta, -30, 30))
        weight = mu / (1 + alpha * mu)
        score = x.T @ ((counts - mu) / (1 + alpha * mu))
        step = np.linalg.solve((x.T * weight) @ x, score)
        beta = beta + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-10:
            return beta, np.exp(x @ beta), bool(np.abs(beta).max() < 20)
    return beta, np.exp(np.clip(x @ beta, -30, 30)), False


def _robust(x: Floats, counts: Floats, mu: Floats, alpha: float, groups: NDArray[Any]) -> Floats:
    """Sandwich covariance with rows summed by group, and the usual factor for few groups."""
    bread = np.linalg.inv((x.T * (mu / (1 + alpha * mu))) @ x)
    pull = x * ((counts - mu) / (1 + alpha * mu))[:, None]
    _, place = np.unique(groups, return_inverse=True)
    many = int(place.max()) + 1
    sums = np.zeros((many, x.shape[1]))
    np.add.at(sums, place, pull)
    factor = many / (many - 1) * (len(counts) - 1) / (len(counts) - x.shape[1])
    return np.asarray(factor * bread @ (sums.T @ sums) @ bread)
