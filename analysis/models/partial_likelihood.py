"""The partial likelihood of a proportional-hazards regression, its slope and its information, in few passes.

Sources: Cox, JRSS B 34 (1972) 187–220; Efron, JASA 72 (1977) 557–565; Breslow, Biometrics 30 (1974) 89–99. With r the
risk exp(x b) of a row, S0 and S1 the sums of r and r x over the rows at risk at an event time, D0 and D1 the same over
the d rows that end there, and phi_l = S0 − l/d D0 (l = 0 … d − 1; Breslow: l = 0 throughout),

    log likelihood  = sum over events of x b  −  sum over (time, l) of log phi_l,
    slope           = X' (delta − w),
    information     = X' diag(w) X − sum over (time, l) of m_l m_l',   m_l = (S1 − l/d D1) / phi_l,

where w, the events a row should have had, adds r / phi_l over the times it was at risk, times (1 − l/d) at its own end.
The events of a time share S1 and D1: with u = 1 − l/d and R1 = S1 − D1, m_l = (R1 + u D1) / phi_l, so that only sums
over l of u^j / phi_l and u^j / phi_l² are needed, and no vector per event is ever kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.models.binary import blocks
from analysis.models.timed import EVENT, Timed

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Ties = Literal["efron", "breslow"]

LEAST_RISK = 1e-290  # nearer to nothing, shares of the risk overflow


@dataclass(frozen=True)
class Point:
    """Log likelihood, slope (p,) and information (p, p) at one value of the coefficients."""

    loglik: float
    score: Floats
    information: Floats


@dataclass(frozen=True)
class RiskSets:
    """Rows in the order of stratum and time, and the steps (distinct event times of a stratum) they are at risk at.

    Parameters
    ----------
    rows : ndarray of int, shape (m,)
        Rows of the data that are at risk at some event at all.
    last : ndarray of int, shape (m,)
        Last step each was at risk at; non-decreasing.
    late : ndarray of int, shape (m,)
        Last step before each came under observation; −1 when it was there from its stratum's first.
    died : ndarray of int
        Positions (0 … m − 1) that had the event, in order.
    times, counts : ndarray, shape (k,)
        Time and events of each step.
    bounds : ndarray of int
        First step of every stratum, and k.
    stratum : ndarray of int, shape (m,)
        Number of each row's stratum among those with an event.
    """

    rows: Ints
    last: Ints
    late: Ints
    died: Ints
    times: Floats
    counts: Ints
    bounds: Ints
    stratum: Ints


def risk_sets(data: Timed, strata: Ints | None) -> RiskSets:
    """Lay out who is at risk at which step: from after its entry up to its end."""
    labels = np.zeros(data.n, dtype=np.int64) if strata is None else strata
    order = np.lexsort((data.time, labels))
    cuts = np.flatnonzero(np.diff(labels[order])) + 1
    rows, last, late, times, counts, number = [], [], [], [], [], []
    bounds = [0]
    for mine in np.split(order, cuts):
        t, event, entry = data.time[mine], data.event[mine] == EVENT, data.entry[mine]
        when, count = np.unique(t[event], return_counts=True)
        if not len(when):
            continue
        end = np.searchsorted(when, t, side="right") - 1
        start = np.searchsorted(when, entry, side="right") if data.late else np.zeros(len(t), dtype=np.int64)
        keep = end >= start
        rows.append(mine[keep])
        last.append(end[keep] + bounds[-1])
        late.append(np.where(start[keep] > 0, start[keep] - 1 + bounds[-1], -1))
        number.append(np.full(int(keep.sum()), len(bounds) - 1))
        times.append(when)
        counts.append(count)
        bounds.append(bounds[-1] + len(when))
    kept = np.concatenate(rows)
    return RiskSets(
        kept,
        np.concatenate(last),
        np.concatenate(late),
        np.flatnonzero(data.event[kept] == EVENT),
        np.concatenate(times),
        np.concatenate(counts),
        np.array(bounds),
        np.concatenate(number),
    )


class PartialLikelihood:
    """The partial likelihood of given columns and times.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        Columns, best centred and of about unit size.
    data : Timed
    ties : {"efron", "breslow"}
    strata : ndarray of int, shape (n,), optional
        Groups with baseline hazards of their own.
    """

    def __init__(self, x: Floats, data: Timed, ties: Ties, strata: Ints | None = None) -> None:
        self.sets = sets = risk_sets(data, strata)
        self.x = np.ascontiguousarray(x[sets.rows])
        self._first = np.flatnonzero(np.diff(sets.last, prepend=-1))  # every step has a row that ends there
        self._first_dead = np.cumsum(sets.counts) - sets.counts
        self._step = np.repeat(np.arange(len(sets.counts)), sets.counts)
        turn = np.arange(len(self._step)) - self._first_dead[self._step]
        tied = ties == "efron" and bool((sets.counts > 1).any())
        self._share = turn / sets.counts[self._step] if tied else None
        self._late = np.flatnonzero(sets.late >= 0)
        self._dies = np.zeros(len(sets.rows))
        self._dies[sets.died] = 1.0

    def _backwards(self, values: Floats) -> Floats:
        """Sum from each step to the last of its stratum."""
        out = np.empty_like(values)
        for first, beyond in zip(self.sets.bounds[:-1], self.sets.bounds[1:], strict=True):
            out[first:beyond] = np.cumsum(values[first:beyond][::-1], axis=0)[::-1]
        return out

    def _forwards(self, values: Floats) -> Floats:
        """Sum from the first step of the stratum up to each."""
        out = np.empty_like(values)
        for first, beyond in zip(self.sets.bounds[:-1], self.sets.bounds[1:], strict=True):
            out[first:beyond] = np.cumsum(values[first:beyond])
        return out

    def _at_risk(self, ended: Floats, late: Floats) -> Floats:
        """Sum over the rows at risk at each step, shape (k, …), from the sums of those that end there.

        ``late`` holds the summands of the rows that came under observation late.
        """
        total = self._backwards(ended)
        if len(self._late):
            not_yet = np.zeros_like(total)
            np.add.at(not_yet, self.sets.late[self._late], late)
            total = total - self._backwards(not_yet)
        return total

    def _weighted_sums(self, risk: Floats, expected: Floats) -> tuple[Floats, Floats, Floats]:
        """Over the rows of each step ``risk`` times x: of all that end there and of those that had the event, (k, p).

        And X' diag(expected) X. A few rows at a time, so that nothing of the size of x is made.
        """
        steps, width = len(self.sets.counts), self.x.shape[1]
        ended, dead, crossed = np.zeros((steps, width)), np.zeros((steps, width)), np.zeros((width, width))
        for rows in blocks(len(risk), width):
            x, step = self.x[rows], self.sets.last[rows]
            first = np.flatnonzero(np.diff(step, prepend=-1))
            spread = risk[rows, None] * x
            ended[step[first]] += np.add.reduceat(spread, first, axis=0)
            dead[step[first]] += np.add.reduceat(spread * self._dies[rows, None], first, axis=0)
            crossed += (x * expected[rows, None]).T @ x
        return ended, dead, crossed

    def at(self, beta: Floats, weight: Floats | None = None) -> Point:
        """Evaluate at ``beta``; with ``weight`` (k,) every step counts that often (the log likelihood does not).

        Returns
        -------
        Point
            Log likelihood −inf where the risk left at a step is too near to nothing beside the largest of its stratum.
        """
        sets, x, step = self.sets, self.x, self._step
        eta = x @ beta
        eta -= np.maximum.reduceat(eta, np.flatnonzero(np.diff(sets.stratum, prepend=-1)))[sets.stratum]
        risk = np.exp(eta)
        s0 = self._at_risk(np.add.reduceat(risk, self._first), risk[self._late])[step]
        if self._share is not None:
            s0 -= self._share * np.add.reduceat(risk[sets.died], self._first_dead)[step]
        if not s0.min() > LEAST_RISK:
            return Point(-np.inf, np.zeros(x.shape[1]), np.zeros((x.shape[1],) * 2))
        times = np.ones(len(sets.counts)) if weight is None else weight
        expected = risk * self._hazard(times[step] / s0)
        ended, dead, information = self._weighted_sums(risk, expected)
        s1 = self._at_risk(ended, risk[self._late, None] * x[self._late])
        observed = (times[step] @ x[sets.died]) if weight is not None else self._dies @ x
        score, less = self._means(s1, dead, s0, times)
        information -= less
        return Point(float((eta[sets.died] - np.log(s0)).sum()), observed - score, (information + information.T) / 2)

    def _means(self, s1: Floats, dead: Floats, phi: Floats, times: Floats) -> tuple[Floats, Floats]:
        """Sums over the events of m and of m m', (p,) and (p, p), each step ``times`` as often."""
        steps = len(times)

        def sums(of_events: Floats) -> Floats:
            return np.asarray(np.bincount(self._step, of_events, minlength=steps) * times)

        if self._share is None:
            one = sums(1 / phi)
            return one @ s1, (s1 * sums(phi**-2)[:, None]).T @ s1
        left = 1 - self._share
        stay = s1 - dead
        mixed = (stay * sums(left / phi**2)[:, None]).T @ dead
        squared = (stay * sums(phi**-2)[:, None]).T @ stay + (dead * sums((left / phi) ** 2)[:, None]).T @ dead
        return sums(1 / phi) @ stay + sums(left / phi) @ dead, squared + mixed + mixed.T

    def _hazard(self, shares: Floats) -> Floats:
        """Sum of the events' ``shares`` (d,) over the steps each row was at risk at, shape (m,)."""
        sets = self.sets
        up_to = self._forwards(np.asarray(np.bincount(self._step, shares, minlength=len(sets.counts)), dtype=float))
        out = up_to[sets.last]
        if len(self._late):
            out[self._late] -= up_to[sets.late[self._late]]
        if self._share is not None:
            out[sets.died] -= np.bincount(self._step, shares * self._share, minlength=len(sets.counts))[self._step]
        return out
