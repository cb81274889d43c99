"""The kinds of term a model may have: a category, a number, a curve."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import UnseenLevelError
from analysis.models.spline import NaturalSpline, spline_through

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

NOT_RECORDED = "not recorded"
OTHER = "other, fewer jobs"


class FittedTerm(Protocol):
    """A term whose levels, knots or medians are fixed."""

    @property
    def label(self) -> str:
        """Plain name."""

    @property
    def names(self) -> tuple[str, ...]:
        """One name a column."""

    @property
    def behind(self) -> tuple[int, ...]:
        """Rows behind each column at fitting: of the level, or with a value."""

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Columns of the term for the rows of ``frame``, shape (n, len(names))."""

    def seen(self, frame: pd.DataFrame, strict: bool) -> Flags:
        """Which rows the term can take without refusing, shape (n,)."""


class Term(Protocol):
    """A term as declared, before it has seen any row."""

    @property
    def label(self) -> str:
        """Plain name."""

    def fit(self, frame: pd.DataFrame) -> FittedTerm | None:
        """Fix the term on these rows; None when they do not vary."""


def _coded(values: pd.Series) -> tuple[NDArray[np.int64], list[str]]:
    """Each row's level as a position in a list of level names, blank among them; levels in order of appearance."""
    codes, found = pd.factorize(values)
    texts = [str(level) for level in found]
    return np.where(codes < 0, len(texts), codes), [*texts, NOT_RECORDED]


@dataclass(frozen=True)
class FittedCategory:
    """A category with its reference level first."""

    column: str
    label: str
    levels: tuple[str, ...]
    counts: tuple[int, ...]
    pooled: tuple[str, ...]
    shown: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """One name a level other than the reference."""
        return tuple(f"{self.label}: {text}" for text in self.shown[1:])

    @property
    def behind(self) -> tuple[int, ...]:
        """Rows of each level other than the reference."""
        return self.counts[1:]

    @property
    def reference(self) -> str:
        """The level all others are compared with."""
        return self.shown[0]

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Dummy columns; an unseen level is refused unless rare levels were pooled."""
        at, texts = self._positions(frame)
        if (at < 0).any():
            name = texts[int(np.flatnonzero(at < 0)[0])]
            raise UnseenLevelError(
                f"{self.label} '{name}' was never seen by the model.",
                rule=f"It has seen: {', '.join(self.shown)}.",
                todo="No chance can be given for it; jobs of this kind must first be in the log.",
            )
        return np.asarray(at[:, None] == np.arange(1, len(self.levels)), dtype=float)

    def seen(self, frame: pd.DataFrame, strict: bool) -> Flags:
        """Rows with a known level, or any level where rare ones were pooled."""
        return np.asarray(self._positions(frame)[0] >= 0)

    def _positions(self, frame: pd.DataFrame) -> tuple[NDArray[np.int64], NDArray[np.object_]]:
        """Each row's position among the levels, -1 for a level that is refused; and each row's level as text."""
        known = {level: i for i, level in enumerate(self.levels)}
        otherwise = known.get(OTHER, -1)
        known |= dict.fromkeys(self.pooled, otherwise)
        codes, texts = _coded(frame[self.column])
        positions = np.array([known.get(text, otherwise) for text in texts], dtype=np.int64)
        return positions[codes], np.array(texts, dtype=object)[codes]


@dataclass(frozen=True)
class Category:
    """A category; blank is a level of its own, rare levels are pooled.

    Parameters
    ----------
    column, label : str
        Column of the rows, and its plain name.
    level_labels : mapping
        Plain names of codes.
    min_level : int
        Levels with fewer rows are pooled where there are several of them.
    reference : str, optional
        Reference level; by default the most frequent.
    shrinks : bool
        Where the budget cannot hold the category whole, its rarest levels are pooled until it fits, so that what
        confounds everything else is never left out for want of room.
    most_columns : int, optional
        Columns it may have; set where it shrinks.
    """

    column: str
    label: str
    level_labels: Mapping[str, str] = field(default_factory=dict, hash=False)
    min_level: int = 5
    reference: str | None = None
    shrinks: bool = False
    most_columns: int | None = None

    def fit(self, frame: pd.DataFrame) -> FittedCategory | None:
        """Fix levels, reference and the pool of rare levels."""
        codes, texts = _coded(frame[self.column])
        counts = pd.Series(np.bincount(codes, minlength=len(texts)), index=texts).groupby(level=0).sum()
        counts = (
            counts[counts > 0].sort_index().sort_values(ascending=False, kind="stable")
        )  # ties by name, not by row order
        own = counts.drop(NOT_RECORDED, errors="ignore")
        rare = tuple(sorted(own.index[own < self.min_level]))
        if len(rare) < 2 or len(rare) == len(own):
            rare = ()
        kept = own.drop(list(rare))
        if not len(kept):
            return None
        first = self.reference if self.reference in kept.index else str(kept.index[0])
        levels = [first, *(level for level in kept.index if level != first)]
        levels, rare, blank = self._within(levels, rare, NOT_RECORDED in counts.index)
        number = {level: int(kept[level]) for level in levels}
        if rare:
            levels.append(OTHER)
            number[OTHER] = int(counts[list(rare)].sum())
        if blank:
            levels.append(NOT_RECORDED)
            number[NOT_RECORDED] = int(counts[NOT_RECORDED])
        if len(levels) < 2:
            return None
        shown = tuple(self.level_labels.get(level, level) for level in levels)
        return FittedCategory(
            self.column, self.label, tuple(levels), tuple(number[level] for level in levels), rare, shown
        )

    def _within(self, levels: list[str], rare: tuple[str, ...], blank: bool) -> tuple[list[str], tuple[str, ...], bool]:
        """Levels of their own, the pool and whether blanks stand alone, with the rarest pooled until it all fits."""
        if self.most_columns is None:
            return levels, rare, blank
        own, pool = list(levels), list(rare)
        while len(own) > 1 and len(own) - 1 + bool(pool) + blank > self.most_columns:
            pool.append(own.pop())
        if bool(pool) + blank > self.most_columns and len(own) == 1:
            pool, blank = [*pool, NOT_RECORDED], False
        return own, tuple(sorted(pool)), blank


@dataclass(frozen=True)
class _Recorded:
    """What a number or a curve remembers of the values it was fitted to."""

    column: str
    label: str
    unit: str
    low: float
    high: float
    recorded: int
    blank: int

    def seen(self, frame: pd.DataFrame, strict: bool) -> Flags:
        """Rows with a value, within the range when ``strict``; blanks only where blanks were seen at fitting."""
        values = self._values(frame)
        inside = (values >= self.low) & (values <= self.high) if strict else ~np.isnan(values)
        return inside | np.isnan(values) if self.blank else inside

    def _values(self, frame: pd.DataFrame) -> Floats:
        return frame[self.column].to_numpy(float, na_value=np.nan)

    def _accepted(self, frame: pd.DataFrame, strict: bool) -> tuple[Floats, Flags]:
        """Values and which are blank; what the model never saw is refused by name."""
        values, seen = self._values(frame), self.seen(frame, strict)
        if not seen.all():
            first = values[~seen][0]
            unit = f" {self.unit}" if self.unit else ""
            raise UnseenLevelError(
                f"{self.label} is blank, which the model has never seen."
                if np.isnan(first)
                else f"{self.label} {first:g}{unit} lies outside what the model has seen.",
                rule=f"It has seen {self.low:g} to {self.high:g}{unit}.",
                todo="No chance can be given for it; jobs of this kind must first be in the log.",
            )
        return values, np.isnan(values)


@dataclass(frozen=True)
class FittedNumber(_Recorded):
    """A number around its median; blanks are the median plus an indicator."""

    per: float
    median: float

    @property
    def names(self) -> tuple[str, ...]:
        """The slope, and the indicator where blanks were seen."""
        return (self.label, f"{self.label}: {NOT_RECORDED}") if self.blank else (self.label,)

    @property
    def behind(self) -> tuple[int, ...]:
        """Rows with a value, and without where there are any."""
        return (self.recorded, self.blank) if self.blank else (self.recorded,)

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Slope column in steps of ``per`` from the median, and the indicator."""
        values, missing = self._accepted(frame, strict)
        slope = np.where(missing, 0.0, (values - self.median) / self.per)
        return np.column_stack([slope, missing]) if self.blank else slope[:, None]


