"""Intervals of a proportion: edges, coverage worked out exactly, and refusals."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.errors import ModelError
from analysis.models.intervals import proportion, proportion_interval, wilson

METHODS = ("wilson", "exact", "jeffreys")


def test_the_exact_ends_at_none_of_n_by_hand():
    """No success in n: the upper end solves (1 - p)^n = 0.025."""
    assert proportion(0, 20, method="exact").high == pytest.approx(1 - 0.025 ** (1 / 20))
    assert proportion(20, 20, method="exact").low == pytest.approx(0.025 ** (1 / 20))


def test_wilson_solves_its_own_equation():
    one = wilson(7, 30)
    z = stats.norm.isf(0.025)
    for end in (one.low, one.high):
        assert abs(one.rate - end) == pytest.approx(z * np.sqrt(end * (1 - end) / 30))


@pytest.mark.parametrize("method", METHODS)
def test_edges_are_exactly_none_and_all(method):
    for n in (1, 2, 5, 1000):
        assert proportion(0, n, method=method).low == 0.0
        assert proportion(n, n, method=method).high == 1.0


def test_the_jeffreys_end_away_from_the_edge_keeps_its_tail():
    """Brown, Cai and DasGupta's rule moves only the end at the edge."""
    assert proportion(0, 20, method="jeffreys").high == pytest.approx(stats.beta.isf(0.025, 0.5, 20.5))


@pytest.mark.parametrize("method", METHODS)
def test_successes_and_failures_mirror_each_other(method):
    x = np.arange(13)
    low, high = proportion_interval(x, 12, method=method)
    np.testing.assert_allclose(low, (1 - high)[::-1], atol=1e-12)
    assert (np.diff(low) > 0).all()
    assert (np.diff(high) > 0).all()


@pytest.mark.parametrize("method", METHODS)
def test_more_jobs_and_lower_levels_narrow_it(method):
    widths = [np.subtract(*proportion_interval(3 * k, 10 * k, method=method)[::-1]) for k in (1, 4, 16)]
    assert widths[0] > widths[1] > widths[2]
    assert np.subtract(*proportion_interval(3, 10, 0.8, method)[::-1]) < widths[0]


@pytest.mark.parametrize("n", [5, 20, 41])
def test_exact_intervals_never_cover_less_than_they_say(n):
    x = np.arange(n + 1)
    low, high = proportion_interval(x, n, method="exact")
    for p in np.linspace(0.001, 0.999, 997):
        assert stats.binom.pmf(x[(low <= p) & (p <= high)], n, p).sum() >= 0.95 - 1e-12


@pytest.mark.parametrize(("method", "least"), [("wilson", 0.94), ("jeffreys", 0.94)])
def test_the_others_cover_95_percent_on_average(method, least):
    """Average over p as Brown, Cai and DasGupta 2001 judge them; single p can fall below."""
    x = np.arange(41)
    low, high = proportion_interval(x, 40, method=method)
    grid = np.linspace(0.001, 0.999, 997)
    covered = [stats.binom.pmf(x[(low <= p) & (p <= high)], 40, p).sum() for p in grid]
    assert least < np.mean(covered) < 0.965


def test_no_trials_have_no_interval():
    none = wilson(0, 0)
    assert np.isnan([none.rate, none.low, none.high]).all()
    low, _ = proportion_interval([0, 1], [0, 2])
    assert np.isnan(low[0])
    assert low[1] > 0


@pytest.mark.parametrize(("x", "n", "level"), [(3, 2, 0.95), (-1, 2, 0.95), (1, -2, 0.95), (1, 2, 95), (1, 2, 0)])
def test_impossible_counts_and_levels_are_refused(x, n, level):
    with pytest.raises(ModelError):
        proportion(x, n, level)
