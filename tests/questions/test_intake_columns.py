"""Nothing but facts known before work can reach the intake prediction: every declared column is tried."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.features import FEATURE_SOURCES, build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.models.pooled import fit_pooled
from analysis.questions.intake_columns import (
    FAMILY_COLUMN,
    TOLD_BY_ANOTHER,
    allowed_features,
    donor_terms,
    intake_terms,
    may_enter,
)
from analysis.records.dictionary import TABLES, KnownAt, Role
from analysis.records.log import Log

EVERY = [(table.name, column) for table in TABLES for column in table.columns]
SEEN = [term.column for term in (*intake_terms(), *donor_terms())]
FORBIDDEN = ("technician_id", "lot", "guessed_success_pct", "decision", "decline_reason", "fee_basis", "fee_amount")
FORBIDDEN += (
    "donor_cost",
    "outcome",
    "bench_hours",
    "failure_cause",
    "loss_reversible",
    "boot_result",
    "received_date",
)


@pytest.mark.parametrize(("table", "column"), EVERY, ids=lambda each: getattr(each, "name", each))
def test_no_column_enters_but_predictors_known_before_work(table, column):
    through = [f for f in SEEN if (table, column.name) in FEATURE_SOURCES[f]]
    if column.role is not Role.PREDICTOR or column.known_at in (KnownAt.BENCH, KnownAt.CLOSE):
        assert not may_enter(column)
        assert not through
        assert column.name not in SEEN
    elif table in ("jobs", "donors"):
        assert through, f"{column.name} may enter and has no term: declare one in questions/terms.py"


def test_the_forbidden_are_named_as_the_design_names_them():
    names = {column.name for _, column in EVERY}
    for name in FORBIDDEN:
        assert name in names
        assert name not in SEEN
        assert not any(name in (c for _, c in FEATURE_SOURCES[f]) for f in SEEN)


def test_a_bench_column_declared_as_made_of_intake_and_bench_is_refused():
    mixed = {"trick": (("jobs", "device_class"), ("chip_sides", "pad_grade_found"))}
    assert allowed_features("jobs", mixed) == ()
    assert allowed_features("chip_sides") == ()
    assert allowed_features("heat_steps") == ()


def test_donor_facts_are_an_option_and_no_information():
    information = {term.column for term in intake_terms()}
    assert information == {
        "device_class",
        "board_family",
        "device_age_years",
        "intake_damage",
        "prior_rework",
        "underfill",
        "second_damage_seen",
    }
    assert {term.column for term in donor_terms()} == {"donor_age_years", "known_good", "prior_installs_n"}
    assert set(TOLD_BY_ANOTHER.values()) <= information


def test_altering_every_forbidden_column_leaves_the_fit_identical():
    tables = dict(simulate(Shop(jobs=200), 5).tables)
    rows = build_cohort(Log.from_tables(tables)).first_boots
    before = fit_pooled(rows, rows["first_boot"], (*intake_terms(), *donor_terms()), FAMILY_COLUMN)
    rng = np.random.default_rng(0)
    scrambled = rows.copy()
    for name in rows.columns.difference([*SEEN, "first_boot"]):
        scrambled[name] = pd.Series(rows[name].to_numpy()[rng.permutation(len(rows))], index=rows.index)
    after = fit_pooled(scrambled, rows["first_boot"], (*intake_terms(), *donor_terms()), FAMILY_COLUMN)
    assert (before.location == after.location).all()
