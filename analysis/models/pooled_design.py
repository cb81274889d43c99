"""The frozen columns of the pooled model: every level its own column, numbers in steps of two standard deviations.

Since priors hold the effects together there is no reference level and nothing is aliased. A level counts 0 or 1 and a
number counts in steps of two standard deviations, so that effects of both are of one kind and may share one prior
(Gelman, Statistics in Medicine 27 (2008) 2865–2873). All columns but the families' are centred on the rows fitted to,
so that the intercept is the log odds of the average job.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NoReturn, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import ModelError, UnseenLevelError
from analysis.models.terms import NOT_RECORDED, Category, Number

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Column = NDArray[Any]
PooledTerm = Category | Number

TODO = "No chance can be given for it; jobs of this kind must first be in the log."


def laid_out(frame: pd.DataFrame, terms: Sequence[PooledTerm], *others: str) -> pd.DataFrame:
    """Only the columns of the terms and the others named, levels as codes: for rows that are fitted to many times."""
    columns = dict.fromkeys((*(term.column for term in terms), *others))
    levels = {term.column: "category" for term in terms if isinstance(term, Category)}
    return frame[list(columns)].astype(levels)


def coded(column: pd.Series) -> tuple[NDArray[np.int64], Sequence[object]]:
    """Code of each row, -1 for a blank, and the level that each code stands for; some may stand in no row."""
    if isinstance(column.array, pd.Categorical):
        return column.array.codes.astype(np.int64), column.array.categories
    codes, levels = pd.factorize(column.to_numpy(dtype=object))
    return codes, levels


def equal_rows(columns: Sequence[NDArray[np.int64]]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Which rows are equal: the place of the first of each kind, in order of appearance, and the kind of each row.

    Parameters
    ----------
    columns : sequence of ndarray of int, shape (n,)
        Codes, -1 or more.
    """
    key, span = np.zeros(len(columns[0]), dtype=np.int64), 1
    for codes in columns:
        size = int(codes.max(initial=0)) + 2
        if span * size > 2**62:
            key = pd.factorize(key)[0]
            span = int(key.max()) + 1
        key, span = key * size + codes + 1, span * size
    kind, found = pd.factorize(key)
    first = np.empty(len(found), dtype=np.intp)
    first[kind[::-1]] = np.arange(len(kind))[::-1]
    return first, kind


