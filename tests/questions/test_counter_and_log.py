"""What is told at the counter is what the model has seen in the log: every column that may enter, every value."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from analysis.cohort import features
from analysis.cohort.features import FEATURE_SOURCES, intake_features
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.models.pooled_design import fit_pooled_design
from analysis.models.terms import Category, Number
from analysis.questions import intake_form, terms
from analysis.questions.intake_columns import FAMILY_COLUMN, TOLD_BY_ANOTHER, intake_terms
from analysis.questions.intake_form import FACT_COLUMNS, read_intake
from analysis.records.dictionary import JOBS, Choice, Column, Kind, KnownAt, Role
from analysis.records.settings import Settings

EARLY = (KnownAt.INTAKE, Role.PREDICTOR)
CODES = (Choice("client", "the client"), Choice("bench", "the bench"), Choice("unknown", "cannot be told"))
PLANTED = (
    (Column("indicator_red", Kind.YES_NO, *EARLY, ""), Category("indicator_red", "indicator")),
    (Column("screws_lost_n", Kind.INTEGER, *EARLY, "", low=0), Number("screws_lost_n", "screws lost")),
    (Column("found_by", Kind.CHOICE, *EARLY, "", choices=CODES), Category("found_by", "found by")),
)
COLUMNS = (*FACT_COLUMNS, *(column for column, _ in PLANTED))


def _planted_values(n):
    """The demo has no yes/no, whole number or other "unknown" among these columns; a shop's own log may."""
    at = np.arange(n)
    codes = [choice.code for choice in CODES]
    return {
        "indicator_red": pd.array(np.array([True, False, None], dtype=object)[at % 3], dtype="boolean"),
        "screws_lost_n": pd.array(np.array([0, 1, 4, None], dtype=object)[at % 4], dtype="Int64"),
        "found_by": pd.Categorical(np.array([*codes, None], dtype=object)[at % 4], categories=codes),
    }


@pytest.fixture(scope="module")
def of_demo():
    return simulate(Shop(jobs=150), 5).tables["jobs"]


@pytest.fixture
def jobs(of_demo, monkeypatch):
    """Jobs of the demo with the planted columns, which the dictionary then declares and terms let in."""
    for column, term in PLANTED:
        monkeypatch.setitem(JOBS.by_name, column.name, column)
        monkeypatch.setitem(FEATURE_SOURCES, column.name, (("jobs", column.name),))
        monkeypatch.setattr(terms, column.name.upper(), term, raising=False)
    names = tuple(column.name for column in COLUMNS)
    monkeypatch.setattr(features, "INTAKE_COLUMNS", names)
    monkeypatch.setattr(intake_form, "FACT_COLUMNS", COLUMNS)
    monkeypatch.setattr(intake_form, "ASKED", (*COLUMNS, *intake_form.MONEY_COLUMNS))
    return of_demo.assign(**_planted_values(len(of_demo)))


def _as_in_the_file(value):
    if pd.isna(value):
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, int | float | np.number) else str(value)


@pytest.mark.parametrize("column", COLUMNS, ids=lambda column: column.name)
def test_every_value_of_the_log_told_at_the_counter_is_one_the_model_has_seen(jobs, column):
    seen_by = TOLD_BY_ANOTHER.get(column.name, column.name)
    rows = intake_features(jobs)
    fitted = {each.column: each for each in fit_pooled_design(rows, intake_terms(), FAMILY_COLUMN).facts}
    texts = jobs[column.name].map(_as_in_the_file)
    assert len(set(texts)) > 1, "let the invented workshop write it: analysis/demo"
    for at in texts.drop_duplicates().index:
        told = {"intake_damage": "drop"} | ({column.name: texts[at]} if texts[at] else {})
        if column.name == "intake_damage" and not texts[at]:
            continue
        facts = read_intake(told, Settings(), dt.date(2026, 11, 1)).facts
        assert fitted[seen_by].within(fitted[seen_by].look(facts)).all(), f"{column.name} {texts[at]!r}"
        of_log, of_counter = rows.loc[at, seen_by], facts.loc[0, seen_by]
        assert (pd.isna(of_log) and pd.isna(of_counter)) or of_log == of_counter
