"""The penalised fit: by hand, under separation, invariant, and refusing what it cannot do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

from analysis.errors import ModelError, UnconvergedError
from analysis.models import penalised
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
    assert term_test(x, y, (1, 2), "two", fitted=fit).p == pytest.approx(term_test(x, y, (1, 2), "two").p, abs=1e-9)


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


def test_aliased_and_constant_columns_are_named():
    x, y, _ = sample()
    with pytest.raises(ModelError, match="before them: again, flat"):
        fit_firth(np.column_stack([x, 2 * x[:, 1] - x[:, 2], np.full(len(y), 4.0)]), y, (*"iabc", "again", "flat"))


def test_columns_far_apart_in_size_are_not_taken_for_aliases():
    x, y, names = sample()
    scale = np.array([1, 1e7, 1e-6, 1])
    first, scaled = fit_firth(x, y, names), fit_firth(x * scale, y, names)
    np.testing.assert_allclose(scaled.coefficients * scale, first.coefficients, atol=1e-9)
    np.testing.assert_allclose(scaled.high * scale, first.high, atol=1e-7)
    np.testing.assert_allclose(scaled.se_augmented * scale, first.se_augmented, atol=1e-9)
    np.testing.assert_allclose(scaled.loglik, first.loglik + np.log(scale).sum(), atol=1e-9)


def test_an_offset_is_taken_off_the_intercept_and_off_nothing_else():
    """Chances do not change; FLIC keeps the observed rate."""
    x, y, names = sample()
    plain, moved = fit_firth(x, y, names), fit_firth(x, y, names, offset=np.full(len(y), 0.8))
    np.testing.assert_allclose(moved.coefficients - plain.coefficients, [-0.8, 0, 0, 0], atol=1e-9)
    np.testing.assert_allclose(moved.low[1:], plain.low[1:], atol=1e-7)
    assert moved.flic_intercept == pytest.approx(plain.flic_intercept - 0.8, abs=1e-9)
    assert moved.loglik == pytest.approx(plain.loglik, abs=1e-9)


def test_rows_of_no_weight_are_as_good_as_absent():
    x, y, names = sample()
    weights = (np.arange(len(y)) % 3 > 0).astype(float)
    one, two = fit_firth(x, y, names, weights=weights), fit_firth(x[weights > 0], y[weights > 0], names)
    np.testing.assert_allclose(one.coefficients, two.coefficients, atol=1e-9)
    np.testing.assert_allclose(one.se_augmented, two.se_augmented, atol=1e-9)
    wide = np.column_stack([x, weights == 0])
    with pytest.raises(ModelError, match="before them: only unused"):
        fit_firth(wide, y, (*names, "only unused"), weights=weights)


def test_term_tests_take_weights_as_the_fit_does():
    x, y, names = sample(50)
    weights = np.random.default_rng(3).integers(1, 4, 50).astype(float)
    fit = fit_firth(x, y, names, weights=weights)
    assert term_test(x, y, (2,), "x1", weights=weights).p == pytest.approx(fit.p[2], abs=1e-9)


def test_blocks_and_batches_change_nothing(monkeypatch):
    x, y, names = sample(3000, 4)
    whole = fit_firth(x, y, names)
    monkeypatch.setattr("analysis.models.binary.BLOCK_CELLS", 1)
    monkeypatch.setattr("analysis.models.penalised.BATCH_CELLS", 7000)
    parts = fit_firth(x, y, names)
    for name in ("coefficients", "se", "se_augmented", "low", "high", "p", "loglik", "flic_intercept"):
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=1e-9, atol=1e-10)


def test_the_profile_end_found_slowly_is_the_one_found_quickly():
    """Bisection is the fallback; on an easy sample both must agree."""
    x, y, names = sample(40, 2)
    fit = fit_firth(x, y, names)
    data = penalised.Data.of(x, y)
    best, settled = penalised.maximise(data, np.zeros(3), np.ones(3, dtype=bool))
    assert settled
    for j in range(3):
        assert penalised._end_by_bisection(data, best, j, -1.0, 0.95) == pytest.approx(fit.low[j], abs=1e-7)
        assert penalised._end_by_bisection(data, best, j, 1.0, 0.95) == pytest.approx(fit.high[j], abs=1e-7)


def test_the_two_standard_errors_are_different_and_the_augmented_one_is_smaller():
    x, y, names = sample(30)
    fit = fit_firth(x, y, names)
    assert (fit.se_augmented < fit.se).all()


def test_a_wrong_number_of_names_is_refused():
    x, y, _ = sample()
    with pytest.raises(ModelError, match="4 columns were given 2 names"):
        fit_firth(x, y, ("i", "a"))


@pytest.mark.slow
def test_profile_intervals_cover_what_they_say_and_the_estimate_is_unbiased():
    """1,000 samples of 100 jobs, 20 % failures, one rare level: coverage 93–97 %, bias within 3 Monte Carlo errors."""
    truth = np.array([1.2, 0.6, -0.8, 0.4])
    estimates, held = [], []
    for rng_seed in range(1000):
        rng = np.random.default_rng(rng_seed)
        x = np.column_stack([np.ones(100), rng.normal(size=100), rng.random(100) < 0.3, rng.random(100) < 0.15])
        y = (rng.random(100) < expit(x @ truth)).astype(float)
        fit = fit_firth(x, y, ("i", "number", "level", "rare"))
        assert fit.converged
        estimates.append(fit.coefficients)
        held.append((fit.low <= truth) & (truth <= fit.high))
    coverage = np.mean(held, axis=0)
    assert ((coverage > 0.93) & (coverage < 0.97)).all(), coverage
    bias = np.mean(estimates, axis=0) - truth
    error = np.std(estimates, axis=0, ddof=1) / np.sqrt(1000)
    assert (np.abs(bias) < 3 * error).all(), (bias, error)


def some_data(n=60):
    rng = np.random.default_rng(8)
    x = np.column_stack([np.ones(n), rng.random(n) < 0.2, rng.normal(size=(n, 2))]).astype(float)
    y, weights = (rng.random(n) < 0.6).astype(float), rng.integers(1, 4, n).astype(float)
    return penalised.Data.of(x, y, weights, rng.normal(size=n))


def test_the_exact_curvature_is_the_slope_of_the_score():
    data, beta, width = some_data(), np.random.default_rng(1).normal(size=(3, 4)), 1e-5
    told = penalised.exact_curvature(data, penalised.evaluate(data, beta))
    for j, move in enumerate(width * np.eye(4)):
        up, down = (penalised.evaluate(data, beta + sign * move).score for sign in (1, -1))
        np.testing.assert_allclose(told[:, :, j], (down - up) / (2 * width), rtol=1e-7, atol=1e-7)


@pytest.mark.parametrize("cube", [0.0, penalised.CUBE, np.inf])
def test_several_maxima_at_once_are_those_found_one_by_one(monkeypatch, cube):
    monkeypatch.setattr(penalised, "CUBE", cube)  # 0: soon by the exact curvature; infinite: never
    data, rng = some_data(), np.random.default_rng(2)
    start = rng.normal(0, 2, (9, 4))
    free = rng.random((9, 4)) < 0.6
    free[0], free[1] = True, False
    start[free] = 0.0
    many, settled = penalised.climb(data, start, free)
    assert settled.all()
    np.testing.assert_array_equal(many.beta[~free], start[~free])
    monkeypatch.undo()
    for k in range(9):
        one, found = penalised.maximise(data, start[k], free[k])
        assert found
        np.testing.assert_allclose(many.beta[k], one.beta[0], atol=1e-9)
        assert np.abs(np.where(free[k], many.score[k], 0)).max() < 1e-6


def test_what_is_lost_without_columns_does_not_depend_on_what_else_is_asked():
    data = some_data()
    best, _ = penalised.maximise(data, np.zeros(4), np.ones(4, dtype=bool))
    held = [[1], [2, 3], [0], [1, 2, 3]]
    together = penalised.lost_without(data, best, held)
    np.testing.assert_allclose(together, [penalised.lost_without(data, best, [one])[0] for one in held], atol=1e-10)
    assert together[3] > max(together[:2])
