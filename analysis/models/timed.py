"""The gate through which every (time, event) pair passes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis.errors import ModelError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CENSORED, EVENT, COMPETING = 0, 1, 2


@dataclass(frozen=True)
class Timed:
    """Times with what ended them; nothing impossible gets in, and nothing is changed afterwards.

    Parameters
    ----------
    time : array_like, shape (n,)
        Time at the end or at censoring, in one unit throughout.
    event : array_like of int, shape (n,)
        0 censored, 1 the event, 2 the competing end.
    entry : array_like, shape (n,)
        Time after which the row came under observation; 0 unless late.

    Raises
    ------
    ModelError
        If lengths differ, a time is missing or negative, an event is no code, or a late entry is not before its time.
    """

    time: Floats
    event: Ints
    entry: Floats

    def __post_init__(self) -> None:
        time, entry = _numbers(self.time, "time"), _numbers(self.entry, "entry")
        event = np.asarray(self.event)
        if time.ndim != 1 or time.shape != event.shape or time.shape != entry.shape:
            raise ModelError("Times and events must be of the same number.")
        if (time < 0).any() or (entry < 0).any():
            raise ModelError("A time is negative.", todo="Leave such rows out and count them.")
        if not ((event == CENSORED) | (event == EVENT) | (event == COMPETING)).all():
            raise ModelError("An event must be 0 (censored), 1 (event) or 2 (competing end).")
        if ((entry >= time) & (entry > 0)).any():
            raise ModelError("A row enters at or after its own end.")
        for name, values in (("time", time), ("event", event.astype(np.int64)), ("entry", entry)):
            values.setflags(write=False)
            object.__setattr__(self, name, values)

    @property
    def n(self) -> int:
        """Rows."""
        return len(self.time)

    @property
    def events(self) -> int:
        """Rows with the event."""
        return int((self.event == EVENT).sum())

    @cached_property
    def distinct(self) -> tuple[Floats, Ints, Ints]:
        """The different times in order, for each row the place of its own, and the rows with each."""
        codes, found = pd.factorize(self.time)
        order = np.argsort(found)
        place = np.empty(len(order), dtype=np.int64)
        place[order] = np.arange(len(order))
        at = place[codes]
        return found[order], at, np.bincount(at, minlength=len(order))

    @cached_property
    def gone(self) -> Ints:
        """Rows ended before each of the different times, and before the end of all, shape (k + 1,)."""
        return np.concatenate([[0], np.cumsum(self.distinct[2])])

    @property
    def late(self) -> bool:
        """Whether any row came under observation late."""
        return bool(self.entry.any())

    def part(self, rows: NDArray[np.bool_]) -> Timed:
        """The rows under a mask."""
        return Timed(self.time[rows], self.event[rows], self.entry[rows])


def _numbers(values: ArrayLike, what: str) -> Floats:
    """A copy as numbers, none missing."""
    try:
        found = np.array(values, dtype=float)
    except (TypeError, ValueError):
        raise ModelError(f"A {what} is not a number.") from None
    if not np.isfinite(found).all():
        raise ModelError(f"A {what} is missing.", todo="Leave such rows out and count them.")
    return found


def timed(time: ArrayLike, event: ArrayLike, entry: ArrayLike | None = None) -> Timed:
    """Check and freeze times and events; the event is never optional. See :class:`Timed`."""
    start = np.zeros(np.shape(time)) if entry is None else np.asarray(entry)
    return Timed(np.asarray(time), np.asarray(event), start)


def labels_of(group: ArrayLike, data: Timed, what: str = "group") -> tuple[NDArray[np.object_], Ints]:
    """The distinct labels, and the number of each row's label.

    Raises
    ------
    ModelError
        If a label is missing or their number is not that of the times.
    """
    given = np.asarray(group)
    if given.shape != data.time.shape:
        raise ModelError(f"Every row needs its {what}.")
    if any(label is None or label != label for label in (given.tolist() if given.dtype.kind in "Of" else ())):
        raise ModelError(f"A row has no {what}.", todo="Leave such rows out and count them, or name them.")
    labels, codes = np.unique(given.astype(str) if given.dtype.kind == "O" else given, return_inverse=True)
    return labels.astype(object), codes.astype(np.int64)


def refuse_late(data: Timed, what: str) -> None:
    """Refuse late entry where a method cannot use it.

    Raises
    ------
    ModelError
    """
    if data.late:
        raise ModelError(f"{what} cannot use rows that came under observation late.")


def at_risk(data: Timed, times: ArrayLike) -> Ints:
    """Rows still under observation just before each time."""
    at = np.asarray(times, dtype=float)
    left = data.n - data.gone[np.searchsorted(data.distinct[0], at, side="left")]
    not_yet = len(data.entry) - np.searchsorted(np.sort(data.entry), at, side="left") if data.late else 0
    return np.asarray(left - not_yet, dtype=np.int64)
