"""The gate through which every (time, event) pair passes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CENSORED, EVENT, COMPETING = 0, 1, 2


@dataclass(frozen=True)
class Timed:
    """Times with what ended them.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Time at the end or at censoring, in one unit throughout.
    event : ndarray of int, shape (n,)
        0 censored, 1 the event, 2 the competing end.
    entry : ndarray, shape (n,)
        Time at which the row came under observation; 0 unless late.
    """

    time: Floats
    event: Ints
    entry: Floats

    @property
    def n(self) -> int:
        """Rows."""
        return len(self.time)

    @property
    def events(self) -> int:
        """Rows with the event."""
        return int((self.event == EVENT).sum())

    def part(self, rows: NDArray[np.bool_]) -> Timed:
        """The rows under a mask."""
        return Timed(self.time[rows], self.event[rows], self.entry[rows])


def timed(time: ArrayLike, event: ArrayLike, entry: ArrayLike | None = None) -> Timed:
    """Check and freeze times and events; the event is never optional.

    Raises
    ------
    ModelError
        If lengths differ, a time is missing or negative, an event is no code, or an entry is not before its time.
    """
    t, e = np.asarray(time, dtype=float), np.asarray(event)
    start = np.zeros(len(t)) if entry is None else np.asarray(entry, dtype=float)
    if len(t) != len(e) or len(t) != len(start):
        raise ModelError("Times and events must be of the same number.")
    if not np.isfinite(t).all() or (t < 0).any():
        raise ModelError("A time is missing or negative.", todo="Leave such rows out and count them.")
    if not np.isin(e, [CENSORED, EVENT, COMPETING]).all():
        raise ModelError("An event must be 0 (censored), 1 (event) or 2 (competing end).")
    if not np.isfinite(start).all() or (entry is not None and (start >= t).any()):
        raise ModelError("A row enters at or after its own end.")
    return Timed(t, e.astype(np.int64), start)


def at_risk(data: Timed, times: ArrayLike) -> Ints:
    """Rows still under observation just before each time."""
    at = np.asarray(times, dtype=float)
    left = len(data.time) - np.searchsorted(np.sort(data.time), at, side="left")
    not_yet = len(data.entry) - np.searchsorted(np.sort(data.entry), at, side="left") if data.entry.any() else 0
    return np.asarray(left - not_yet, dtype=np.int64)
