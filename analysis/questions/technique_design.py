"""What comparisons of techniques adjust for, as columns of a model, and how wide each may reach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.ridge_logit import WEAK_SD
from analysis.models.spline import spline_through
from analysis.models.terms import Category, Number, Term
from analysis.questions import terms

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

TECHNICIAN = Category("technician_id", "technician")
QUARTER = Category("quarter", "quarter received")
TERM_OF: dict[str, Term] = {
    "technician_id": TECHNICIAN,
    "quarter": QUARTER,
    "intake_damage": terms.DAMAGE,
    "second_damage_seen": terms.SECOND,
    "prior_rework": terms.PRIOR,
    "underfill": terms.UNDERFILL,
    "device_age_years": terms.AGE,
    "device_class": terms.DEVICE,
    "board_family": terms.FAMILY,
    "pad_grade_found_worst": terms.GRADE,
    "processor_lower_grade": Number(
        "processor_lower_grade", "each pad grade of the processor's lower side found worse"
    ),
    "donor_age_years": terms.DONOR_AGE,
    "known_good": terms.TESTED,
    "prior_installs_n": terms.INSTALLS,
}
COVARIATES = tuple(name for name in TERM_OF if name not in ("quarter", "second_damage_seen"))
# After weighting, the arms must be alike in these above all: what a technique is most easily mistaken for.
WATCHED = ("technician_id", "quarter", "intake_damage")
# Habits may be all but fixed: a narrow prior would leave people and times unlike. Families share what they know: one
# is rarely more than one log odds off.
WATCHED_SD = 5.0
FAMILY_SD = 1.0
FEWEST = 5
TIME_DF = 3


@dataclass(frozen=True)
class Part:
    """What one contrast adjusts for, for the rows it compares.

    Parameters
    ----------
    x : ndarray, shape (m, q)
        The intercept first.
    prior_sd : ndarray, shape (q,)
        SD of the prior of each, in log odds.
    watched : mapping of str to ndarray of int, shape (m,)
        Level of each row in each of :data:`WATCHED`.
    """

    x: Floats
    prior_sd: Floats
    watched: Mapping[str, Codes]


@dataclass(frozen=True)
class Columns:
    """Everything that may be adjusted for, for all rows of one completed table.

    Parameters
    ----------
    levels : mapping of str to ndarray of int, shape (n,)
        Level of each row in each category; quarters in the order of time.
    numbers : mapping of str to ndarray, shape (n,)
        Numbers, less their medians.
    time : ndarray, shape (n, k)
        A smooth curve of the day of receipt, in columns of SD 1.
    """

    levels: Mapping[str, Codes]
    numbers: Mapping[str, Floats]
    time: Floats

    def part(self, rows: NDArray[np.bool_], wanted: Sequence[str]) -> Part:
        """Columns of some rows for what is wanted.

        A quarter with fewer than :data:`FEWEST` of these rows goes with its neighbour in time; other levels as small go
        together. A number that differs in fewer rows teaches nothing and is left out.
        """
        blocks, sd = [np.ones((int(rows.sum()), 1))], [np.full(1, WEAK_SD)]
        watched: dict[str, Codes] = {}
        for name in wanted:
            if name in self.levels:
                level = _gathered(name, self.levels[name][rows])
                block, width = _indicators(level), _width(name)
                if name in WATCHED:
                    watched[name] = level
            elif name in self.numbers:
                number = self.numbers[name][rows]
                varies = (number != np.median(number)).sum() >= FEWEST if len(number) else False
                block, width = number[:, None] if varies else number[:, None][:, :0], WEAK_SD
            else:
                continue
            block = np.column_stack([block, self.time[rows]]) if name == QUARTER.column else block
            blocks.append(block)
            sd.append(np.full(block.shape[1], width))
        return Part(np.hstack(blocks), np.concatenate(sd), watched)


def _width(name: str) -> float:
    return WATCHED_SD if name in WATCHED else FAMILY_SD if name == terms.FAMILY.column else WEAK_SD


def _gathered(name: str, level: Codes) -> Codes:
    """Levels with the small ones put together, numbered from 0."""
    if name == QUARTER.column:
        return with_neighbours(level, FEWEST)
    term = TERM_OF[name]
    least = term.min_level if isinstance(term, Category) else FEWEST
    return small_together(level, least)


def _numbered(level: Codes) -> tuple[Codes, Codes]:
    """Levels numbered from 0 in the same order, without those that no row has, and the rows of each."""
    n = np.bincount(level)
    there = n > 0
    return (np.cumsum(there) - 1)[level], n[there]


def small_together(level: Codes, least: int) -> Codes:
    """Levels with fewer than ``least`` rows as one, the last; all numbered from 0."""
    at, n = _numbered(level)
    return _numbered(np.where(n < least, len(n), np.arange(len(n)))[at])[0]


def with_neighbours(level: Codes, least: int) -> Codes:
    """Put every level with fewer than ``least`` rows to the smaller of its neighbours, until none is left.

    Parameters
    ----------
    level : ndarray of int, shape (n,)
        In order, such as quarters.
    least : int

    Returns
    -------
    ndarray of int, shape (n,)
        Numbered from 0, in the same order.
    """
    at, n = _numbered(level)
    group = np.arange(len(n))
    while group.size and group[-1] > 0:
        size = np.bincount(group, weights=n)
        small = int(size.argmin())
        if size[small] >= least:
            break
        beside = [near for near in (small - 1, small + 1) if 0 <= near < len(size)]
        upper = max(small, min(beside, key=lambda near: size[near]))
        group = np.where(group >= upper, group - 1, group)
    return np.asarray(group[at], dtype=np.int64)


def _indicators(level: Codes) -> Floats:
    """One column for each level but the one with most rows, shape (m, levels - 1)."""
    n = np.bincount(level)
    others = [at for at in range(len(n)) if at != (int(n.argmax()) if len(n) else 0)]
    return np.asarray(level[:, None] == np.array(others, dtype=int)[None, :], dtype=float)


def columns_of(rows: pd.DataFrame) -> Columns:
    """Make the columns of a completed table once; every contrast takes its own part of them.

    Parameters
    ----------
    rows : DataFrame, shape (n, ...)
        Without blanks in what is adjusted for, or with none but blanks.
    """
    levels: dict[str, Codes] = {}
    numbers: dict[str, Floats] = {}
    for name, term in TERM_OF.items():
        if rows[name].isna().all():
            continue
        if isinstance(term, Category):
            levels[name] = pd.factorize(rows[name].astype(str).to_numpy(object), sort=True)[0]
        else:
            number = rows[name].to_numpy(float)
            numbers[name] = number - np.median(number)
    return Columns(levels, numbers, _time(rows["received_date"]))


def _time(received: pd.Series) -> Floats:
    """A natural spline of the day of receipt, its columns of SD 1 and free of one another, shape (n, k)."""
    day = (received - received.min()).dt.days.to_numpy(float)
    if len(np.unique(day)) < 2 * TIME_DF:
        return np.zeros((len(day), 0))
    curve = spline_through(day, TIME_DF).basis(day)
    free, size = np.linalg.qr(curve - curve.mean(axis=0))
    told = np.abs(np.diag(size)) > 1e-8 * np.abs(size).max()
    return np.asarray(free[:, told] * np.sqrt(len(day)))


def helpers(rows: pd.DataFrame, arms: Sequence[Floats]) -> Floats:
    """What helps to fill blanks besides the covariates themselves: outcome, time, second damage, every arm."""
    days = (rows["received_date"] - rows["received_date"].min()).dt.days.to_numpy(float)
    spread = days.std()
    parts = [
        rows["first_boot"].to_numpy(float),
        np.nan_to_num(days / spread) if spread > 0 else np.zeros(len(rows)),
        rows["second_damage_seen"].eq("yes").to_numpy(float),
    ]
    for arm in arms:
        known = ~np.isnan(arm)
        parts += [np.where(known, arm, 0.0), known.astype(float)]
    return np.column_stack(parts)
