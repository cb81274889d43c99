"""How well given chances met the outcomes: Brier and log score, AUC, calibration.

Sources: Brier, Monthly Weather Review 78 (1950) 1–3; Good, JRSS B 14 (1952) 107–114 (log score); DeLong, DeLong and
Clarke-Pearson, Biometrics 44 (1988) 837–845 (variance of the AUC); Cox, Biometrika 45 (1958) 562–565 (calibration
intercept and slope).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analysis.errors import ModelError
from analysis.models.binary import chances as log_odds_chances
from analysis.models.results import Result

Floats = NDArray[np.float64]

EDGE = 1e-9  # a chance of exactly 0 or 1 that fails costs as much as this, not infinitely much
NEWTON_STEPS, SETTLED = 50, 1e-12


@dataclass(frozen=True)
class Estimate:
    """A number with its standard error and 95 % interval."""

    value: float
    se: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Scores(Result):
    """Measures of one set of chances.

    Parameters
    ----------
    brier : float
        Mean squared distance of chance and outcome; smaller is better.
    log_score : float
        Mean log of the chance given to what happened; larger is better.
    auc : Estimate
        Chance that a success had been given more than a failure; interval after DeLong, cut to 0 to 1.
    in_the_large : Estimate
        Log odds to add to every chance so that their sum is the number of successes (slope held at one).
    intercept, slope : Estimate
        Of the outcomes on the log odds of the chances; 0 and 1 when calibrated. A slope under one: chances too extreme.

    Notes
    -----
    AUC, intercept and slope are NaN where they cannot be had; ``reason`` says why, and the other scores still hold.
    """

    brier: float
    log_score: float
    auc: Estimate
    in_the_large: Estimate
    intercept: Estimate
    slope: Estimate


NOT_KNOWN = Estimate(float("nan"), float("nan"), float("nan"), float("nan"))


def _estimate(value: float, variance: float) -> Estimate:
    se = float(np.sqrt(variance))
    half = float(special.ndtri(0.975)) * se
    return Estimate(float(value), se, float(value) - half, float(value) + half)


def checked(p: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    """Chances and outcomes as arrays of one length.

    Raises
    ------
    ModelError
        If they do not match, a chance lies outside 0 to 1, or an outcome is missing or neither 0 nor 1.
    """
    chances, outcome = np.asarray(p, dtype=float), np.asarray(y, dtype=float)
    if chances.shape != outcome.shape or chances.ndim != 1 or not len(chances):
        raise ModelError("Every chance needs one outcome, and there must be at least one.")
    if not ((chances >= 0) & (chances <= 1)).all():
        raise ModelError("A chance lies outside 0 to 1 or is missing.")
    if not np.isin(outcome, (0.0, 1.0)).all():
        raise ModelError("An outcome is neither 0 nor 1.")
    return chances, outcome


def log_scores(p: ArrayLike, y: ArrayLike) -> Floats:
    """Log of the chance given to what happened, one a row."""
    chances, outcome = checked(p, y)
    told = np.clip(np.where(outcome == 1, chances, 1 - chances), EDGE, 1.0)
    return np.asarray(np.log(told))


def auc(p: ArrayLike, y: ArrayLike) -> Estimate:
    """Area under the ROC curve, ties counted half, with DeLong's variance; NaN without both outcomes."""
    chances, outcome = checked(p, y)
    won, lost = chances[outcome == 1], chances[outcome == 0]
    if not len(won) or not len(lost):
        return NOT_KNOWN
    # Rank among all less rank among one's own kind: how many of the other kind lie below, ties half.
    from scipy import stats  # slow to import

    ranks = stats.rankdata(chances)
    of_won = (ranks[outcome == 1] - stats.rankdata(won)) / len(lost)
    of_lost = 1 - (ranks[outcome == 0] - stats.rankdata(lost)) / len(won)
    value = float(of_won.mean())
    if min(len(won), len(lost)) < 2:
        return Estimate(value, float("nan"), float("nan"), float("nan"))
    raw = _estimate(value, of_won.var(ddof=1) / len(won) + of_lost.var(ddof=1) / len(lost))
    return Estimate(value, raw.se, max(raw.low, 0.0), min(raw.high, 1.0))


def recalibration(p: ArrayLike, y: ArrayLike, slope: bool = True) -> tuple[Floats, Floats, bool]:
    """Logistic regression of outcomes on the log odds of the chances.

    Parameters
    ----------
    p, y : array_like, shape (n,)
        Chances; outcomes or shares from 0 to 1.
    slope : bool
        False: the slope is held at one and only the intercept is fitted.

    Returns
    -------
    coefficients, covariance, settled
        Intercept first. Not settled where no finite estimate exists.
    """
    log_odds = special.logit(np.clip(np.asarray(p, dtype=float), EDGE, 1 - EDGE))
    outcome = np.asarray(y, dtype=float)
    x = np.column_stack([np.ones(len(log_odds)), log_odds]) if slope else np.ones((len(log_odds), 1))
    offset = np.zeros(len(log_odds)) if slope else log_odds
    nothing = np.full(x.shape[1], np.nan)
    none = (nothing, np.full((x.shape[1], x.shape[1]), np.nan), False)
    if _split(log_odds, outcome, slope):
        return none
    beta = np.zeros(x.shape[1])
    chance, value = _at(beta, x, outcome, offset)
    for _ in range(NEWTON_STEPS):
        information = (x.T * (chance * (1 - chance))) @ x
        gradient = x.T @ (outcome - chance)
        step = np.linalg.solve(information, gradient)
        if float(step @ gradient) < SETTLED:
            return beta + step, np.asarray(np.linalg.inv(information)), True
        for _ in range(30):
            chance, reached = _at(beta + step, x, outcome, offset)
            if reached >= value - 1e-12 * abs(value):
                break
            step = step / 2
        beta, value = beta + step, reached
    return none


def _at(beta: Floats, x: Floats, y: Floats, offset: Floats) -> tuple[Floats, float]:
    """Chance of each row, and the log likelihood."""
    eta = x @ beta + offset
    chance, log_sum = log_odds_chances(eta)
    return chance, float(y @ eta - log_sum.sum())


def _split(log_odds: Floats, y: Floats, slope: bool) -> bool:
    """Whether no finite estimate exists: one outcome only, one chance only, or outcomes split by the chances."""
    won, lost = log_odds[y > 0], log_odds[y < 1]
    if not len(won) or not len(lost):
        return True
    apart = lost.max() <= won.min() or won.max() <= lost.min()
    return bool(slope and (np.ptp(log_odds) < 1e-12 or apart))


def score(p: ArrayLike, y: ArrayLike) -> Scores:
    """All measures of one set of chances.

    Parameters
    ----------
    p, y : array_like, shape (n,)
        Chances and 0/1 outcomes.
    """
    chances, outcome = checked(p, y)
    large, spread, found = recalibration(chances, outcome, slope=False)
    both, covariance, sloped = recalibration(chances, outcome)
    reason = "" if found and sloped else "one outcome or one chance only, or chances that split the outcomes"
    return Scores(
        n=len(outcome),
        events=int(outcome.sum()),
        converged=True,
        reason=reason,
        brier=float(np.mean((chances - outcome) ** 2)),
        log_score=float(log_scores(chances, outcome).mean()),
        auc=auc(chances, outcome),
        in_the_large=_estimate(large[0], spread[0, 0]) if found else NOT_KNOWN,
        intercept=_estimate(both[0], covariance[0, 0]) if sloped else NOT_KNOWN,
        slope=_estimate(both[1], covariance[1, 1]) if sloped else NOT_KNOWN,
    )
