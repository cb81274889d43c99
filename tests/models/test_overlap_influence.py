"""Variances by formula: against fits made anew, by hand, and against the bootstrap they stand for."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.models.overlap_influence import influences, variances
from analysis.models.overlap_weights import Arms, compare, compared, models_of, stratified_samples, with_arm
from analysis.models.ridge_logit import fit_many
from analysis.questions.technique_samples import BY_FORMULA, NAMES
from tests.models.test_overlap_weights import confounded


def by_weights(arms, models, at, step=1e-4):
    """Slope of every estimate in the frequency of one row, both fits made again."""
    ends = []
    for side in (1, -1):
        weights = np.ones((1, len(arms.y)))
        weights[0, at] += side * step
        both, sd = with_arm(arms)
        chosen = fit_many(arms.x, arms.arm, weights, arms.prior_sd, models.chosen, 1e-12)
        outcome = fit_many(both, arms.y, weights, sd, models.outcome, 1e-12)
        ends.append(compared(arms, chosen, outcome, weights))
    return {name: (getattr(ends[0], name)[0] - getattr(ends[1], name)[0]) / (2 * step) for name in NAMES}


@pytest.mark.parametrize("prior_sd", [2.5, np.inf])
def test_the_influence_of_a_row_is_the_slope_in_its_frequency(prior_sd):
    arms, _ = confounded(200, 0.8)
    arms = Arms(arms.y, arms.arm, arms.x, prior_sd)
    models = models_of(arms)
    found = influences(arms, models)
    for at in (0, 7, 100, 199):
        for name, slope in by_weights(arms, models, at).items():
            assert found[name][at] == pytest.approx(slope, rel=1e-5, abs=1e-9), name


def test_without_anything_to_adjust_for_the_variance_is_that_of_two_shares():
    y, arm = np.repeat([1.0, 0.0, 1.0, 0.0], [30, 20, 10, 40]), np.repeat([1.0, 0.0], [50, 50])
    arms = Arms(y, arm, np.ones((100, 1)), np.inf)
    found = variances(arms, models_of(arms), np.zeros(100, dtype=int))
    assert found["difference"] == pytest.approx(0.6 * 0.4 / 50 + 0.2 * 0.8 / 50)
    assert found["robust"] == pytest.approx(0.6 * 0.4 / 50 + 0.2 * 0.8 / 50)
    assert found["log_failure_ratio"] == pytest.approx(0.6 / (0.4 * 50) + 0.2 / (0.8 * 50))


def test_from_the_size_it_is_used_the_formula_is_what_the_bootstrap_comes_to():
    arms, _ = confounded(BY_FORMULA, 0.8)
    strata = np.random.default_rng(2).integers(0, 6, BY_FORMULA)
    models, draws = models_of(arms), 1000
    drawn = compare(arms, models, stratified_samples(strata, draws, np.random.default_rng(1)))
    for name, variance in variances(arms, models, strata).items():
        # The variance of so many samples is itself off by 4.5 % (one standard error).
        assert getattr(drawn, name).var(ddof=1) / variance == pytest.approx(1, abs=3 * np.sqrt(2 / draws)), name
