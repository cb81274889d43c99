"""Do hazard ratios stay the same over time? A score test for each term and for all.

Source: Grambsch and Therneau, Biometrika 81 (1994) 515–526, in the score-test form of the R package survival since
version 3.0 (older forms, still found in other packages, give other values), with which it is checked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from analysis.models.cox import CoxResult, moments
from analysis.models.timed import EVENT, Timed

Floats = NDArray[np.float64]
Scale = Literal["km", "identity", "rank", "log"]


@dataclass(frozen=True)
class ProportionalityRow:
    """Test of one term, or of all together ("all terms")."""

    label: str
    statistic: float
    df: int
    p: float


def _km_before(data: Timed, event_times: Floats) -> Floats:
    """1 − Kaplan–Meier just before each event time, over all rows."""
    times, deaths = np.unique(data.time[data.event == EVENT], return_counts=True)
    order = np.sort(data.time)
    risk = len(order) - np.searchsorted(order, times, side="left")
    if data.entry.any():
        risk = risk - (len(order) - np.searchsorted(np.sort(data.entry), times, side="left"))
    surv = np.cumprod(1 - deaths / risk)
    before = np.concatenate([[1.0], surv[:-1]])
    return 1 - before[np.searchsorted(times, event_times)]


def _scaled(data: Timed, event_times: Floats, scale: Scale) -> Floats:
    if scale == "km":
        return _km_before(data, event_times)
    if scale == "rank":
        # Ranks among all rows, censored ones too, as the reference implementation has them.
        order = np.sort(data.time)
        first, last = (np.searchsorted(order, event_times, side=side) for side in ("left", "right"))
        return np.asarray((first + 1 + last) / 2)
    if scale == "log":
        return np.asarray(np.log(event_times))
    return event_times


def _test(imat: Floats, u: Floats, p: int, columns: Sequence[int]) -> tuple[float, int, float]:
    keep = [*range(p), *(p + j for j in columns)]
    score = np.concatenate([np.zeros(p), u[list(columns)]])
    statistic = float(score @ np.linalg.pinv(imat[np.ix_(keep, keep)]) @ score)
    return statistic, len(columns), float(stats.chi2.sf(statistic, len(columns)))


def proportionality_table(
    fit: CoxResult,
    x: ArrayLike,
    data: Timed,
    terms: Mapping[str, Sequence[int]] | None = None,
    scale: Scale = "km",
    strata: ArrayLike | None = None,
) -> tuple[ProportionalityRow, ...]:
    """Test each term, then all together, for a hazard ratio that changes with time.

    Parameters
    ----------
    fit : CoxResult
        The fit to test.
    x : array_like, shape (n, p)
        The columns it was fitted to.
    data : Timed
        The times it was fitted to.
    terms : mapping of str to positions, optional
        Columns that belong to one term; by default each column is its own.
    scale : {"km", "identity", "rank", "log"}
        Scale of time on which a trend is looked for.
    strata : array_like, shape (n,), optional
        As at fitting.

    Returns
    -------
    tuple of ProportionalityRow
        The last row is "all terms".
    """
    columns = np.asarray(x, dtype=float)
    p = columns.shape[1]
    columns = columns - columns.mean(axis=0)
    labels = np.zeros(data.n, dtype=int) if strata is None else np.unique(np.asarray(strata), return_inverse=True)[1]
    parts = []
    for label in np.unique(labels):
        rows = np.flatnonzero(labels == label)
        part = Timed(data.time[rows], data.event[rows], data.entry[rows])
        found = moments(columns[rows], part, fit.coefficients, fit.ties)
        parts.append((part.time[found.order], columns[rows][found.order] - found.mean, found.covariance))
    when = np.concatenate([part[0] for part in parts])
    residual = np.concatenate([part[1] for part in parts])
    covariance = np.concatenate([part[2] for part in parts])
    g = _scaled(data, when, scale)
    g = g - g.mean()
    u = (residual * g[:, None]).sum(axis=0)
    plain, linear = covariance.sum(axis=0), (covariance * g[:, None, None]).sum(axis=0)
    square = (covariance * (g**2)[:, None, None]).sum(axis=0)
    imat = np.block([[plain, linear], [linear, square]])
    chosen = terms or {name: (j,) for j, name in enumerate(fit.names)}
    rows_out = [ProportionalityRow(label, *_test(imat, u, p, where)) for label, where in chosen.items()]
    return (*rows_out, ProportionalityRow("all terms", *_test(imat, u, p, range(p))))
