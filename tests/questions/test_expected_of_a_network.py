"""What thousands of jobs should have given is what the exact distribution says."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.models import large_counts
from analysis.questions import expected
from analysis.records.log import Log


@pytest.fixture(scope="module")
def cohort():
    return build_cohort(Log.from_tables(dict(simulate(Shop(), 11).tables)))


@pytest.fixture
def parts(cohort, monkeypatch):
    """A log five times over, by models of two days, with fewer draws."""
    monkeypatch.setattr(expected, "DRAWS", 100)
    models = [expected.fit_expected(cohort, pd.Timestamp(day)) for day in ("2023-01-01", "2024-01-01")]
    return [(m, pd.concat([cohort.first_boots[m.design.seen(cohort.first_boots)]] * 5)) for m in models]


def test_thousands_of_jobs_under_two_models_have_the_exact_distribution(parts, monkeypatch):
    fast = expected.distribution(parts)
    monkeypatch.setattr(large_counts, "MANY", len(fast))
    exact = expected.distribution(parts)
    assert len(fast) == len(exact) > 4_000
    assert 0 < np.abs(np.cumsum(fast) - np.cumsum(exact)).max() < 5e-6


def test_many_jobs_of_nearly_certain_outcome_are_counted_exactly(parts, monkeypatch):
    monkeypatch.setattr(large_counts, "SPREAD", np.inf)
    kept = expected.distribution(parts)
    monkeypatch.setattr(large_counts, "MANY", len(kept))
    np.testing.assert_array_equal(expected.distribution(parts), kept)


def test_chances_a_few_rows_at_a_time_are_those_of_all_rows(parts):
    model, rows = parts[1]
    together = np.hstack(list(model.few_at_a_time(rows.iloc[:300])))
    np.testing.assert_allclose(together, model.drawn_chances(rows.iloc[:300]), rtol=1e-12)
