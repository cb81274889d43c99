"""Numbers of successes of thousands of jobs from cumulants, against the exact distributions they stand for."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit

from analysis.models import poisson_binomial
from analysis.models.large_counts import MANY, SPREAD, cumulants, mixed_pmf

# Mean and spread of the jobs' log odds, jobs (the variance comes to a little over the least one), spread of the draws.
SHOPS = {
    "even_odds": (0.0, 0.3, MANY, 0.05),
    "as_on_a_bench": (2.0, 1.0, MANY, 0.05),
    "hardly_a_failure": (3.0, 0.5, 4_800, 0.05),
    "hardly_a_success": (-3.3, 1.5, 4_000, 0.05),
    "sure_and_hopeless": (1.0, 5.0, 2_900, 0.3),
    "an_unsure_model": (2.0, 1.0, 3_000, 0.4),
}


def drawn(shop):
    mean, spread, n, unsure = SHOPS[shop]
    rng = np.random.default_rng(n)
    return expit(rng.normal(mean, spread, n) + rng.normal(0, unsure, (25, 1)))


@pytest.mark.parametrize("shop", SHOPS)
def test_averaged_distributions_are_the_exact_ones_to_the_digits_stated(shop):
    p = drawn(shop)
    found = cumulants(iter(np.array_split(p, 7, axis=1)), len(p))
    assert SPREAD <= found[1].min() <= (MANY / 4 if shop == "even_odds" else 1.3 * SPREAD), "near the edge of use"
    got, want = mixed_pmf(found, p.shape[1]), poisson_binomial.pmf(p).mean(axis=0)
    assert got.shape == want.shape
    assert (got >= 0).all()
    assert got.sum() == pytest.approx(1, abs=1e-12)
    assert got @ np.arange(len(got)) == pytest.approx(p.sum() / len(p), abs=1e-3)
    for exact, fast in ((np.cumsum(want), np.cumsum(got)), (np.cumsum(want[::-1]), np.cumsum(got[::-1]))):
        np.testing.assert_allclose(fast, exact, atol=5e-6)
        for least, share in ((1e-2, 5e-4), (1e-4, 6e-3), (1e-6, 3e-2)):
            told = (exact >= least) & (exact <= 0.5)
            np.testing.assert_allclose(fast[told], exact[told], rtol=share)
    for level in (0.95, 0.998):
        assert poisson_binomial.central_range(got, level) == poisson_binomial.central_range(want, level)


def test_cumulants_are_those_of_the_exact_distribution():
    p = np.random.default_rng(1).random((3, 40))
    k = np.arange(41)
    for (mean, second, third, fourth), mass in zip(cumulants(iter([p]), 3).T, poisson_binomial.pmf(p), strict=True):
        assert mean == pytest.approx(mass @ k)
        away = k - mean
        assert second == pytest.approx(mass @ away**2)
        assert third == pytest.approx(mass @ away**3)
        assert fourth == pytest.approx(mass @ away**4 - 3 * second**2)