@dataclass(frozen=True)
class PooledCategory:
    """A category as it was at fitting; blank is a level, the last one.

    A blank that was never seen at fitting has a column of zeros, so that its effect keeps its prior: the chance is
    then near the average job's and less certain.

    Parameters
    ----------
    column, label : str
    levels, shown : tuple of str
        Codes and their plain names, most frequent first, :data:`NOT_RECORDED` last.
    counts : tuple of int
        Rows with each level.
    """

    column: str
    label: str
    levels: tuple[str, ...]
    shown: tuple[str, ...]
    counts: tuple[int, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """One name a level."""
        return tuple(f"{self.label}: {text}" for text in self.shown)

    @property
    def recorded(self) -> tuple[tuple[str, ...], Floats]:
        """The levels recorded at fitting and the share of rows each has among the recorded."""
        counts = np.asarray(self.counts[:-1], dtype=float)
        return self.levels[:-1], counts / counts.sum()

    def look(self, frame: pd.DataFrame) -> Column:
        """Each row's place among the levels; -1 for a level never seen."""
        codes, found = coded(frame[self.column])
        known = {level: at for at, level in enumerate(self.levels[:-1])}
        places = [known.get(str(level), -1) for level in found]
        return np.array([*places, len(self.levels) - 1], dtype=np.int64)[codes]  # a blank has code -1

    def codes(self, looked: Column) -> NDArray[np.int64]:
        """One code for each level: the places themselves."""
        return looked

    def within(self, looked: Column) -> Flags:
        """Places of a known level or a blank."""
        return np.asarray(looked >= 0)

    def made(self, looked: Column) -> Floats:
        """Indicators, shape (n, levels), with zeros for a level never seen."""
        return np.asarray(looked[:, None] == np.arange(len(self.levels)), dtype=float)

    def refuse(self, value: object) -> NoReturn:
        """Say by name what was never seen."""
        raise UnseenLevelError(
            f"{self.label} '{value}' was never seen by the model.",
            rule=f"It has seen: {', '.join(self.shown[:-1])}.",
            todo=TODO,
        )

    def means(self) -> Floats:
        """Share of the rows fitted to with each level, shape (levels,)."""
        return np.asarray(self.counts, dtype=float) / sum(self.counts)


@dataclass(frozen=True)
class PooledNumber:
    """A number as it was at fitting; a blank counts as the median and has an indicator.

    Parameters
    ----------
    column, label, unit : str
    values : tuple of float
        Different values recorded at fitting, in order.
    counts : tuple of int
        Rows with each value.
    blank : int
        Rows without one.
    """

    column: str
    label: str
    unit: str
    values: tuple[float, ...]
    counts: tuple[int, ...]
    blank: int

    @property
    def names(self) -> tuple[str, ...]:
        """The slope and the indicator."""
        return (f"{self.label}, by two SD", f"{self.label}: {NOT_RECORDED}")

    @property
    def recorded(self) -> tuple[tuple[float, ...], Floats]:
        """The values recorded at fitting and the share of rows each has among the recorded."""
        return self.values, np.asarray(self.counts, dtype=float) / sum(self.counts)

    @cached_property
    def median(self) -> float:
        """Median of the recorded."""
        return float(np.median(np.repeat(self.values, self.counts)))

    @cached_property
    def step(self) -> float:
        """Two standard deviations of the recorded; one unit where all are alike."""
        return 2 * float(np.std(np.repeat(self.values, self.counts))) or 1.0

    def look(self, frame: pd.DataFrame) -> Column:
        """The numbers, NaN where blank."""
        return frame[self.column].to_numpy(float, na_value=np.nan)

    def codes(self, looked: Column) -> NDArray[np.int64]:
        """The same code for the same number, -1 for a blank."""
        return pd.factorize(looked)[0]

    def within(self, looked: Column) -> Flags:
        """Numbers within the range seen, or blank."""
        return np.isnan(looked) | ((looked >= self.values[0]) & (looked <= self.values[-1]))

    def made(self, looked: Column) -> Floats:
        """Slope and indicator, shape (n, 2)."""
        blank = np.isnan(looked)
        return np.column_stack([np.where(blank, 0.0, (looked - self.median) / self.step), blank])

    def refuse(self, value: object) -> NoReturn:
        """Say which number lies outside the range seen."""
        unit = f" {self.unit}" if self.unit else ""
        raise UnseenLevelError(
            f"{self.label}: {float(str(value)):g}{unit} lies outside what the model has seen.",
            rule=f"It has seen {self.values[0]:g} to {self.values[-1]:g}{unit}.",
            todo=TODO,
        )

    def means(self) -> Floats:
        """Mean of each column over the rows fitted to, shape (2,)."""
        steps = (np.asarray(self.values) - self.median) / self.step
        return np.array([steps @ np.asarray(self.counts, dtype=float), self.blank]) / (sum(self.counts) + self.blank)


Fitted = PooledCategory | PooledNumber


@dataclass(frozen=True)
class Looked:
    """Rows of a frame as a design sees them, each fact looked up once.

    Parameters
    ----------
    frame : DataFrame
    rows : ndarray of int, shape (n,)
        Places of the rows in the frame.
    columns : tuple of ndarray, shape (n,)
        Of each fact of the design the place among its levels, -1 where never seen, or the number.
    """

    frame: pd.DataFrame
    rows: NDArray[np.intp]
    columns: tuple[Column, ...]

    def __len__(self) -> int:
        return len(self.rows)

    def take(self, rows: NDArray[np.intp] | Flags) -> Looked:
        """Some of the rows."""
        return Looked(self.frame, self.rows[rows], tuple(column[rows] for column in self.columns))


Rows: TypeAlias = pd.DataFrame | Looked


@dataclass(frozen=True)
class PooledDesign:
    """Turns rows into the columns of the pooled model, always in the same way.

    Parameters
    ----------
    terms : tuple
        Terms whose effects share the prior SD sigma.
    family : PooledCategory or None
        The board family, with an SD of its own.
    centre : tuple of float
        Mean of each column of the terms at fitting.
    left_out : tuple of str
        Terms never recorded at fitting; their values are not looked at.
    """

    terms: tuple[Fitted, ...]
    family: PooledCategory | None
    centre: tuple[float, ...]
    left_out: tuple[str, ...]

    @property
    def facts(self) -> tuple[Fitted, ...]:
        """The terms, and the family last."""
        return self.terms if self.family is None else (*self.terms, self.family)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns, the intercept first and the families last."""
        return ("(intercept)", *(name for term in self.facts for name in term.names))

    @property
    def families_n(self) -> int:
        """Columns of the family."""
        return 0 if self.family is None else len(self.family.levels)

    def look(self, rows: Rows) -> Looked:
        """Look every fact up, once."""
        if isinstance(rows, Looked):
            return rows
        return Looked(rows, np.arange(len(rows)), tuple(fact.look(rows) for fact in self.facts))

    def matrix(self, rows: Rows) -> Floats:
        """Columns for the rows, shape (n, p).

        A family never seen has zeros in all columns of the family; see :meth:`unseen_family`.

        Raises
        ------
        UnseenLevelError
            If a row has another level never seen at fitting or a number outside the range seen.
        """
        looked = self.look(rows)
        for term, column in zip(self.terms, looked.columns, strict=False):
            within = term.within(column)
            if not within.all():
                term.refuse(looked.frame[term.column].iloc[looked.rows[int(np.argmin(within))]])
        made = [fact.made(column) for fact, column in zip(self.facts, looked.columns, strict=True)]
        out = np.hstack([np.ones((len(looked), 1)), *made])
        out[:, 1 : 1 + len(self.centre)] -= np.asarray(self.centre)
        return out

    def equal(self, rows: Rows, *others: NDArray[np.int64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows that have the same columns (and others): see :func:`equal_rows`."""
        looked = self.look(rows)
        codes = [fact.codes(column) for fact, column in zip(self.facts, looked.columns, strict=True)]
        return equal_rows([np.zeros(len(looked), dtype=np.int64), *codes, *others])

    def seen(self, rows: Rows) -> Flags:
        """Rows that :meth:`matrix` takes without refusing, shape (n,)."""
        looked = self.look(rows)
        within = (term.within(column) for term, column in zip(self.terms, looked.columns, strict=False))
        return np.logical_and.reduce([np.ones(len(looked), dtype=bool), *within])

    def unseen_family(self, rows: Rows) -> Flags:
        """Rows with a family never seen, shape (n,)."""
        looked = self.look(rows)
        return np.zeros(len(looked), dtype=bool) if self.family is None else ~self.family.within(looked.columns[-1])


def _fit_category(term: Category, frame: pd.DataFrame) -> PooledCategory | None:
    codes, found = coded(frame[term.column])
    counts: Counter[str] = Counter()
    for level, n in zip(found, np.bincount(codes[codes >= 0], minlength=len(found)), strict=True):
        if n:
            counts[str(level)] += int(n)
    if not counts:
        return None
    known = sorted(counts, key=lambda level: (-counts[level], level))
    levels = (*known, NOT_RECORDED)
    shown = tuple(term.level_labels.get(level, level) for level in levels)
    rows = (*(counts[level] for level in known), int((codes < 0).sum()))
    return PooledCategory(term.column, term.label, levels, shown, rows)


def _fit_number(term: Number, frame: pd.DataFrame) -> PooledNumber | None:
    values = frame[term.column].to_numpy(float, na_value=np.nan)
    different, counts = np.unique(values[~np.isnan(values)], return_counts=True)
    if not len(different):
        return None
    return PooledNumber(
        term.column,
        term.label,
        term.unit,
        tuple(float(v) for v in different),
        tuple(int(n) for n in counts),
        int(np.isnan(values).sum()),
    )


def _fitted(term: PooledTerm, frame: pd.DataFrame) -> Fitted | None:
    return _fit_category(term, frame) if isinstance(term, Category) else _fit_number(term, frame)


def fit_pooled_design(frame: pd.DataFrame, terms: Sequence[PooledTerm], family: str | None) -> PooledDesign:
    """Freeze a design on the rows a pooled model will be fitted to.

    Parameters
    ----------
    frame : DataFrame, shape (n, ...)
        Rows; blank and unknown must both be missing already.
    terms : sequence of Category or Number
        No term is left out for want of jobs: the priors hold what the rows cannot.
    family : str or None
        Column of the term whose levels have an SD of their own.

    Returns
    -------
    PooledDesign
    """
    if not len(frame):
        raise ModelError("A model cannot be fitted to no rows.")
    fitted = [(term, _fitted(term, frame)) for term in terms]
    own = tuple(found for term, found in fitted if found is not None and term.column != family)
    families = [found for term, found in fitted if term.column == family and isinstance(found, PooledCategory)]
    means = np.concatenate([np.empty(0), *(term.means() for term in own)])
    return PooledDesign(
        terms=own,
        family=families[0] if families else None,
        centre=tuple(float(m) for m in means),
        left_out=tuple(term.label for term, found in fitted if found is None),
    )
