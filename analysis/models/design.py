"""The frozen design: levels, reference, knots, medians and units as they were when the model was fitted."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import ModelError
from analysis.models.independence import independent_columns
from analysis.models.terms import Category, Curve, FittedCurve, FittedTerm, Term

Floats = NDArray[np.float64]

EVENTS_PER_DF = 5
RARER_NEEDED = 10
INTERCEPT = "(intercept)"


@dataclass(frozen=True)
class TooFew:
    """Too few of the rarer outcome for any model.

    Parameters
    ----------
    successes, failures : int
        What the rows hold.
    further_jobs : int or None
        Jobs expected to be needed until :data:`RARER_NEEDED` of the rarer outcome are there, at the rate so far;
        None when the rarer outcome has not been seen at all, so that no rate is known.
    """

    successes: int
    failures: int
    further_jobs: int | None


def too_few(y: Floats) -> TooFew | None:
    """Say whether there are too few of the rarer outcome for a model, and how many jobs it takes."""
    successes = int(np.sum(y))
    failures = len(y) - successes
    rarer = min(successes, failures)
    if rarer >= RARER_NEEDED:
        return None
    further = math.ceil((RARER_NEEDED - rarer) * len(y) / rarer) if rarer else None
    return TooFew(successes, failures, further)


@dataclass(frozen=True)
class LeftOut:
    """A term that is not in the model, and why."""

    label: str
    df: int
    why: str


@dataclass(frozen=True)
class Design:
    """Turns rows into the columns of a model, always in the same way.

    Parameters
    ----------
    terms : tuple of FittedTerm
        Terms in the model.
    names : tuple of str
        Column names, the intercept first.
    kept : tuple of bool
        Which of the terms' columns are in the model (the others were aliased or constant).
    left_out : tuple of LeftOut
        Terms without room in the budget, without variation, or wholly explained by others.
    n, events : int
        Rows and successes at fitting.
    budget : int
        Degrees of freedom allowed: one per five of the rarer outcome.
    """

    terms: tuple[FittedTerm, ...]
    names: tuple[str, ...]
    kept: tuple[bool, ...]
    left_out: tuple[LeftOut, ...]
    n: int
    events: int
    budget: int

    def matrix(self, frame: pd.DataFrame, strict: bool = False) -> Floats:
        """Columns for the rows of ``frame``.

        Parameters
        ----------
        frame : DataFrame, shape (n, ...)
            Holds every column the terms name.
        strict : bool
            Refuse numbers outside the range seen at fitting.

        Returns
        -------
        ndarray, shape (n, p)
            The intercept first.

        Raises
        ------
        UnseenLevelError
            If a row has a level never seen at fitting, or, when ``strict``, a number out of range.
        """
        blocks = [np.ones((len(frame), 1)), *(term.columns(frame, strict) for term in self.terms)]
        whole = np.hstack(blocks)
        return whole if all(self.kept) else whole[:, np.asarray(self.kept)]

    def seen(self, frame: pd.DataFrame, strict: bool = False) -> NDArray[np.bool_]:
        """Rows that :meth:`matrix` takes without refusing, shape (n,)."""
        return np.logical_and.reduce([np.ones(len(frame), dtype=bool), *(t.seen(frame, strict) for t in self.terms)])

    def term_columns(self, label: str) -> tuple[int, ...]:
        """Positions in the matrix of the columns of one term."""
        start = 1
        position = {int(old): new for new, old in enumerate(np.flatnonzero(self.kept))}
        for term in self.terms:
            if term.label == label:
                return tuple(position[i] for i in range(start, start + len(term.names)) if i in position)
            start += len(term.names)
        raise ModelError(f"The model has no term '{label}'.")

    @property
    def behind(self) -> dict[str, int]:
        """Rows behind each column at fitting, by column name: of the level, or with a value."""
        return {name: n for term in self.terms for name, n in zip(term.names, term.behind, strict=True)}

    def has(self, label: str) -> bool:
        """Whether a term is in the model."""
        return any(term.label == label for term in self.terms)


def _within_budget(
    frame: pd.DataFrame, terms: Sequence[Term], budget: int
) -> tuple[list[FittedTerm], list[NDArray[np.bool_]], list[LeftOut]]:
    """Take terms in the order given while they fit; a term that does not fit is skipped and named.

    A category that shrinks fits wherever a single column does.

    A term takes as much of the budget as it has columns that the terms before it do not already explain.
    """
    taken: list[FittedTerm] = []
    kept: list[NDArray[np.bool_]] = []
    left_out: list[LeftOut] = []
    basis = np.ones((len(frame), 1)) / np.sqrt(max(len(frame), 1))
    used = 0
    for term in terms:
        fitted = term.fit(frame)
        if fitted is None:
            left_out.append(LeftOut(term.label, 0, "the same, or not recorded, in every row"))
            continue
        own, grown = independent_columns(fitted.columns(frame, False), basis)
        while isinstance(term, Curve) and isinstance(fitted, FittedCurve) and not own[: fitted.spline.df].all():
            if fitted.spline.df == 1:
                break
            # A curve is kept whole or made simpler: part of its columns would be a curve with no meaning.
            term = replace(term, df=fitted.spline.df - 1)
            fitted = term.fit(frame) or fitted
            own, grown = independent_columns(fitted.columns(frame, False), basis)
        if isinstance(term, Category) and term.shrinks and used < budget < used + own.sum():
            fitted = replace(term, most_columns=budget - used).fit(frame) or fitted
            own, grown = independent_columns(fitted.columns(frame, False), basis)
        if used + own.sum() > budget:
            left_out.append(LeftOut(term.label, int(own.sum()), "too few of the rarer outcome for one more term"))
            continue
        taken.append(fitted)
        kept.append(own)
        basis, used = grown, used + int(own.sum())
        for name in np.asarray(fitted.names, dtype=object)[~own]:
            left_out.append(LeftOut(str(name), 1, "the same rows as other columns: cannot be told apart"))
    return taken, kept, left_out


def fit_design(frame: pd.DataFrame, terms: Sequence[Term], y: Floats, budget: int | None = None) -> Design:
    """Freeze a design on the rows a model will be fitted to.

    Parameters
    ----------
    frame : DataFrame, shape (n, ...)
        Rows.
    terms : sequence of Term
        In the order of their claim on the budget.
    y : ndarray, shape (n,)
        0/1 outcomes; they set the budget and decide nothing else.
    budget : int, optional
        Degrees of freedom allowed; by default one per five of the rarer outcome.

    Returns
    -------
    Design
    """
    events = int(np.sum(y))
    allowed = min(events, len(y) - events) // EVENTS_PER_DF if budget is None else budget
    taken, kept, left_out = _within_budget(frame, terms, allowed)
    keep = np.concatenate([[True], *kept])
    names = np.asarray([INTERCEPT, *(name for term in taken for name in term.names)], dtype=object)
    return Design(
        tuple(taken),
        tuple(str(name) for name in names[keep]),
        tuple(bool(k) for k in keep),
        tuple(left_out),
        len(frame),
        events,
        allowed,
    )
