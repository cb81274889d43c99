"""The three intervals of a proportion against scipy and statsmodels, over every count of several numbers of jobs."""

from __future__ import annotations

import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from analysis.models.intervals import proportion

COUNTS = [(x, n) for n in (5, 10, 27, 124) for x in range(0, n + 1, 1 if n < 30 else 11)]


@pytest.mark.parametrize(("x", "n"), COUNTS)
def test_exact_and_wilson_are_those_of_scipy_and_statsmodels(x, n):
    for method, by_statsmodels in (("exact", "beta"), ("wilson", "wilson")):
        got = proportion(x, n, method=method)
        told = stats.binomtest(x, n).proportion_ci(0.95, method=method)
        assert (got.low, got.high) == pytest.approx((told.low, told.high), abs=1e-9)
        assert (got.low, got.high) == pytest.approx(proportion_confint(x, n, 0.05, method=by_statsmodels), abs=1e-9)


@pytest.mark.parametrize(("x", "n"), [(x, n) for x, n in COUNTS if 0 < x < n])
def test_jeffreys_is_that_of_statsmodels_away_from_the_edges(x, n):
    """At none and all of n the edge rule of Brown, Cai and DasGupta (2001) holds, which statsmodels does not have."""
    got = proportion(x, n, method="jeffreys")
    assert (got.low, got.high) == pytest.approx(proportion_confint(x, n, 0.05, method="jeffreys"), abs=1e-9)
    beta = stats.beta(x + 0.5, n - x + 0.5)
    assert (got.low, got.high) == pytest.approx((beta.ppf(0.025), beta.ppf(0.975)), abs=1e-9)
