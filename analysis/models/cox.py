"""Cause-specific proportional-hazards regression (Cox), with Efron's or Breslow's treatment of ties.

Sources: Cox, JRSS B 34 (1972) 187–220; Efron, JASA 72 (1977) 557–565; Breslow, Biometrics 30 (1974) 89–99. The
competing end is treated as censoring: the hazard ratio is that of the event's own rate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from analysis.errors import ModelError
from analysis.models.results import Result
from analysis.models.timed import EVENT, Timed

Floats = NDArray[np.float64]
Ties = Literal["efron", "breslow"]

MAX_ITERATIONS = 60
HOPELESS_SE = 15.0


@dataclass(frozen=True)
class Moments:
    """Risk-set mean and covariance of the covariates at every event, one row an event.

    Parameters
    ----------
    order : ndarray of int, shape (d,)
        Row of the data each event belongs to.
    loglik : float
        Partial log likelihood.
    mean : ndarray, shape (d, p)
    covariance : ndarray, shape (d, p, p)
        Both with the tie correction.
    """

    order: NDArray[np.int64]
    loglik: float
    mean: Floats
    covariance: Floats


def _sums_from(values: Floats, key: Floats, at: Floats) -> Floats:
    """Sum of ``values`` over the rows with ``key`` >= each ``at``."""
    rank = np.argsort(key, kind="stable")
    below = np.cumsum(values[rank], axis=0)
    total = below[-1]
    first = np.searchsorted(key[rank], at, side="left")
    zero = np.zeros((1, *values.shape[1:]))
    return np.asarray(total - np.concatenate([zero, below])[first])


def moments(x: Floats, data: Timed, beta: Floats, ties: Ties) -> Moments:
    """Evaluate the partial likelihood of one stratum at ``beta``."""
    event = data.event == EVENT
    rows = np.flatnonzero(event)
    rows = rows[np.argsort(data.time[rows], kind="stable")]
    eta = x @ beta
    shift = eta.max() if len(eta) else 0.0
    risk = np.exp(eta - shift)
    width = x.shape[1]
    stacked = np.column_stack(
        [risk, risk[:, None] * x, (risk[:, None, None] * x[:, :, None] * x[:, None, :]).reshape(len(x), -1)]
    )
    when, first, count = np.unique(data.time[rows], return_index=True, return_counts=True)
    at_risk = _sums_from(stacked, data.time, when)
    if data.entry.any():
        at_risk = at_risk - _sums_from(stacked, data.entry, when)  # entered at or after the event: not yet there
    dying = np.add.reduceat(stacked[rows], first, axis=0) if len(rows) else stacked[:0]
    place = np.repeat(np.arange(len(when)), count)
    turn = np.arange(len(rows)) - np.repeat(first, count)
    share = turn / count[place] if ties == "efron" else np.zeros(len(rows))
    sums = at_risk[place] - share[:, None] * dying[place]
    s0 = sums[:, :1]
    mean = sums[:, 1 : 1 + width] / s0
    second = (sums[:, 1 + width :] / s0).reshape(-1, width, width)
    loglik = float((eta[rows] - shift - np.log(s0[:, 0])).sum())
    return Moments(rows, loglik, mean, second - mean[:, :, None] * mean[:, None, :])


def _parts(strata: NDArray[np.int64] | None, n: int) -> list[NDArray[np.int64]]:
    if strata is None:
        return [np.arange(n)]
    return [np.flatnonzero(strata == label) for label in np.unique(strata)]


@dataclass(frozen=True)
class _Point:
    loglik: float
    score: Floats
    information: Floats


def _evaluate(x: Floats, data: Timed, parts: list[NDArray[np.int64]], beta: Floats, ties: Ties) -> _Point:
    loglik, score, information = 0.0, np.zeros(x.shape[1]), np.zeros((x.shape[1],) * 2)
    for rows in parts:
        part = Timed(data.time[rows], data.event[rows], data.entry[rows])
        found = moments(x[rows], part, beta, ties)
        loglik += found.loglik
        score += (x[rows][found.order] - found.mean).sum(axis=0)
        information += found.covariance.sum(axis=0)
    return _Point(loglik, score, information)


@dataclass(frozen=True, kw_only=True)
class CoxResult(Result):
    """A proportional-hazards fit.

    Parameters
    ----------
    names : tuple of str
        Columns.
    coefficients, se, low, high, p : ndarray, shape (p,)
        Log hazard ratios, standard errors, Wald interval and Wald P.
    loglik, loglik_null : float
        Partial log likelihood at the estimate and at zero.
    score_test : float
        Score test that all coefficients are zero, chi-square with p degrees of freedom.
    covariance : ndarray, shape (p, p)
    level : float
        Level of the intervals.
    ties : str
        "efron" or "breslow".
    """

    names: tuple[str, ...]
    coefficients: Floats
    se: Floats
    low: Floats
    high: Floats
    p: Floats
    loglik: float
    loglik_null: float
    score_test: float
    covariance: Floats
    level: float
    ties: Ties

    @property
    def likelihood_ratio_p(self) -> float:
        """P that none of the columns matters (likelihood ratio)."""
        statistic = 2 * (self.loglik - self.loglik_null)
        return float(stats.chi2.sf(max(0.0, statistic), len(self.names)))


def columns_without_information(x: Floats, data: Timed, names: tuple[str, ...]) -> tuple[str, ...]:
    """Name the 0/1 columns all or none of whose rows had the event: their hazard ratio has no finite estimate."""
    event = data.event == EVENT
    out = []
    for j, name in enumerate(names):
        values = np.unique(x[:, j])
        if len(values) == 2:
            hits = [event[x[:, j] == value].any() for value in values]
            if not all(hits):
                out.append(name)
    return tuple(out)


def _checked(x: ArrayLike, data: Timed, names: tuple[str, ...]) -> Floats:
    columns = np.asarray(x, dtype=float)
    if columns.ndim != 2 or len(columns) != data.n or columns.shape[1] != len(names):
        raise ModelError("The rows of the design and of the times do not match.")
    if not np.isfinite(columns).all():
        raise ModelError("A value is missing or infinite; blanks must be coded before the fit.")
    if not data.events:
        raise ModelError("No row had the event, so that nothing can be compared.")
    return columns


def fit_cox(
    x: ArrayLike,
    data: Timed,
    names: tuple[str, ...],
    *,
    ties: Ties = "efron",
    strata: ArrayLike | None = None,
    level: float = 0.95,
) -> CoxResult:
    """Fit a cause-specific proportional-hazards regression.

    Parameters
    ----------
    x : array_like, shape (n, p)
        Columns without an intercept.
    data : Timed
        Times, events (2, the competing end, counts as censored), entries.
    names : tuple of str
        One name a column.
    ties : {"efron", "breslow"}
        Treatment of tied event times.
    strata : array_like, shape (n,), optional
        Groups with baseline hazards of their own.
    level : float
        Level of the Wald intervals.

    Returns
    -------
    CoxResult
        ``converged`` is False, with the columns named, when a coefficient runs off to infinity.

    Raises
    ------
    ModelError
        If shapes do not match, a value is missing, or there is no event.
    """
    columns = _checked(x, data, names)
    centre = columns.mean(axis=0)
    columns = columns - centre
    parts = _parts(None if strata is None else np.unique(np.asarray(strata), return_inverse=True)[1], data.n)
    beta = np.zeros(len(names))
    start = point = _evaluate(columns, data, parts, beta, ties)
    settled = False
    for _ in range(MAX_ITERATIONS):
        step = np.linalg.lstsq(point.information, point.score, rcond=None)[0]
        if point.score @ step < 1e-18:
            settled = True
            break
        trial = _evaluate(columns, data, parts, beta + step, ties)
        while not trial.loglik >= point.loglik - 1e-10 and np.abs(step).max() > 1e-12:
            step = step / 2
            trial = _evaluate(columns, data, parts, beta + step, ties)
        beta, point = beta + step, trial
    covariance = np.asarray(np.linalg.pinv(point.information), dtype=float)
    se = np.sqrt(np.maximum(np.diag(covariance), 0))
    # A coefficient that runs off leaves a huge standard error or, at the end, no information at all.
    left = np.diag(point.information) < 1e-6 * np.diag(start.information)
    hopeless = (se * columns.std(axis=0) > HOPELESS_SE) | left
    adrift = [name for name, lost in zip(names, hopeless, strict=True) if lost]
    reason = (
        f"no finite estimate for: {', '.join(adrift)}" if adrift else "" if settled else "the iteration did not settle"
    )
    z = stats.norm.isf((1 - level) / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        wald = np.where(se > 0, (beta / np.where(se > 0, se, 1)) ** 2, np.nan)
    score_test = float(start.score @ np.linalg.pinv(start.information) @ start.score)
    return CoxResult(
        n=data.n,
        events=data.events,
        converged=settled and not adrift,
        reason=reason,
        names=tuple(names),
        coefficients=beta,
        se=se,
        low=beta - z * se,
        high=beta + z * se,
        p=stats.chi2.sf(wald, 1),
        loglik=point.loglik,
        loglik_null=start.loglik,
        score_test=score_test,
        covariance=covariance,
        level=level,
        ties=ties,
    )
