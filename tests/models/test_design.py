"""The frozen design: levels, budget, blanks, aliases, refusal of what was never seen."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.errors import ModelError, UnseenLevelError
from analysis.models.design import fit_design, too_few
from analysis.models.independence import independent_columns
from analysis.models.spline import NaturalSpline, spline_through
from analysis.models.terms import NOT_RECORDED, OTHER, Category, Curve, Number


def frame(n=100, rng_seed=0):
    rng = np.random.default_rng(rng_seed)
    return pd.DataFrame(
        {
            "damage": rng.choice(np.array(["drop", "liquid", "heat"], dtype=object), n, p=[0.6, 0.3, 0.1]),
            "age": rng.gamma(3, 1, n),
            "temp": rng.normal(330, 12, n),
        }
    )


Y = np.r_[np.zeros(40), np.ones(60)]


def test_the_most_frequent_level_is_the_reference_and_units_are_kept():
    rows = frame()
    design = fit_design(rows, [Category("damage", "damage"), Number("age", "age", "years", per=2)], Y)
    assert design.names == ("(intercept)", "damage: liquid", "damage: heat", "age")
    x = design.matrix(rows)
    np.testing.assert_allclose(x[:, 3], (rows["age"] - rows["age"].median()) / 2)


def test_blanks_are_a_level_and_numbers_get_an_indicator():
    rows = frame()
    rows.loc[:9, "damage"] = None
    rows.loc[5:14, "age"] = np.nan
    design = fit_design(rows, [Category("damage", "damage"), Number("age", "age")], Y)
    assert f"damage: {NOT_RECORDED}" in design.names
    x = design.matrix(rows)
    at = design.names.index(f"age: {NOT_RECORDED}")
    assert x[5:15, at].tolist() == [1.0] * 10
    assert x[5:15, design.names.index("age")].tolist() == [0.0] * 10


def test_rare_levels_are_pooled_and_an_unseen_one_joins_the_pool_or_is_refused():
    rows = frame()
    rows.loc[0, "damage"], rows.loc[1, "damage"] = "flood", "fire"
    pooled = fit_design(rows, [Category("damage", "damage", min_level=3)], Y)
    assert f"damage: {OTHER}" in pooled.names
    new = pd.DataFrame({"damage": ["quake"]})
    assert pooled.matrix(new)[0, pooled.names.index(f"damage: {OTHER}")] == 1
    strict = fit_design(frame(), [Category("damage", "damage")], Y)
    with pytest.raises(UnseenLevelError, match=r"^damage 'quake' was never seen by the model") as told:
        strict.matrix(new)
    assert told.value.todo == "No chance can be given for it; jobs of this kind must first be in the log."


@pytest.mark.parametrize("term", [Number("temp", "temperature", "°C"), Curve("temp", "temperature", "°C")])
def test_a_number_out_of_range_is_refused_by_name_when_asked(term):
    design = fit_design(frame(), [term], Y)
    new = pd.DataFrame({"temp": [500.0]})
    design.matrix(new)
    with pytest.raises(UnseenLevelError, match="temperature 500 °C lies outside"):
        design.matrix(new, strict=True)


def test_the_budget_skips_a_large_term_names_it_and_goes_on():
    terms = [Number("age", "age"), Category("damage", "damage"), Number("temp", "temperature")]
    design = fit_design(frame(), terms, Y, budget=2)
    assert [t.label for t in design.terms] == ["age", "temperature"]
    assert [(item.label, item.df) for item in design.left_out] == [("damage", 2)]


def test_a_category_that_shrinks_pools_its_rarest_levels_rather_than_being_left_out():
    rows = frame()
    rows.loc[:4, "damage"] = "bend"
    damage = Category("damage", "damage", shrinks=True)
    whole = fit_design(rows, [damage], Y, budget=3)
    assert whole.names[1:] == ("damage: liquid", "damage: heat", "damage: bend")
    two = fit_design(rows, [damage, Number("age", "age")], Y, budget=2)
    assert two.names[1:] == ("damage: liquid", f"damage: {OTHER}")
    assert two.behind[f"damage: {OTHER}"] == rows["damage"].isin(["heat", "bend"]).sum()
    one = fit_design(rows, [damage], Y, budget=1)
    assert one.names[1:] == (f"damage: {OTHER}",)
    rows.loc[90:, "damage"] = None
    blank = fit_design(rows, [damage], Y, budget=1)
    assert blank.matrix(rows)[90:, 1].tolist() == [1.0] * 10
    assert fit_design(rows, [damage], Y, budget=0).names == ("(intercept)",)


def test_the_default_budget_is_one_in_five_of_the_rarer_outcome():
    assert fit_design(frame(), [Number("age", "age")], Y).budget == 8


def test_constant_and_aliased_columns_are_named_and_take_no_budget():
    rows = frame()
    rows["flat"], rows["again"] = 1.0, rows["age"] * 3
    terms = [Number("flat", "flat"), Number("age", "age"), Number("again", "again"), Number("temp", "temperature")]
    design = fit_design(rows, terms, Y, budget=2)
    assert design.names == ("(intercept)", "age", "temperature")
    assert {item.label for item in design.left_out} == {"flat", "again"}
    assert design.term_columns("temperature") == (2,)


def test_the_design_does_not_depend_on_the_rows_it_is_applied_to():
    rows = frame()
    design = fit_design(rows, [Category("damage", "damage"), Number("age", "age"), Curve("temp", "t")], Y)
    np.testing.assert_allclose(design.matrix(rows.iloc[10:20]), design.matrix(rows)[10:20])


def test_independent_columns_by_hand():
    x = np.array([[1.0, 2.0, 1.0], [1.0, 2.0, 0.0], [1.0, 2.0, 0.0]])
    assert independent_columns(x)[0].tolist() == [True, False, True]


@pytest.mark.parametrize(("successes", "failures", "further"), [(30, 9, 5), (2, 30, 128), (0, 12, None), (0, 0, None)])
def test_too_few_says_how_many_more(successes, failures, further):
    few = too_few(np.r_[np.ones(successes), np.zeros(failures)])
    assert few is not None
    assert few.further_jobs == further


def test_ten_of_each_are_enough():
    assert too_few(np.r_[np.ones(10), np.zeros(10)]) is None


def test_a_natural_spline_is_straight_outside_its_bounds_and_can_be_a_line():
    spline = NaturalSpline((0.0, 1.0, 2.0, 4.0))
    outside = spline.basis([5.0, 6.0, 7.0])
    np.testing.assert_allclose(np.diff(outside, 2, axis=0), 0, atol=1e-9)
    assert spline.df == 3
    np.testing.assert_allclose(spline.basis([0.5, 3.0])[:, 0], [0.125, 0.75])


def test_too_few_different_values_give_fewer_columns_or_a_refusal():
    assert spline_through([1, 1, 1, 2, 2, 3], 3).df < 3
    with pytest.raises(ModelError, match="Too few different values"):
        spline_through([2.0, 2.0], 3)


@pytest.mark.parametrize("term", [Number("age", "age", "years"), Curve("age", "age", "years")])
def test_a_blank_where_none_was_seen_is_refused_not_given_the_median(term):
    design = fit_design(frame(), [term], Y)
    with pytest.raises(UnseenLevelError, match="age is blank"):
        design.matrix(pd.DataFrame({"age": [np.nan]}))


def test_seen_marks_exactly_the_rows_that_would_be_refused():
    rows = frame()
    rows.loc[:4, "temp"] = np.nan
    design = fit_design(rows, [Category("damage", "damage"), Number("age", "age"), Curve("temp", "t")], Y)
    new = pd.DataFrame(
        {
            "damage": ["drop", "quake", None, "heat", "heat"],
            "age": [1.0, 1.0, 1.0, np.nan, 99.0],
            "temp": [330.0, 330.0, 330.0, 330.0, np.nan],
        }
    )
    for strict in (False, True):
        taken = []
        for i in range(len(new)):
            try:
                design.matrix(new.iloc[[i]], strict)
                taken.append(True)
            except UnseenLevelError:
                taken.append(False)
        assert design.seen(new, strict).tolist() == taken
    assert taken == [True, False, False, False, False]
    assert design.seen(new).tolist() == [True, False, False, False, True]


@pytest.mark.parametrize("values", [["a"], [], ["a", "a", "a", "a"], [None, None, None, None]])
def test_a_column_without_variation_is_left_out_and_named(values):
    rows = pd.DataFrame({"damage": pd.Series(values, dtype=object), "age": np.full(len(values), np.nan)})
    terms = [Category("damage", "damage"), Number("age", "age"), Curve("age", "curve of age")]
    design = fit_design(rows, terms, np.zeros(len(rows)), budget=9)
    assert design.names == ("(intercept)",)
    assert [item.label for item in design.left_out] == ["damage", "age", "curve of age"]
    assert design.matrix(rows).shape == (len(rows), 1)


def test_codes_keep_their_text_whatever_their_type():
    rows = pd.DataFrame({"band": pd.Categorical(["1", "2", "1", "3"] * 5), "flag": [1.0, 0.0, np.nan, 1.0] * 5})
    design = fit_design(rows, [Category("band", "band"), Category("flag", "flag", reference="0.0")], Y[:20], budget=9)
    assert design.names == ("(intercept)", "band: 2", "band: 3", "flag: 1.0")
    assert [item.label for item in design.left_out] == ["flag: not recorded"]  # neither band 2 nor flag 1.0


def test_a_curve_through_few_settings_is_made_simpler_never_cut_in_part():
    rng = np.random.default_rng(4)
    rows = pd.DataFrame({"temp": rng.choice([300.0, 330.0, 360.0], 100), "same": np.nan})
    rows["high"] = (rows["temp"] == 360) * 1.0
    flat = fit_design(rows, [Curve("temp", "t")], Y)
    assert flat.names == ("(intercept)", "t (curve 1)", "t (curve 2)")
    # With one of the three settings already told by another column, only a line is left.
    design = fit_design(rows, [Number("high", "high"), Curve("temp", "t")], Y)
    assert design.names == ("(intercept)", "high", "t (curve 1)")
    assert not design.left_out


def test_the_design_does_not_depend_on_row_order():
    rows = frame(400)
    order = np.random.default_rng(5).permutation(400)
    terms = [Category("damage", "damage"), Curve("temp", "t")]
    one = fit_design(rows, terms, np.tile(Y, 4))
    two = fit_design(rows.iloc[order], terms, np.tile(Y, 4))
    assert one == two
