"""Counts of pads: the model that fits is chosen, its errors allow for jobs, stratified tables."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.errors import ModelError
from analysis.models.damage_counts import _start_alpha, fit_counts
from analysis.models.strata_difference import redrawn_p, strata_difference


def counts(n: int, alpha: float, seed: int = 2):
    rng = np.random.default_rng(seed)
    x = np.column_stack([np.ones(n), rng.random(n) < 0.5])
    mu = np.exp(-0.5 + 0.6 * x[:, 1])
    spread = rng.gamma(1 / alpha, alpha, n) if alpha else np.ones(n)
    return x, rng.poisson(mu * spread).astype(float)


def test_poisson_is_kept_where_it_fits():
    x, y = counts(2000, 0.0)
    found = fit_counts(x, y, ("i", "blade"), np.arange(2000))
    assert found.kind == "Poisson"
    assert found.alpha == 0
    assert found.dispersion == pytest.approx(1, abs=0.1)
    assert found.coefficients[1] == pytest.approx(0.6, abs=3 * found.se[1])
    assert found.zeros_expected == pytest.approx(found.zeros, rel=0.05)


def test_counts_that_vary_more_get_the_negative_binomial():
    x, y = counts(2000, 2.0)
    found = fit_counts(x, y, ("i", "blade"), np.arange(2000))
    assert found.kind == "negative binomial"
    assert found.alpha == pytest.approx(2, abs=0.5)
    assert found.over_p < 1e-10
    assert found.coefficients[1] == pytest.approx(0.6, abs=3 * found.se[1])
    ratio, low, high = found.ratio(1)
    assert low < np.exp(0.6) < high
    assert low < ratio < high
    assert found.zeros_expected == pytest.approx(found.zeros, rel=0.05)


def test_the_search_starts_from_the_extra_variance_by_moments():
    """By hand: counts 0 and 6 where 2 are expected give ((4 - 2) + (16 - 2)) / (4 + 4) = 2; as expected, the edge."""
    mu = np.array([2.0, 2.0])
    assert _start_alpha(np.array([0.0, 6.0]), mu) == pytest.approx(2)
    assert _start_alpha(mu, mu) == 0.1


def test_errors_that_allow_for_rows_of_one_job_are_those_of_statsmodels():
    x, y = counts(600, 0.0)
    jobs = np.repeat(np.arange(200), 3)
    found = fit_counts(x, y, ("i", "blade"), jobs)
    peer = sm.GLM(y, x, family=sm.families.Poisson()).fit(cov_type="cluster", cov_kwds={"groups": jobs})
    np.testing.assert_allclose(found.se, peer.bse, rtol=1e-6)
    # A job counted twice tells nothing new.
    twice = fit_counts(np.vstack([x, x]), np.append(y, y), ("i", "blade"), np.append(np.arange(600), np.arange(600)))
    alone = fit_counts(x, y, ("i", "blade"), np.arange(600))
    np.testing.assert_allclose(twice.se, alone.se, rtol=0.01)


def test_what_is_no_count_is_refused():
    x = np.column_stack([np.ones(6), [0, 0, 0, 1, 1, 1]])
    for wrong in ([0, 1, 2, -1, 0, 1], [0, 1, 0.5, 1, 0, 1], [0] * 6):
        with pytest.raises(ModelError, match="whole numbers"):
            fit_counts(x, np.array(wrong, float), ("i", "a"), np.arange(6))


def test_one_table_is_the_plain_difference():
    y = np.array([1, 1, 1, 0, 1, 0, 0, 0.0])
    arm = np.array([1, 1, 1, 1, 0, 0, 0, 0.0])
    found = strata_difference(y, arm, np.zeros(8, int))
    assert found.difference == pytest.approx(0.5)
    assert found.low < 0.5 < found.high
    turned = strata_difference(y, 1 - arm, np.zeros(8, int))
    assert turned.difference == pytest.approx(-0.5)
    assert turned.se == pytest.approx(found.se)


def test_strata_of_one_arm_tell_nothing():
    with pytest.raises(ModelError, match="both arms"):
        strata_difference(np.array([1.0, 0]), np.array([1.0, 0]), np.array([0, 1]))
    with pytest.raises(ModelError, match="both arms"):
        strata_difference(np.array([]), np.array([]), np.array([], dtype=int))


def test_lots_drawn_again_give_the_exact_p():
    # One table of 8 and 8: the two-sided hypergeometric P of 7 against 2, by enumeration.
    y = np.array([1] * 7 + [0] + [1] * 2 + [0] * 6, float)
    arm = np.array([1] * 8 + [0] * 8, float)
    exact = sum(stats.hypergeom(16, 9, 8).pmf(k) for k in range(9) if abs(k - 4.5) >= 2.5)
    got = redrawn_p(y, arm, np.zeros(16, int), 40_000, np.random.default_rng(3))
    assert got == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 40_000))
