"""The penalised fit: by hand, under separation, invariant, and refusing what it cannot do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

from analysis.errors import ModelError, UnconvergedError
from analysis.models.effects import average_difference
from analysis.models.firth import fit_firth, term_test
from analysis.models.logit import fit_logit


def sample(n=120, p=3, rng_seed=0):
    rng = np.random.default_rng(rng_seed)
    x = np.column_stack([np.ones(n), rng.normal(size=(n, p))])
    y = (rng.random(n) < expit(0.5 + x[:, 1])).astype(float)
    return x, y, ("i", *(f"x{j}" for j in range(p)))


def test_one_proportion_is_haldanes_by_hand():
    fit = fit_firth(np.ones((10, 1)), np.array([1.0] * 3 + [0.0] * 7), ("i",))
    assert fit.coefficients[0] == pytest.approx(np.log(3.5 / 7.5), abs=1e-10)


@pytest.mark.parametrize("outcome", [0.0, 1.0])
def test_all_alike_gives_a_finite_estimate(outcome):
    fit = fit_firth(np.ones((8, 1)), np.full(8, outcome), ("i",))
    assert fit.converged
    assert abs(fit.coefficients[0]) == pytest.approx(np.log(8.5 / 0.5), abs=1e-9)


def test_complete_separation_is_finite_here_and_named_by_the_ordinary_fit():
    x = np.column_stack([np.ones(20), np.r_[np.zeros(10), np.ones(10)]])
    y = x[:, 1].copy()
    fit = fit_firth(x, y, ("i", "hot"))
    assert fit.converged
    assert np.isfinite([fit.low[1], fit.coefficients[1]]).all()
    plain = fit_logit(x, y, ("i", "hot"))
    assert not plain.converged
    assert plain.separated == ("hot",) or "hot" in plain.separated
    with pytest.raises(UnconvergedError, match="hot"):
        plain.shown()


def test_row_order_and_units_change_nothing():
    x, y, names = sample()
    first = fit_firth(x, y, names)
    order = np.random.default_rng(1).permutation(len(y))
    scaled = x * np.array([1, 1, 1000, 0.001])
    for other, factor in (
        (fit_firth(x[order], y[order], names), 1),
        (fit_firth(scaled, y, names), [1, 1, 1000, 0.001]),
    ):
        np.testing.assert_allclose(other.coefficients * factor, first.coefficients, atol=1e-9)
        np.testing.assert_allclose(other.low * factor, first.low, atol=1e-7)
        np.testing.assert_allclose(other.p, first.p, atol=1e-9)


def test_weights_are_repetitions():
    x, y, names = sample(40)
    weights = np.random.default_rng(2).integers(1, 4, 40).astype(float)
    repeated = np.repeat(np.arange(40), weights.astype(int))
    one, two = fit_firth(x, y, names, weights=weights), fit_firth(x[repeated], y[repeated], names)
    np.testing.assert_allclose(one.coefficients, two.coefficients, atol=1e-9)
    np.testing.assert_allclose(one.high, two.high, atol=1e-7)
    assert one.n == two.n


def test_flic_makes_the_mean_chance_the_observed_rate():
    x, y, names = sample(60)
    fit = fit_firth(x, y, names)
    assert fit.chance(x).mean() == pytest.approx(y.mean(), abs=1e-12)


def test_intervals_hold_the_estimate_and_agree_with_their_tests():
    x, y, names = sample(80, 5, 3)
    fit = fit_firth(x, y, names)
    assert (fit.low < fit.coefficients).all()
    assert (fit.coefficients < fit.high).all()
    outside = (fit.low > 0) | (fit.high < 0)
    np.testing.assert_array_equal(outside, fit.p < 0.05)


def test_a_term_test_of_one_column_is_its_own_test():
    x, y, names = sample()
    fit = fit_firth(x, y, names)
    assert term_test(x, y, (2,), "x1").p == pytest.approx(fit.p[2], abs=1e-9)
    assert term_test(x, y, (1, 2), "two").df == 2


def test_more_successes_on_one_side_raise_the_coefficient():
    x, y, names = sample(60, 1)
    moved = y.copy()
    moved[np.argmax(np.where(y == 0, x[:, 1], -9))] = 1
    assert fit_firth(x, moved, names).coefficients[1] > fit_firth(x, y, names).coefficients[1]


def test_a_difference_in_points_has_the_sign_of_its_odds_ratio_and_excludes_zero_with_it():
    x, y, names = sample(200)
    x[:, 2] = x[:, 2] > 0
    fit = fit_firth(x, y, names)
    for column, siblings in ((1, ()), (2, (2,))):
        d = average_difference(fit, x, column, siblings)
        assert np.sign(d.points) == np.sign(fit.coefficients[column])
        assert (d.low > 0 or d.high < 0) == (fit.low[column] > 0 or fit.high[column] < 0)
        assert d.low < d.points < d.high


@pytest.mark.parametrize(
    ("x", "y", "told"),
    [
        (np.ones((3, 1)), np.ones(2), "do not match"),
        (np.array([[1.0], [np.nan]]), np.ones(2), "missing"),
        (np.ones((4, 1)), np.array([0, 1, 2, 0]), "between 0 and 1"),
        (np.ones((5, 2)), np.array([0, 1, 0, 1, 0]), "cannot be told apart"),
        (np.ones((1, 2)), np.ones(1), "cannot be told apart"),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_words(x, y, told):
    with pytest.raises(ModelError, match=told):
        fit_firth(x, np.asarray(y, dtype=float), tuple("ab")[: x.shape[1]])


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 2**31 - 1), st.integers(12, 60))
def test_any_small_sample_converges_with_ordered_intervals(rng_seed, n):
    rng = np.random.default_rng(rng_seed)
    x = np.column_stack([np.ones(n), rng.normal(size=n), rng.random(n) < 0.3])
    if np.linalg.matrix_rank(x) < 3:
        return
    fit = fit_firth(x, (rng.random(n) < 0.2).astype(float), ("i", "a", "b"))
    assert fit.converged
    assert (fit.low < fit.coefficients).all()
    assert (fit.coefficients < fit.high).all()
