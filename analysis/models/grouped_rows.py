"""Jobs of groups with the log odds of their case mix: their likelihood as a function of the groups' intercepts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError
from analysis.models.binary import blocks, chances

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class GroupedRows:
    """Jobs with the log odds of their case mix.

    Parameters
    ----------
    y : ndarray, shape (n,), or (g, n)
        Success, 0 or 1; the same at every set of intercepts, or one row for each.
    offset : ndarray, shape (n,), or (g, n)
        Log odds that the case mix gives each job.
    member : ndarray, shape (n, k)
        1 where the job belongs to the group, each row with a single 1.
    """

    y: Floats
    offset: Floats
    member: Floats

    def parts(self, points: int) -> Iterator[tuple[slice, GroupedRows]]:
        """The rows a few at a time, so that those of ``points`` points at once stay in a processor's cache."""
        for rows in blocks(len(self.member), max(points, self.member.shape[1])):
            yield rows, GroupedRows(self.y[..., rows], self.offset[..., rows], self.member[rows])

    def log_odds(self, alpha: Floats) -> Floats:
        """Log odds of success of every row at intercepts (g, k), shape (g, n)."""
        return np.asarray(self.offset + alpha @ self.member.T)

    def curvature(self, alpha: Floats) -> tuple[Floats, Floats, Floats]:
        """Log likelihood (g,), its slope (g, k) and its negative second derivative (g, k) at intercepts (g, k)."""
        value, slope, weight = np.zeros(len(alpha)), np.zeros_like(alpha), np.zeros_like(alpha)
        for _, part in self.parts(len(alpha)):
            eta = part.log_odds(alpha)
            p, log_sum = chances(eta)
            value += (eta * part.y - log_sum).sum(axis=1)
            slope += (part.y - p) @ part.member
            weight += (p * (1 - p)) @ part.member
        return value, slope, weight

    def skewness(self, alpha: Floats) -> Floats:
        """Third derivative of the log likelihood along each intercept, (g, k)."""
        out = np.zeros_like(alpha)
        for _, part in self.parts(len(alpha)):
            p, _ = chances(part.log_odds(alpha))
            out -= (p * (1 - p) * (1 - 2 * p)) @ part.member
        return out


def grouped(y: ArrayLike, offset: ArrayLike, group: ArrayLike) -> tuple[GroupedRows, tuple[str, ...]]:
    """Rows by group, and the groups' names in sorted order.

    Raises
    ------
    ModelError
        If lengths differ, an outcome is neither 0 nor 1, an offset is missing, or there are fewer than two groups.
    """
    outcome, log_odds, names = np.asarray(y, float), np.asarray(offset, float), np.asarray(group, dtype=object)
    if not len(outcome) == len(log_odds) == len(names) or not np.isin(outcome, (0.0, 1.0)).all():
        raise ModelError("Every row needs one outcome, 0 or 1, one offset and one group.")
    if not np.isfinite(log_odds).all():
        raise ModelError("The offset of a row is missing or infinite.")
    told = [str(name) for name in names]
    place = {name: at for at, name in enumerate(sorted(set(told)))}
    if len(place) < 2:
        raise ModelError("Groups are compared with one another: there must be at least two.")
    member = (np.array([place[name] for name in told])[:, None] == np.arange(len(place))).astype(float)
    return GroupedRows(outcome, log_odds, member), tuple(place)
