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

from analysis.errors import ModelError
from analysis.models.cox import CoxResult, stratum_numbers
from analysis.models.partial_likelihood import PartialLikelihood
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
    if data.late:
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
        if not (event_times > 0).all():
            raise ModelError("A time of 0 has no logarithm.", todo="Choose another scale of time.")
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
        The last row is "all terms"; empty when all events share one time, so that no change can be seen.

    Raises
    ------
    UnconvergedError
        If the fit did not settle.
    ModelError
        If the logarithm of a time of 0 is asked for.
    """
    fit.shown()
    columns = np.asarray(x, dtype=float)
    p = columns.shape[1]
    likelihood = PartialLikelihood(columns - columns.mean(axis=0), data, fit.ties, stratum_numbers(strata))
    g = _scaled(data, likelihood.sets.times, scale)
    if len(g) < 2 or not np.ptp(g) > 0:
        return ()
    g = g - np.average(g, weights=likelihood.sets.counts)
    plain, linear, square = (likelihood.at(fit.coefficients, weight) for weight in (None, g, g**2))
    u = linear.score
    imat = np.block([[plain.information, linear.information], [linear.information, square.information]])
    chosen = terms or {name: (j,) for j, name in enumerate(fit.names)}
    rows_out = [ProportionalityRow(label, *_test(imat, u, p, where)) for label, where in chosen.items()]
    return (*rows_out, ProportionalityRow("all terms", *_test(imat, u, p, range(p))))
