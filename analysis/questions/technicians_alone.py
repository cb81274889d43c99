"""Technicians who cannot be told from their boards: they alone have a kind of board, and no other.

They are named and not compared; their jobs help to learn the case mix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.design import fit_design
from analysis.models.linked_groups import linked_groups
from analysis.models.terms import NOT_RECORDED, Category, Number, Term
from analysis.questions.terms import EXPECTED

Texts = NDArray[np.object_]

RECORDED = "recorded"


@dataclass(frozen=True)
class Alone:
    """Technicians who share no board of some kind with those compared.

    Parameters
    ----------
    codes : tuple of str
        Sorted; several when they share such boards with one another only.
    fact : str
        Plain name of the board fact that sets them apart; empty when it takes several facts together.
    kinds : tuple of str
        What that fact is on their boards.
    """

    codes: tuple[str, ...]
    fact: str
    kinds: tuple[str, ...]


def set_apart(rows: pd.DataFrame, group: Texts) -> tuple[tuple[str, ...], tuple[Alone, ...]]:
    """Who can be compared with one another, and who cannot.

    Parameters
    ----------
    rows : DataFrame, shape (n, ...)
        Jobs of technicians with enough of them; nobody else's, since jobs of unlike people link no one.
    group : ndarray of str, shape (n,)
        Their technicians.

    Returns
    -------
    compared : tuple of str
        Codes; empty when no two can be compared.
    alone : tuple of Alone
    """
    # Every fact counts, also one that the case mix has no room for: nothing tells the owner of a kind of board from it.
    design = fit_design(rows, EXPECTED, np.zeros(len(rows)), budget=len(rows))
    sets = linked_groups(group, design.matrix(rows))
    compared = sets[0] if sets and len(sets[0]) > 1 else ()
    inside = np.isin(group, compared)
    out = []
    for codes in sets:
        if codes != compared:
            own = np.isin(group, codes)
            others = inside if compared else ~own
            out.append(Alone(codes, *_fact(rows, own, others)))
    return compared, tuple(sorted(out, key=lambda each: each.codes))


def _fact(rows: pd.DataFrame, own: NDArray[np.bool_], others: NDArray[np.bool_]) -> tuple[str, tuple[str, ...]]:
    """The first fact of which these jobs have nothing in common with the others', and what it is on these."""
    for term in EXPECTED:
        mine, theirs = _kinds(rows[own], term), _kinds(rows[others], term)
        if mine.isdisjoint(theirs):
            return term.label.removeprefix("each year of "), tuple(sorted(mine))
    return "", ()


def _kinds(rows: pd.DataFrame, term: Term) -> set[str]:
    """What a fact is on these rows, in plain words; a number is recorded or not."""
    if isinstance(term, Category):
        values = rows[term.column].astype(object)
        found = {str(level) for level in values.dropna().unique()}
        return {term.level_labels.get(level, level) for level in found} | ({NOT_RECORDED} if values.hasnans else set())
    assert isinstance(term, Number)
    return {NOT_RECORDED if blank else RECORDED for blank in rows[term.column].isna().unique()}
