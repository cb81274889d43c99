"""One answer from several completed data sets.

Sources: Rubin, Multiple Imputation for Nonresponse in Surveys (1987); Barnard and Rubin, Biometrika 86 (1999) 948–955
(degrees of freedom in small samples).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analysis.errors import ModelError


@dataclass(frozen=True)
class Pooled:
    """A pooled estimate.

    Parameters
    ----------
    estimate, se : float
    df : float
        Degrees of freedom of its t distribution.
    missing : float
        Fraction of information missing (with the small-sample degrees of freedom).
    within, between : float
        Mean variance within the data sets, and the variance of their estimates.
    """

    estimate: float
    se: float
    df: float
    missing: float
    within: float
    between: float

    @property
    def p(self) -> float:
        """Two-sided P that the true value is zero."""
        return float(2 * stats.t.sf(abs(self.estimate) / self.se, self.df))

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Both ends of the interval."""
        half = float(stats.t.isf((1 - level) / 2, self.df)) * self.se
        return self.estimate - half, self.estimate + half


def pool(estimates: ArrayLike, variances: ArrayLike, df_complete: float) -> Pooled:
    """Pool the estimates of several completed data sets.

    Parameters
    ----------
    estimates, variances : array_like, shape (m,)
        Estimate and its variance in each data set.
    df_complete : float
        Degrees of freedom had nothing been missing (rows less coefficients).

    Raises
    ------
    ModelError
        With fewer than two data sets, or without a positive variance.
    """
    q, u = np.asarray(estimates, dtype=float), np.asarray(variances, dtype=float)
    if len(q) < 2 or len(q) != len(u) or not (u > 0).all():
        raise ModelError("Pooling takes two completed data sets or more, each with a positive variance.")
    m = len(q)
    within, between = float(u.mean()), float(q.var(ddof=1))
    extra = (1 + 1 / m) * between
    total = within + extra
    share = extra / total
    observed = (df_complete + 1) / (df_complete + 3) * df_complete * (1 - share)
    df = observed if share == 0 else 1 / (share**2 / (m - 1) + 1 / observed)
    increase = extra / within
    missing = (increase + 2 / (df + 3)) / (1 + increase)
    return Pooled(float(q.mean()), float(np.sqrt(total)), df, missing, within, between)
