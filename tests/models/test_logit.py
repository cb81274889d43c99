"""The ordinary fit: by hand, its links, and separation found and named."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit

from analysis.errors import ModelError, UnconvergedError
from analysis.models.logit import fit_logit
from analysis.models.separation import separated_columns


def sample(n=200, rng_seed=0):
    rng = np.random.default_rng(rng_seed)
    x = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    return x, (rng.random(n) < expit(0.3 + x[:, 1])).astype(float), ("i", "a", "b")


def test_two_groups_by_hand():
    """3 of 10 against 6 of 8: the log odds ratio is log((6/2) / (3/7)), its variance the sum of the inverse cells."""
    x = np.array([[1.0, 0.0], [1.0, 1.0]])
    fit = fit_logit(x, [0.3, 0.75], ("i", "group"), weights=[10, 8])
    assert fit.coefficients[1] == pytest.approx(np.log((6 / 2) / (3 / 7)), abs=1e-9)
    assert fit.se[1] ** 2 == pytest.approx(1 / 3 + 1 / 7 + 1 / 6 + 1 / 2, abs=1e-8)
    assert fit.covariance[1, 1] == pytest.approx(fit.se[1] ** 2)
    assert (fit.n, fit.events) == (18, 9)


def test_cloglog_of_one_group_by_hand():
    fit = fit_logit(np.ones((1, 1)), [0.4], ("i",), weights=[20], link="cloglog")
    assert fit.coefficients[0] == pytest.approx(np.log(-np.log(0.6)), abs=1e-9)


def test_an_offset_is_taken_off_the_intercept():
    x, y, names = sample()
    plain, shifted = fit_logit(x, y, names), fit_logit(x, y, names, offset=np.full(len(y), 0.7))
    np.testing.assert_allclose(shifted.coefficients - plain.coefficients, [-0.7, 0, 0], atol=1e-9)


def test_a_failure_that_was_certain_tells_nothing():
    # With a chance of exactly 0 its likelihood is 1; half of the other four succeed.
    y, offset = np.array([0.0, 1.0, 0.0, 1.0, 0.0]), np.array([0.0, 0.0, 0.0, 0.0, -800.0])
    fit = fit_logit(np.ones((5, 1)), y, ("(intercept)",), offset=offset)
    np.testing.assert_allclose(fit.coefficients, [0.0], atol=1e-12)
    np.testing.assert_allclose(fit.loglik, 4 * np.log(0.5))


def test_row_order_and_units_change_nothing():
    x, y, names = sample()
    first = fit_logit(x, y, names)
    order = np.random.default_rng(1).permutation(len(y))
    np.testing.assert_allclose(fit_logit(x[order], y[order], names).coefficients, first.coefficients, atol=1e-9)
    scaled = fit_logit(x * np.array([1, 1000, 0.001]), y, names)
    np.testing.assert_allclose(scaled.coefficients * [1, 1000, 0.001], first.coefficients, atol=1e-8)


def test_overlapping_outcomes_are_not_separated():
    x, y, names = sample()
    assert separated_columns(x, y, names) == ()
    assert fit_logit(x, y, names).converged


def test_complete_separation_along_a_number_names_it_alone():
    x, _, names = sample()
    y = (x[:, 2] > 0.2).astype(float)
    assert separated_columns(x, y, names) == ("b",)


def test_quasi_complete_separation_names_the_level_without_a_failure():
    """Every job with the rare level succeeded; the others overlap: only that level has no finite estimate."""
    x, y, names = sample()
    rare = np.arange(len(y)) < 4
    y[rare] = 1.0
    with_rare = np.column_stack([x, rare])
    assert separated_columns(with_rare, y, (*names, "rare")) == ("rare",)
    fit = fit_logit(with_rare, y, (*names, "rare"))
    assert not fit.converged
    with pytest.raises(UnconvergedError, match="rare"):
        fit.shown()


@pytest.mark.parametrize("outcome", [0.0, 1.0])
def test_outcomes_all_alike_are_refused_at_showing(outcome):
    fit = fit_logit(np.ones((6, 1)), np.full(6, outcome), ("(intercept)",))
    assert fit.separated == ("(intercept)",)
    with pytest.raises(UnconvergedError):
        fit.shown()


def test_grouped_rows_with_both_outcomes_cannot_be_split():
    x = np.array([[1.0, 0.0], [1.0, 1.0]])
    assert separated_columns(x, np.array([0.2, 0.9]), ("i", "g")) == ()
    assert separated_columns(x, np.array([0.2, 1.0]), ("i", "g")) == ("g",)


@pytest.mark.parametrize(
    ("x", "y", "told"),
    [
        (np.ones((3, 1)), np.ones(2), "do not match"),
        (np.array([[1.0, 0.0], [1.0, np.nan], [1.0, 1.0]]), np.array([0, 1, 1.0]), "missing"),
        (np.column_stack([np.ones(9), np.arange(9), np.arange(9) * 2.0]), np.arange(9) % 2.0, "before them: c2"),
        (np.column_stack([np.ones(9), np.full(9, 3.0)]), np.arange(9) % 2.0, "before them: c1"),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_words(x, y, told):
    with pytest.raises(ModelError, match=told):
        fit_logit(x, y, tuple(f"c{j}" for j in range(x.shape[1])))


def test_every_level_without_a_failure_is_named():
    x, y, names = sample()
    one, two = np.arange(len(y)) < 4, (np.arange(len(y)) >= 4) & (np.arange(len(y)) < 9)
    y[one], y[two] = 1.0, 0.0
    both = np.column_stack([x, one, two])
    assert separated_columns(both, y, (*names, "one", "two")) == ("one", "two")


def test_complete_separation_by_two_columns_together_names_both():
    rng = np.random.default_rng(2)
    x = np.column_stack([np.ones(300), rng.normal(size=(300, 3))])
    y = (x[:, 1] + x[:, 2] > 0).astype(float)
    assert separated_columns(x, y, ("i", "a", "b", "c")) == ("a", "b")
