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

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Columns of the term for the rows of ``frame``, shape (n, len(names))."""


class Term(Protocol):
    """A term as declared, before it has seen any row."""

    @property
    def label(self) -> str:
        """Plain name."""

    def fit(self, frame: pd.DataFrame) -> FittedTerm | None:
        """Fix the term on these rows; None when they do not vary."""


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
    def reference(self) -> str:
        """The level all others are compared with."""
        return self.shown[0]

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Dummy columns; an unseen level is refused unless rare levels were pooled."""
        values = frame[self.column].astype(object)
        values = values.where(values.notna(), NOT_RECORDED).astype(str)
        position = {level: i for i, level in enumerate(self.levels)}
        if OTHER in position:
            position |= dict.fromkeys(self.pooled, position[OTHER])
        codes = values.map(position)
        unseen = codes.isna()
        if unseen.any():
            if OTHER not in position:
                name = values[unseen].iloc[0]
                raise UnseenLevelError(
                    f"{self.label} '{name}' was never seen by the model.",
                    rule=f"It has seen: {', '.join(self.levels)}.",
                    todo="No chance can be given for it; jobs of this kind must first be in the log.",
                )
            codes = codes.fillna(position[OTHER])
        return np.asarray(codes.to_numpy(int)[:, None] == np.arange(1, len(self.levels)), dtype=float)


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
    """

    column: str
    label: str
    level_labels: Mapping[str, str] = field(default_factory=dict, hash=False)
    min_level: int = 5
    reference: str | None = None

    def fit(self, frame: pd.DataFrame) -> FittedCategory | None:
        """Fix levels, reference and the pool of rare levels."""
        values = frame[self.column].astype(object)
        counts = values.where(values.notna(), NOT_RECORDED).astype(str).value_counts()
        counts = counts.sort_index().sort_values(ascending=False, kind="stable")  # ties by name, not by row order
        own = counts.drop(NOT_RECORDED, errors="ignore")
        rare = tuple(sorted(own.index[own < self.min_level]))
        if len(rare) < 2 or len(rare) == len(own):
            rare = ()
        kept = own.drop(list(rare))
        if not len(kept):
            return None
        first = self.reference if self.reference in kept.index else str(kept.index[0])
        levels = [first, *(level for level in kept.index if level != first)]
        number = {level: int(kept[level]) for level in levels}
        if rare:
            levels.append(OTHER)
            number[OTHER] = int(own[list(rare)].sum())
        if NOT_RECORDED in counts.index:
            levels.append(NOT_RECORDED)
            number[NOT_RECORDED] = int(counts[NOT_RECORDED])
        if len(levels) < 2:
            return None
        shown = tuple(self.level_labels.get(level, level) for level in levels)
        return FittedCategory(
            self.column, self.label, tuple(levels), tuple(number[level] for level in levels), rare, shown
        )


def _in_range(values: Floats, low: float, high: float, label: str, unit: str) -> None:
    outside = (values < low) | (values > high)
    if outside.any():
        raise UnseenLevelError(
            f"{label} {values[outside][0]:g} {unit} lies outside what the model has seen.".replace("  ", " "),
            rule=f"It has seen {low:g} to {high:g} {unit}.".replace(" .", "."),
            todo="No chance can be given for it; jobs of this kind must first be in the log.",
        )


@dataclass(frozen=True)
class FittedNumber:
    """A number around its median; blanks are the median plus an indicator."""

    column: str
    label: str
    unit: str
    per: float
    median: float
    low: float
    high: float
    recorded: int
    blank: int

    @property
    def names(self) -> tuple[str, ...]:
        """The slope, and the indicator where blanks were seen."""
        return (self.label, f"{self.label}: {NOT_RECORDED}") if self.blank else (self.label,)

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Slope column in steps of ``per`` from the median, and the indicator."""
        values = frame[self.column].to_numpy(float, na_value=np.nan)
        missing = np.isnan(values)
        if strict:
            _in_range(values[~missing], self.low, self.high, self.label, self.unit)
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
            self.column,
            self.label,
            self.unit,
            self.per,
            float(np.median(known)),
            float(known.min()),
            float(known.max()),
            len(known),
            int(len(values) - len(known)),
        )


@dataclass(frozen=True)
class FittedCurve:
    """A natural spline relative to a reference value; blanks get zeros plus an indicator."""

    column: str
    label: str
    unit: str
    spline: NaturalSpline
    reference: float
    low: float
    high: float
    recorded: int
    blank: int

    @property
    def names(self) -> tuple[str, ...]:
        """The columns of the curve, and the indicator where blanks were seen."""
        curve = tuple(f"{self.label} (curve {i + 1})" for i in range(self.spline.df))
        return (*curve, f"{self.label}: {NOT_RECORDED}") if self.blank else curve

    def at(self, values: Floats) -> Floats:
        """Curve columns at given values, relative to the reference value."""
        return self.spline.basis(values) - self.spline.basis([self.reference])

    def columns(self, frame: pd.DataFrame, strict: bool) -> Floats:
        """Curve columns and the indicator."""
        values = frame[self.column].to_numpy(float, na_value=np.nan)
        missing = np.isnan(values)
        if strict:
            _in_range(values[~missing], self.low, self.high, self.label, self.unit)
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
            self.column,
            self.label,
            self.unit,
            spline_through(known, self.df),
            float(np.median(known)),
            float(known.min()),
            float(known.max()),
            len(known),
            int(len(values) - len(known)),
        )
