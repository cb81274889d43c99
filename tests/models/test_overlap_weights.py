"""Arms compared on boards alike: against ordinary fits, by hand, and on data whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit

from analysis.models import ridge_logit
from analysis.models.logit import fit_logit
from analysis.models.overlap_weights import (
    Arms,
    compare,
    effective_n,
    imbalance,
    imbalance_of_levels,
    models_of,
    propensity,
    stratified_samples,
    variance_if_equal,
)
from analysis.models.ridge_logit import fit_many


def confounded(n: int, effect: float, seed: int = 3) -> tuple[Arms, float]:
    """Hard boards get the technique more often; and its true difference in the overlap population."""
    rng = np.random.default_rng(seed)
    hard = rng.normal(size=n)
    e = expit(1.2 * hard)
    arm = (rng.random(n) < e).astype(float)
    base = 0.4 - 1.0 * hard
    y = (rng.random(n) < expit(base + effect * arm)).astype(float)
    h = e * (1 - e)
    truth = np.average(expit(base + effect) - expit(base), weights=h)
    return Arms(y, arm, np.column_stack([np.ones(n), hard])), float(truth)


def whole(arms: Arms):
    return compare(arms, models_of(arms), np.ones((1, len(arms.y))))


@pytest.mark.parametrize("effect", [0.0, 0.8])
def test_the_true_difference_is_found_where_the_plain_one_misleads(effect):
    arms, truth = confounded(40_000, effect)
    plain = arms.y[arms.arm == 1].mean() - arms.y[arms.arm == 0].mean()
    found = whole(arms)
    assert plain < truth - 0.1
    assert found.difference[0] == pytest.approx(truth, abs=0.015)
    assert found.robust[0] == pytest.approx(truth, abs=0.015)


def test_without_a_prior_the_weights_balance_every_column_exactly():
    arms, _ = confounded(300, 0.5)
    arms = Arms(arms.y, arms.arm, arms.x, np.inf)
    e = propensity(arms, models_of(arms))
    h = np.where(arms.arm == 1, 1 - e, e)
    assert imbalance(arms, np.ones(300)) > 0.5
    assert imbalance(arms, h) < 1e-6


def test_row_order_and_units_do_not_matter():
    arms, _ = confounded(200, 0.5)
    arms = Arms(arms.y, arms.arm, arms.x, np.inf)
    order = np.random.default_rng(1).permutation(200)
    moved = Arms(arms.y[order], arms.arm[order], arms.x[order] * [1.0, 1000.0], np.inf)
    assert whole(moved).difference[0] == pytest.approx(whole(arms).difference[0], abs=1e-7)
    assert whole(moved).robust[0] == pytest.approx(whole(arms).robust[0], abs=1e-7)


def test_the_arms_exchanged_turn_the_sign():
    arms, _ = confounded(200, 0.5)
    turned = Arms(arms.y, 1 - arms.arm, arms.x)
    assert whole(turned).difference[0] == pytest.approx(-whole(arms).difference[0], abs=1e-3)


def test_many_weighted_fits_are_the_single_ones():
    arms, _ = confounded(150, 0.5)
    weights = stratified_samples(np.zeros(150, dtype=int), 4, np.random.default_rng(2))
    found = fit_many(arms.x, arms.y, weights, np.inf)
    for one, w in zip(found, weights, strict=True):
        single = fit_logit(arms.x, arms.y, ("i", "hard"), weights=w)
        np.testing.assert_allclose(one, single.coefficients, atol=1e-7)


def test_a_level_with_one_outcome_only_stays_finite():
    x = np.column_stack([np.ones(40), np.arange(40) < 8])
    y = np.where(np.arange(40) < 8, 1.0, np.arange(40) % 2)
    found = fit_many(x, y, np.ones((1, 40)))[0]
    assert 1 < found[1] < 5


def test_samples_keep_the_jobs_of_every_technician():
    who = np.array([0] * 5 + [1] * 9 + [-1] * 2)
    samples = stratified_samples(who, 50, np.random.default_rng(5))
    for person in (0, 1, -1):
        assert (samples[:, who == person].sum(axis=1) == (who == person).sum()).all()
    assert samples.std() > 0


def test_the_variance_of_equal_arms_by_hand():
    """16 boards, half of each kind booted: the outcome model takes up 4 / 4 and, with a prior of SD 1, 4 / (4 + 1)."""
    kind, won = np.repeat([-1.0, 1.0], 8), np.tile([0.0, 1.0], 8)
    arms = Arms(won, np.repeat([0.0, 1.0, 0.0, 1.0], 4), np.column_stack([np.ones(16), kind]), 1.0)
    # Of all squared errors, 16 / 4 / 4, over (16 / 4)^2; and 16 boards where 1.8 are taken up.
    assert variance_if_equal(arms, np.full(16, 0.5)) == pytest.approx(1 / 16 * 16 / (16 - 1.8))


def test_effective_numbers():
    assert effective_n(np.ones(7)) == pytest.approx(7)
    assert effective_n(np.array([1.0, 1.0, 0.0, 0.0])) == pytest.approx(2)


def test_levels_are_as_far_apart_as_a_column_for_each():
    arms, _ = confounded(300, 0.5)
    weight, level = np.random.default_rng(4).random(300), np.arange(300) % 4
    columns = np.column_stack([np.ones(300), level[:, None] == np.arange(4)])
    by_column = imbalance(Arms(arms.y, arms.arm, columns), weight)
    assert imbalance_of_levels(arms, weight, level) == pytest.approx(by_column, abs=1e-12)
    assert imbalance_of_levels(arms, weight, np.zeros(300, dtype=int)) == 0.0


def test_a_few_fits_are_the_same_with_curvatures_kept_as_with_new_ones(monkeypatch):
    arms, _ = confounded(400, 2.0)
    once = np.ones((1, 400))
    kept = fit_many(arms.x, arms.y, once, 2.5)
    monkeypatch.setattr(ridge_logit, "FEW", 0)
    np.testing.assert_allclose(kept, fit_many(arms.x, arms.y, once, 2.5), atol=1e-9)


def test_many_long_fits_are_the_same_as_with_a_curvature_for_every_step(monkeypatch):
    arms, _ = confounded(6_000, 0.5)
    rare = np.arange(6_000) < 8  # of hardly any rows, whose samples differ by far
    x = np.column_stack([arms.x, rare])
    y = (np.random.default_rng(8).random((20, 6_000)) < np.where(rare, 0.9, 0.4)).astype(float)
    kept = fit_many(x, y, np.ones_like(y), 2.5)
    monkeypatch.setattr(ridge_logit, "LONG", 10**9)
    np.testing.assert_allclose(kept, fit_many(x, y, np.ones_like(y), 2.5), atol=1e-7)