@dataclass(frozen=True)
class Number:
    """A number with a straight effect on the log odds.

    Parameters
    ----------
    column, label, unit : str
        Column, plain name, unit.
    per : float
        Step the odds ratio belongs to, in the unit.
    """

    column: str
    label: str
    unit: str = ""
    per: float = 1.0

    def fit(self, frame: pd.DataFrame) -> FittedNumber | None:
        """Fix median and range."""
        values = frame[self.column].to_numpy(float, na_value=np.nan)
        known = values[~np.isnan(values)]
        if len(known) < 2 or known.min() == known.max():
            return None
        return FittedNumber(
            column=self.column,
            label=self.label,
            unit=self.unit,
            per=self.per,
            median=float(np.median(known)),
            low=float(known.min()),
            high=float(known.max()),
            recorded=len(known),
            blank=int(len(values) - len(known)),
        )


@dataclass(frozen=True)
class FittedCurve(_Recorded):
    """A natural spline relative to a reference value; blanks get zeros plus an indicator."""

    spline: NaturalSpline
    reference: float

    @property
    def names(self) -> tuple[str, ...]:
        """The columns of the curve, and the indicator where blanks were seen."""
        curve = tuple(f"{self.label} (curve {i + 1})" for i in range(self.spline.df))
        return (*curve, f"{self.label}: {NOT_RECORDED}") if self.blank else curve

    @property
    def behind(self) -> tuple[int, ...]:
        """Rows with a value for each column of the curve, and without where there are any."""
        with_value = (self.recorded,) * self.spline.df
        return (*with_value, self.blank) if self.blank else with_value

    def at(self, values: Floats) -> Floats:
        """Curve columns at given values, relative to the reference value."""
        return self.spline.basis(values) - self.spline.basis([self.reference])

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Curve columns and the indicator."""
        values, missing = self._accepted(frame, strict)
        curve = np.where(missing[:, None], 0.0, self.at(np.where(missing, self.reference, values)))
        return np.column_stack([curve, missing]) if self.blank else curve


@dataclass(frozen=True)
class Curve:
    """A number whose effect may bend: natural spline.

    Parameters
    ----------
    column, label, unit : str
        Column, plain name, unit.
    df : int
        Columns of the spline.
    """

    column: str
    label: str
    unit: str = ""
    df: int = 3

    def fit(self, frame: pd.DataFrame) -> FittedCurve | None:
        """Fix knots, reference (the median) and range."""
        values = frame[self.column].to_numpy(float, na_value=np.nan)
        known = values[~np.isnan(values)]
        # Below ten values a curve would follow single jobs.
        if len(known) < 10 or len(np.unique(np.quantile(known, [0.05, 0.95]))) < 2:
            return None
        return FittedCurve(
            column=self.column,
            label=self.label,
            unit=self.unit,
            spline=spline_through(known, self.df),
            reference=float(np.median(known)),
            low=float(known.min()),
            high=float(known.max()),
            recorded=len(known),
            blank=int(len(values) - len(known)),
        )
