"""What comparisons of techniques adjust for, as columns of a model, and how wide each may reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.design import fit_design
from analysis.models.ridge_logit import WEAK_SD
from analysis.models.terms import Category, Term
from analysis.questions import terms

Floats = NDArray[np.float64]

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
    "donor_age_years": terms.DONOR_AGE,
    "known_good": terms.TESTED,
    "prior_installs_n": terms.INSTALLS,
}
COVARIATES = tuple(name for name in TERM_OF if name not in ("quarter", "second_damage_seen"))
# Columns with many levels share what they know: one level is rarely more than one log odds off.
GROUP_SD = 1.0
GROUPED = (TECHNICIAN.label, QUARTER.label, terms.FAMILY.label)
NO_LIMIT = 10**6
FEWEST = 5


@dataclass(frozen=True)
class Columns:
    """Everything that may be adjusted for, as columns, for all rows of one completed table.

    Parameters
    ----------
    x : ndarray, shape (n, p)
        The intercept first.
    of : tuple of str
        Column of the rows that each comes from; empty for the intercept.
    prior_sd : ndarray, shape (p,)
        SD of the prior of each, in log odds.
    """

    x: Floats
    of: tuple[str, ...]
    prior_sd: Floats

    def part(self, rows: NDArray[np.bool_], wanted: Sequence[str]) -> tuple[Floats, Floats]:
        """Columns of some rows, shape (m, q), and the SDs of their priors.

        A level with fewer than :data:`FEWEST` of these rows goes with the reference: a column for a row or two explains
        these rows away and teaches nothing.
        """
        x = self.x[rows]
        usual = np.median(x, axis=0)
        chosen = np.array([name in wanted for name in self.of]) & ((x != usual).sum(axis=0) >= FEWEST)
        chosen[0] = True
        return x[:, chosen], self.prior_sd[chosen]


def columns_of(rows: pd.DataFrame) -> Columns:
    """Make the columns of a completed table once; every contrast takes its own part of them.

    Parameters
    ----------
    rows : DataFrame, shape (n, ...)
        Without blanks in what is adjusted for, or with none but blanks.
    """
    design = fit_design(rows, list(TERM_OF.values()), rows["first_boot"].to_numpy(float), budget=NO_LIMIT)
    of, sd = [""] * len(design.names), np.full(len(design.names), WEAK_SD)
    for name, term in TERM_OF.items():
        if design.has(term.label):
            places = list(design.term_columns(term.label))
            sd[places] = GROUP_SD if term.label in GROUPED else WEAK_SD
            for place in places:
                of[place] = name
    return Columns(design.matrix(rows), tuple(of), sd)


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
