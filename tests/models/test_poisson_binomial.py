"""The number of successes among unequal chances: by hand, exact, and stable for many jobs."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.special import expit

from analysis.errors import ModelError
from analysis.models.poisson_binomial import (
    GROUP,
    at_least,
    at_most,
    cdf,
    central_range,
    pmf,
    same_level_p,
    smooth_range,
    two_sided,
)


def test_two_jobs_by_hand():
    np.testing.assert_allclose(pmf([0.9, 0.5]), [0.05, 0.5, 0.45])


def test_no_job_and_certain_jobs():
    assert pmf([]).tolist() == [1.0]
    assert pmf([1.0, 0.0, 1.0]).tolist() == [0.0, 0.0, 1.0, 0.0]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=7))
def test_it_is_the_sum_over_all_outcomes(chances):
    want = np.zeros(len(chances) + 1)
    for outcome in itertools.product((0, 1), repeat=len(chances)):
        want[sum(outcome)] += np.prod([p if o else 1 - p for p, o in zip(chances, outcome, strict=True)])
    np.testing.assert_allclose(pmf(chances), want, atol=1e-14)


def test_ten_thousand_jobs_keep_mass_mean_variance_and_a_far_tail():
    p = np.random.default_rng(0).random(10_000)
    mass, k = pmf(p), np.arange(10_001)
    assert mass.sum() == pytest.approx(1, abs=1e-12)
    mean = mass @ k
    assert mean == pytest.approx(p.sum(), rel=1e-12)
    assert mass @ (k - mean) ** 2 == pytest.approx((p * (1 - p)).sum(), rel=1e-9)
    equal = pmf(np.full(10_000, 0.3))
    far = stats.binom.sf(3399, 10_000, 0.3)
    assert far < 1e-17
    assert at_least(equal, 3400) == pytest.approx(far, rel=1e-9)


def test_several_sets_of_chances_at_once():
    sets = np.random.default_rng(1).random((5, 9))
    np.testing.assert_allclose(pmf(sets), [pmf(one) for one in sets])


def plainly(chances):
    """One job after the other from the first to the last."""
    mass = np.array([1.0])
    for p in chances:
        mass = np.append(mass * (1 - p), 0.0) + np.append(0.0, mass * p)
    return mass


@pytest.mark.parametrize("n", [1, GROUP - 1, GROUP, GROUP + 1, 3 * GROUP, 5 * GROUP + 7, 3000])
def test_groups_joined_in_pairs_give_what_one_job_after_the_other_gives(n):
    chances = np.random.default_rng(n).beta(2, 1, n)
    want, got = plainly(chances), pmf(chances)
    told = want > 1e-90
    np.testing.assert_allclose(got[told], want[told], rtol=1e-11)  # tails too, digit for digit
    assert (got[~told] <= 1e-89).all()
    assert got.shape == want.shape


def test_sets_of_very_unlike_chances_do_not_cut_each_other_short(monkeypatch):
    sets = np.array([np.full(900, 0.02), np.full(900, 0.98), np.linspace(0, 1, 900)])
    together = pmf(sets)
    monkeypatch.setattr("analysis.models.poisson_binomial.BATCH_CELLS", 1)
    np.testing.assert_allclose(together, pmf(sets), rtol=1e-12, atol=1e-99)
    np.testing.assert_allclose(together, [plainly(one) for one in sets], rtol=1e-11, atol=1e-99)


def test_tails_hold_the_observed_count_and_meet():
    mass = pmf([0.2, 0.5, 0.7, 0.9])
    for k in range(5):
        assert at_most(mass, k) + at_least(mass, k) == pytest.approx(1 + mass[k])
        assert at_most(mass, k) == pytest.approx(cdf(mass)[k])
        assert two_sided(mass, k) == pytest.approx(min(1, 2 * min(at_most(mass, k), at_least(mass, k))))


@pytest.mark.parametrize("level", [0.5, 0.8, 0.95, 0.999])
def test_the_central_range_leaves_no_more_than_its_tails_and_is_the_smallest(level):
    mass = pmf(np.random.default_rng(2).random(40))
    low, high = central_range(mass, level)
    tail = (1 - level) / 2
    assert mass[:low].sum() <= tail < mass[: low + 1].sum()
    assert mass[high + 1 :].sum() <= tail < mass[high:].sum()


@pytest.mark.parametrize("level", [0.8, 0.95, 0.998])
def test_the_smooth_range_lies_less_than_a_count_outside_that_of_whole_counts(level):
    for n in (8, 40, 41, 200):
        mass = pmf(np.random.default_rng(n).uniform(0.2, 0.9, n))
        low, high = central_range(mass, level)
        smooth = smooth_range(mass, level)
        assert low - 1 < smooth[0] <= low
        assert high <= smooth[1] < high + 1
    half = pmf([0.5, 0.5, 0.5, 0.5])  # 1, 4, 6, 4 and 1 of 16: 0.1 lies (1.6 - 1) / 4 of the way from 0 to 1
    assert smooth_range(half, 0.8) == pytest.approx((0.15, 3.85))


def test_the_smooth_range_of_failures_mirrors_that_of_successes_and_parts_the_same_counts():
    for n in (1, 2, 5, 10, 33):
        mass = pmf(np.random.default_rng(n).uniform(0.05, 0.95, n))
        low, high = smooth_range(mass, 0.95)
        assert smooth_range(mass[::-1], 0.95) == pytest.approx((n - high, n - low))
        within = central_range(mass, 0.95)
        for count in range(n + 1):
            assert (low <= count <= high) == (within[0] <= count <= within[1])


def test_equal_chances_give_fishers_exact_test_of_three_groups():
    sizes, observed = (7, 5, 6), (6, 1, 3)
    tables = {
        t: math.prod(math.comb(n, x) for n, x in zip(sizes, t, strict=True))
        for t in itertools.product(*(range(n + 1) for n in sizes))
        if sum(t) == sum(observed)
    }
    want = sum(w for w in tables.values() if w <= tables[observed]) / sum(tables.values())
    for chance in (0.2, 0.55):  # the common level does not matter
        got = same_level_p([pmf(np.full(n, chance)) for n in sizes], observed)
        assert got == pytest.approx(want, rel=1e-9)


def test_three_groups_of_one_level_are_seldom_told_apart_and_of_two_levels_often():
    rng = np.random.default_rng(7)
    hard = [rng.normal(0.5, 0.8, 40) for _ in range(3)]
    masses = [pmf(expit(each)) for each in hard]

    def share_clear(steps):
        draws = [[(rng.random(40) < expit(h + s)).sum() for h, s in zip(hard, steps, strict=True)] for _ in range(300)]
        return np.mean([same_level_p(masses, counts) <= 0.05 for counts in draws])

    assert share_clear((0.6, 0.6, 0.6)) <= 0.05 + 3 * 0.0126  # three Monte Carlo errors
    assert share_clear((1.5, 0, -1.5)) > 0.9
    with pytest.raises(ModelError):
        same_level_p(masses[:2], (1, 1))


def test_better_jobs_give_more_successes():
    p = np.random.default_rng(3).random(12)
    assert (cdf(pmf(np.minimum(p + 0.05, 1))) <= cdf(pmf(p)) + 1e-15).all()


@pytest.mark.parametrize("chances", [[0.2, 1.1], [-0.1], [np.nan]])
def test_what_is_no_chance_is_refused(chances):
    with pytest.raises(ModelError, match="0 to 1"):
        pmf(chances)
