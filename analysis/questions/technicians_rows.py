"""Which jobs enter the comparison of technicians, and the design that learns the case mix within each of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.features import Cohort
from analysis.cohort.ledger import Ledger
from analysis.models.design import EVENTS_PER_DF, Design, TooFew, fit_design, too_few
from analysis.models.terms import Category
from analysis.models.within_group import WithinRows
from analysis.questions.technicians_alone import Alone, set_apart
from analysis.questions.terms import EXPECTED

Floats = NDArray[np.float64]
PEOPLE_NEEDED = 2
PERSON = "technician_id"


@dataclass(frozen=True)
class Comparable:
    """Jobs ready to be compared.

    Parameters
    ----------
    rows : DataFrame
        First boots, those without a technician, of a technician with too few jobs or of one who is alone with a kind of
        board included: they help to learn the case mix.
    y : ndarray, shape (n,)
        First-boot success.
    design : Design
        Columns for technicians and for the case mix.
    within : WithinRows
    ledger : Ledger
        From the log to the jobs compared.
    alone : tuple of Alone
        Technicians with enough jobs who cannot be told from their boards.
    """

    rows: pd.DataFrame
    y: Floats
    design: Design
    within: WithinRows
    ledger: Ledger
    alone: tuple[Alone, ...] = ()

    @property
    def compared(self) -> pd.DataFrame:
        """First boots of the technicians who are compared."""
        return self.rows[self.within.compared].reset_index(drop=True)

    @property
    def outcome(self) -> Floats:
        """First-boot success of the jobs compared."""
        return self.y[self.within.compared]


@dataclass(frozen=True)
class NotComparable:
    """Why technicians are not compared.

    Parameters
    ----------
    people : int
        Technicians with enough jobs.
    too_few : TooFew or None
        Too few of the rarer outcome for any case mix.
    ledger : Ledger
        From the log to the jobs of those technicians.
    alone : tuple of Alone
        Technicians with enough jobs who cannot be told from their boards; all of them when no two can be compared.
    lacking : tuple of int
        First boots that the two people with most still lack, for each of them who lacks any.
    """

    people: int
    too_few: TooFew | None
    ledger: Ledger
    alone: tuple[Alone, ...] = ()
    lacking: tuple[int, ...] = ()


def people_with_enough(rows: pd.DataFrame, minimum: int) -> tuple[str, ...]:
    """Codes of technicians with at least so many first boots, sorted."""
    counts = rows[PERSON].dropna().astype(str).value_counts()
    return tuple(sorted(counts.index[counts >= minimum]))


def _ledger(cohort: Cohort, rows: pd.DataFrame, enough: pd.Series, compared: pd.Series, minimum: int) -> Ledger:
    nobody = rows[PERSON].isna()
    return cohort.ledger.then(
        ("technician not recorded", int(nobody.sum())),
        (f"of technicians with fewer than {minimum} such jobs each", int((~nobody & ~enough).sum())),
        ("of technicians who cannot be told from their boards", int((enough & ~compared).sum())),
    )


def _lacking(rows: pd.DataFrame, minimum: int) -> tuple[int, ...]:
    counts = [*rows[PERSON].dropna().astype(str).value_counts().head(PEOPLE_NEEDED), *[0] * PEOPLE_NEEDED]
    return tuple(int(minimum - n) for n in counts[:PEOPLE_NEEDED] if n < minimum)


def comparable(cohort: Cohort, minimum: int) -> Comparable | NotComparable:
    """Choose the jobs and freeze the design.

    Parameters
    ----------
    cohort : Cohort
    minimum : int
        First boots a technician must have to be compared.

    Returns
    -------
    Comparable or NotComparable
        The case mix may have one degree of freedom per five of the rarer outcome, as everywhere; the technicians' own
        columns stand outside that budget, since without room for the mix the comparison would be unfair.
    """
    rows = cohort.first_boots.reset_index(drop=True)
    people = people_with_enough(rows, minimum)
    enough = rows[PERSON].isin(people).fillna(False).astype(bool)
    with_enough = rows[enough]
    linked, alone = set_apart(with_enough, with_enough[PERSON].to_numpy(object)) if people else ((), ())
    # Where no two can be compared, the ledger ends before that, with the jobs of those who have enough.
    compared = rows[PERSON].isin(linked).fillna(False).astype(bool) if linked else enough
    ledger = _ledger(cohort, rows, enough, compared, minimum)
    y = rows["first_boot"].to_numpy(float)
    few = too_few(y[compared.to_numpy()])
    if few or len(linked) < PEOPLE_NEEDED:
        return NotComparable(len(people), few, ledger, alone, _lacking(rows, minimum))
    # Those with fewer jobs share a column, so that no one's handful of jobs is told by a coefficient. Who is alone with
    # a kind of board keeps a column: it takes up what person and board do together.
    group = rows[PERSON].astype(object).where(enough, "not compared").astype(object)
    frame = rows.assign(**{PERSON: group})
    person = Category(PERSON, "technician", min_level=1)
    failures = len(y) - y.sum()
    budget = int(min(y.sum(), failures)) // EVENTS_PER_DF + group.nunique() - 1
    design = fit_design(frame, (person, *EXPECTED), y, budget)
    mix = np.ones(len(design.names), dtype=bool)
    mix[[0, *design.term_columns(person.label)]] = False
    within = WithinRows(design.matrix(frame), mix, group.to_numpy(object), compared.to_numpy(bool))
    return Comparable(rows, y, design, within, ledger, alone)
