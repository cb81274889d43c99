"""Log-rank test that groups share one hazard, within strata if asked.

Source: Mantel, Cancer Chemotherapy Reports 50 (1966) 163–170; for several groups Peto and Peto, JRSS A 135 (1972)
185–207. At every event time the events of a group are compared with its share of the rows at risk; the variance is
hypergeometric.

No page uses it (Gray's test answers there): published values of it are outside checks of how rows at risk are counted,
and Gray's test must come near it where nothing competes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from analysis.models.incidence import RankTest
from analysis.models.timed import EVENT, Timed, at_risk, labels_of

Floats = NDArray[np.float64]


def _within(data: Timed, group: NDArray[np.int64], k: int) -> tuple[Floats, Floats]:
    """Events less expected events (k,) and their covariance (k, k) in one stratum."""
    event = data.event == EVENT
    times = np.unique(data.time[event])
    parts = [data.part(group == g) for g in range(k)]
    risk = np.column_stack([at_risk(part, times) for part in parts]).astype(float)
    place = np.searchsorted(times, data.time[event])
    dead = np.bincount(place, minlength=len(times)).astype(float)
    n = risk.sum(axis=1)
    share = risk / n[:, None]
    excess = np.bincount(group[event], minlength=k) - dead @ share
    size = dead * (n - dead) / np.where(n > 1, n - 1, 1)
    return excess, np.diag(size @ share) - (share * size[:, None]).T @ share


def log_rank(data: Timed, group: ArrayLike, strata: ArrayLike | None = None) -> RankTest:
    """Compare the rate of the event between groups.

    Parameters
    ----------
    data : Timed
        Times, events (2, the competing end, counts as censored: the event's own rates are compared), entries.
    group : array_like, shape (n,)
        Labels of at least two groups.
    strata : array_like, shape (n,), optional
        Groups are compared only within these.

    Returns
    -------
    RankTest
        NaN with fewer than two groups or where no event happened with two groups at risk.

    Raises
    ------
    ModelError
        If a row has no label.
    """
    labels, codes = labels_of(group, data)
    k = len(labels)
    strata_codes = np.zeros(data.n, dtype=np.int64) if strata is None else labels_of(strata, data, "stratum")[1]
    excess, covariance = np.zeros(k), np.zeros((k, k))
    for stratum in np.unique(strata_codes):
        mine = strata_codes == stratum
        more, spread = _within(data.part(mine), codes[mine], k)
        excess, covariance = excess + more, covariance + spread
    if k < 2 or not np.trace(covariance) > 0:
        return RankTest(float("nan"), max(k - 1, 0), float("nan"))
    # The excesses of all groups add up to nothing, so one of them is left out.
    statistic = float(excess[:-1] @ np.linalg.pinv(covariance[:-1, :-1], hermitian=True) @ excess[:-1])
    return RankTest(statistic, k - 1, float(stats.chi2.sf(statistic, k - 1)))
