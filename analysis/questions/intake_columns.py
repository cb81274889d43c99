"""Which facts the intake prediction may see: derived from the dictionary, never listed by hand.

A feature may enter when every column it is made of is a predictor known at intake or at the assessment before work.
Facts of the device are information; facts of the donor are an option, since the shop chooses the donor.
"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.cohort.features import FEATURE_SOURCES
from analysis.models.terms import Category, Number
from analysis.questions import terms
from analysis.records.dictionary import BY_NAME, Column, KnownAt, Role

Source = tuple[tuple[str, str], ...]
EARLY = (KnownAt.INTAKE, KnownAt.ASSESSMENT)
FAMILY_COLUMN = terms.FAMILY.column

# The second damage enters as seen or not seen: its own codes would be a column each for a handful of jobs.
TOLD_BY_ANOTHER = {"second_damage": "second_damage_seen"}


def may_enter(column: Column) -> bool:
    """Whether a model asked at the counter may see a column."""
    return column.role is Role.PREDICTOR and column.known_at in EARLY


def allowed_features(table: str, sources: Mapping[str, Source] = FEATURE_SOURCES) -> tuple[str, ...]:
    """Features made of nothing but columns of one table that may enter."""
    return tuple(
        feature
        for feature, made_of in sources.items()
        if all(name == table and may_enter(BY_NAME[name][column]) for name, column in made_of)
        and feature not in TOLD_BY_ANOTHER
    )


def _terms_of(table: str) -> tuple[Category | Number, ...]:
    """Terms the models of the review declare of what may enter; a test fails for a column that has none."""
    terms_declared = (term for term in vars(terms).values() if isinstance(term, Category | Number))
    declared = {term.column: term for term in terms_declared}
    return tuple(declared[feature] for feature in allowed_features(table) if feature in declared)


def intake_terms() -> tuple[Category | Number, ...]:
    """Terms of the facts known at intake or assessment, in the order of the dictionary."""
    return _terms_of("jobs")


def donor_terms() -> tuple[Category | Number, ...]:
    """Terms of the donor's facts, to be added once a donor is chosen."""
    return _terms_of("donors")
