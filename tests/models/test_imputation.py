"""Blanks filled with what similar jobs had; pooling by Rubin's rules; E-values."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.errors import ModelError
from analysis.models import imputation
from analysis.models.e_value import e_value
from analysis.models.imputation import impute
from analysis.models.rubin import pool


def table(n: int = 1500, seed: int = 4) -> tuple[pd.DataFrame, pd.DataFrame, np.ndarray]:
    """A table whose blanks depend on what is known, and the whole of it."""
    rng = np.random.default_rng(seed)
    a = rng.normal(size=n)
    b = 1 + a + rng.normal(size=n)
    c = np.where(a + rng.normal(size=n) > 0.5, "hard", "easy").astype(object)
    full = pd.DataFrame({"b": b, "c": c, "key": np.arange(n)})
    gone = rng.random(n) < 0.6 * (a > 0)
    holes = full.assign(b=np.where(gone, np.nan, b))
    holes["c"] = full["c"].mask(rng.random(n) < 0.5 * (a > 0), None)
    return full, holes, a[:, None]


def test_what_is_known_stays_and_what_is_not_is_taken_from_another_row():
    _, holes, helpers = table(300)
    made = impute(holes, ("b", "c"), helpers, 3, np.random.default_rng(1))
    known = holes["b"].notna()
    for one in made:
        pd.testing.assert_series_equal(one.loc[known, "b"], holes.loc[known, "b"])
        assert not one[["b", "c"]].isna().to_numpy().any()
        assert set(one["b"]) <= set(holes["b"].dropna())
        assert set(one["c"]) == {"hard", "easy"}
    assert not made[0]["b"].equals(made[1]["b"])


def test_the_mean_is_right_where_complete_rows_alone_mislead():
    full, holes, helpers = table()
    made = impute(holes, ("b", "c"), helpers, 20, np.random.default_rng(2))
    b = np.mean([one["b"].mean() for one in made])
    hard = np.mean([one["c"].eq("hard").mean() for one in made])
    assert holes["b"].mean() < full["b"].mean() - 0.2
    assert b == pytest.approx(full["b"].mean(), abs=0.08)
    assert holes["c"].dropna().eq("hard").mean() < full["c"].eq("hard").mean() - 0.06
    assert hard == pytest.approx(full["c"].eq("hard").mean(), abs=0.03)


@pytest.mark.parametrize("levels", [1, 3])
def test_rows_found_by_a_tree_lie_as_near_as_those_found_by_looking_at_every_pair(levels, monkeypatch):
    rng = np.random.default_rng(6)
    told = np.r_[rng.normal(size=(300, levels)), np.repeat(rng.normal(size=(20, levels)), 10, axis=0)]
    of, among = told[::3], told[np.arange(len(told)) % 3 > 0]
    apart = np.sort(((of[:, None] - among) ** 2).sum(axis=2), axis=1)[:, :5]
    for pairs in (0, 10**9):
        monkeypatch.setattr(imputation, "MANY_PAIRS", pairs)
        near = imputation._nearest(of, among, 5)
        assert all(len(set(places)) == 5 for places in near.tolist())
        found = np.sort(((of[:, None] - among[near]) ** 2).sum(axis=2), axis=1)
        np.testing.assert_allclose(found, apart, rtol=0, atol=1e-12)


def test_means_and_their_spread_are_the_same_where_rows_are_matched_in_parts(monkeypatch):
    full, holes, helpers = table(8_000)
    found = {}
    for lenders in (400, 10**9):
        monkeypatch.setattr(imputation, "MOST_LENDERS", lenders)
        made = impute(holes, ("b", "c"), helpers, 40, np.random.default_rng(2))
        found[lenders] = np.array([[one["b"].mean(), one["c"].eq("hard").mean()] for one in made])
    parts, all_rows = found[400], found[10**9]
    truth = [full["b"].mean(), full["c"].eq("hard").mean()]
    np.testing.assert_allclose(parts.mean(axis=0), truth, atol=0.03)
    # What the blanks took away is neither understated nor overstated: 400 rows that lend to all differ four times as
    # much between copies. Of 40 copies each the ratio of two equal spreads lies within .65 and 1.55 in 99 % of cases.
    ratio = parts.std(axis=0, ddof=1) / all_rows.std(axis=0, ddof=1)
    assert (ratio > 0.65).all()
    assert (ratio < 1.55).all()


def test_every_row_may_lend_and_every_blank_is_filled_where_rows_are_matched_in_parts(monkeypatch):
    monkeypatch.setattr(imputation, "MOST_LENDERS", 10)
    for blanks in (1, 3, 60):  # fewer blanks than parts, too
        blank = np.zeros(100, dtype=bool)
        blank[:blanks] = True
        target = np.arange(100.0)[:, None]
        columns, own = np.column_stack([np.ones(100), target]), slice(1, 2)
        lent = imputation._match(columns, own, target, blank, np.random.default_rng(1))
        assert lent.shape == (blanks,)
        assert ((lent >= blanks) & (lent < 100)).all()
    assert len(set(lent.tolist())) > 15


def test_the_same_seed_gives_the_same_and_a_column_without_any_value_is_left():
    _, holes, helpers = table(200)
    holes = holes.assign(empty=np.nan)
    one, two = (impute(holes, ("b", "c", "empty"), helpers, 1, np.random.default_rng(9))[0] for _ in range(2))
    pd.testing.assert_frame_equal(one, two)
    assert one["empty"].isna().all()


def test_pooling_by_hand():
    # Estimates 1, 2, 3 with variance 1: within 1, between 1, total 1 + (4/3) * 1.
    found = pool([1, 2, 3], [1, 1, 1], 1e9)
    assert found.estimate == 2
    assert found.se**2 == pytest.approx(7 / 3)
    assert found.df == pytest.approx(2 / (4 / 7) ** 2, rel=1e-6)
    low, high = found.interval()
    assert low < 0 < 2 < high
    assert found.p == pytest.approx(0.24, abs=0.03)
    same = pool([1, 1], [0.25, 0.25], 50)
    assert same.se == 0.5
    assert 47 < same.df < 50


def test_pooling_refuses_what_cannot_be_pooled():
    for estimates, variances in (([1], [1]), ([1, 2], [1, 0]), ([1, 2], [1])):
        with pytest.raises(ModelError, match="two completed data sets"):
            pool(estimates, variances, 10)


def test_e_values_are_the_same_for_a_ratio_and_its_inverse_and_one_for_no_effect():
    assert e_value(2, 1.2, 3).estimate == pytest.approx(2 + np.sqrt(2))
    assert e_value(0.5, 1 / 3, 1 / 1.2).estimate == pytest.approx(e_value(2, 1.2, 3).estimate)
    assert e_value(0.5, 1 / 3, 1 / 1.2).interval == pytest.approx(e_value(2, 1.2, 3).interval)
    assert e_value(1, 0.8, 1.2).estimate == 1
    assert e_value(2, 0.9, 3).interval == 1
    for wrong in ((0, 0, 1), (2, 3, 4), (float("nan"), 1, 2)):
        with pytest.raises(ModelError, match="no E-value"):
            e_value(*wrong)


def test_completing_a_table_leaves_the_table_given_as_it_was():
    _, holes, helpers = table(300)
    before = holes.copy(deep=True)
    impute(holes, ("b", "c"), helpers, 2, np.random.default_rng(1))
    pd.testing.assert_frame_equal(holes, before)
