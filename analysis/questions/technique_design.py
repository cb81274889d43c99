"""What comparisons of techniques adjust for, as columns of a model, and how wide each may reach."""

from __future__ import annotations

from collections.abc import Sequence

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


def matrix(rows: pd.DataFrame, columns: Sequence[str]) -> tuple[Floats, Floats]:
    """Columns adjusted for, the intercept first, and the SD of the prior of each.

    Parameters
    ----------
    rows : DataFrame
        Without blanks in ``columns``.
    columns : sequence of str

    Returns
    -------
    x : ndarray, shape (n, p)
    prior_sd : ndarray, shape (p,)
    """
    wanted = [term for name, term in TERM_OF.items() if name in columns]
    design = fit_design(rows, wanted, rows["first_boot"].to_numpy(float), budget=NO_LIMIT)
    sd = np.full(len(design.names), WEAK_SD)
    for label in GROUPED:
        if design.has(label):
            sd[list(design.term_columns(label))] = GROUP_SD
    return design.matrix(rows), sd


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
