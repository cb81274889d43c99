"""The pooled model: direction, invariance, what it refuses, what a blank and an unseen family do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analysis.errors import ModelError, UnconvergedError, UnseenLevelError
from analysis.models import pooled_design
from analysis.models.pooled import fit_pooled
from analysis.models.terms import Category, Number

TERMS = (
    Category("damage", "damage", {"drop": "drop", "liquid": "liquid"}),
    Number("age", "age", "years"),
    Category("family", "family"),
)


def _rows(n: int = 240, rng_seed: int = 1) -> tuple[pd.DataFrame, np.ndarray]:
    rng = np.random.default_rng(rng_seed)
    damage = rng.choice(np.array(["drop", "liquid", None], dtype=object), n, p=[0.5, 0.4, 0.1])
    age = np.where(rng.random(n) < 0.1, np.nan, rng.integers(1, 9, n).astype(float))
    family = rng.choice(np.array(["A", "B", "C"], dtype=object), n)
    eta = 1.5 - 1.0 * (damage == "liquid") - 0.25 * np.nan_to_num(age, nan=4) + 0.8 * (family == "A")
    return pd.DataFrame({"damage": damage, "age": age, "family": family}), (rng.random(n) < expit(eta)).astype(float)


ROWS, Y = _rows()
FIT = fit_pooled(ROWS, Y, TERMS, "family")


def _intake(**facts: object) -> pd.DataFrame:
    return pd.DataFrame([{"damage": "drop", "age": 3.0, "family": "A"} | facts])


def test_effects_have_the_planted_direction():
    chance = FIT.chances
    assert chance(_intake(damage="liquid")).mean < chance(_intake()).mean
    assert chance(_intake(age=7.0)).mean < chance(_intake(age=2.0)).mean
    assert chance(_intake(family="B")).mean < chance(_intake()).mean
    ages = pd.concat([_intake(age=float(age)) for age in range(1, 9)])
    assert (np.diff(chance(ages).mean) < 0).all()


def test_an_effect_varies_as_within_and_between_the_points_of_the_prior_sd():
    """Law of total variance: the mean of the variances and the variance of the means."""
    told, within = FIT.effects(), FIT.weight @ np.diagonal(FIT.covariance, axis1=1, axis2=2)
    between = FIT.weight @ FIT.location**2 - (FIT.weight @ FIT.location) ** 2
    assert (between / within).max() > 1e-3
    np.testing.assert_allclose(told["sd"] ** 2, within + between, rtol=1e-9)
    np.testing.assert_allclose(told["mean"], (FIT.weight[:, None] * FIT.location).sum(axis=0), atol=1e-12)


def test_order_of_rows_and_levels_and_units_do_not_matter():
    order = np.random.default_rng(2).permutation(len(ROWS))
    shuffled = fit_pooled(ROWS.iloc[order], Y[order], TERMS, "family").chances(ROWS)
    months = ROWS.assign(age=ROWS["age"] * 12)
    other_unit = fit_pooled(months, Y, TERMS, "family").chances(months)
    for found in (shuffled, other_unit):
        for name in ("mean", "low", "high"):
            np.testing.assert_allclose(getattr(found, name), getattr(FIT.chances(ROWS), name), atol=1e-8)


def test_equal_rows_taken_together_and_one_by_one_make_the_same_fit(monkeypatch):
    at = np.random.default_rng(7).integers(0, len(ROWS), len(ROWS))
    drawn = ROWS.iloc[at].reset_index(drop=True)
    together = fit_pooled(drawn, Y[at], TERMS, "family")
    assert len(together.design.equal(drawn, Y[at].astype(int))[0]) < len(drawn)
    monkeypatch.setattr(pooled_design, "equal_rows", lambda columns: (np.arange(len(columns[0])),) * 2)
    plain = fit_pooled(drawn, Y[at], TERMS, "family")
    for name in ("weight", "location", "covariance"):
        np.testing.assert_allclose(getattr(together, name), getattr(plain, name), rtol=0, atol=1e-8)


def test_turning_the_outcome_turns_the_chance():
    turned = fit_pooled(ROWS, 1 - Y, TERMS, "family").chances(ROWS)
    straight = FIT.chances(ROWS)
    np.testing.assert_allclose(turned.mean, 1 - straight.mean, atol=1e-8)
    np.testing.assert_allclose(turned.low, 1 - straight.high, atol=1e-8)


def test_chances_lie_inside_their_interval_and_narrow_with_more_jobs():
    found = FIT.chances(ROWS)
    assert ((found.low < found.mean) & (found.mean < found.high)).all()
    many, y = _rows(2400)
    more = fit_pooled(many, y, TERMS, "family").chances(_intake())
    assert more.high - more.low < 0.5 * (FIT.chances(_intake()).high - FIT.chances(_intake()).low)


def test_a_family_never_seen_is_less_certain_and_a_damage_never_seen_is_refused():
    unseen, seen = FIT.chances(_intake(family="Z")), FIT.chances(_intake(family="B"))
    assert unseen.unseen_family.all()
    assert not seen.unseen_family.any()
    assert unseen.high - unseen.low > seen.high - seen.low
    with pytest.raises(UnseenLevelError, match="damage 'bend' was never seen") as told:
        FIT.chances(_intake(damage="bend"))
    assert "drop, liquid" in str(told.value)
    with pytest.raises(UnseenLevelError, match=r"age: 9\.5 years lies outside") as told:
        FIT.chances(_intake(age=9.5))
    assert "1 to 8 years" in str(told.value)
    mixed = pd.concat([_intake(), _intake(damage="bend"), _intake(age=0.5), _intake(family="Z")])
    assert FIT.design.seen(mixed).tolist() == [True, False, False, True]


def test_a_blank_is_a_level_of_its_own_and_a_number_s_blank_is_the_median_with_an_indicator():
    blank = FIT.design.matrix(_intake(age=np.nan, damage=None))[0]
    median = FIT.design.matrix(_intake(age=float(np.nanmedian(ROWS["age"])), damage=None))[0]
    differ = [name for name, a, b in zip(FIT.design.names, blank, median, strict=True) if abs(a - b) > 1e-12]
    assert differ == ["age: not recorded"]
    level = FIT.design.names.index("damage: not recorded")
    assert blank[level] - FIT.design.matrix(_intake())[0][level] == pytest.approx(1)


def test_a_blank_never_seen_at_fitting_widens_the_interval_and_nothing_else():
    full = ROWS.dropna()
    fit = fit_pooled(full, Y[full.index], TERMS, "family")
    told, blank = fit.chances(_intake()), fit.chances(_intake(damage=None))
    assert blank.high - blank.low > told.high - told.low
    column = list(fit.design.names).index("damage: not recorded")
    assert fit.location[:, column] == pytest.approx(0, abs=1e-9)
    assert np.sqrt(fit.covariance[:, column, column]) == pytest.approx(fit.sigma)


def test_separated_rows_give_a_settled_fit():
    rows = pd.DataFrame({"damage": ["drop"] * 30 + ["liquid"] * 30, "age": [2.0, 3.0] * 30, "family": ["A"] * 60})
    fit = fit_pooled(rows, [1.0] * 30 + [0.0] * 30, TERMS, "family")
    assert fit.converged
    found = fit.chances(_intake(age=2.0))
    assert 0.8 < found.mean[0] < 1


def test_a_finer_grid_gives_the_same_chances():
    fine = fit_pooled(ROWS, Y, TERMS, "family", points=(40, 32)).chances(ROWS)
    for name in ("mean", "low", "high"):
        np.testing.assert_allclose(getattr(FIT.chances(ROWS), name), getattr(fine, name), atol=0.003)


def test_faulty_outcomes_are_refused_and_unsettled_fits_not_shown():
    with pytest.raises(ModelError, match="0 or 1"):
        fit_pooled(ROWS, np.append(Y[:-1], np.nan), TERMS)
    with pytest.raises(ModelError, match="one outcome"):
        fit_pooled(ROWS, Y[:-1], TERMS)
    with pytest.raises(ModelError, match="no rows"):
        fit_pooled(ROWS.head(0), [], TERMS)
    with pytest.raises(UnconvergedError):
        replace(FIT, converged=False, reason="made up").chances(_intake())


def test_a_term_never_recorded_is_left_out_by_name():
    fit = fit_pooled(ROWS.assign(age=np.nan), Y, TERMS, "family")
    assert fit.design.left_out == ("age",)
    assert 0 < fit.chances(_intake(age=77.0)).mean[0] < 1
