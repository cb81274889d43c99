"""Charts over time: exact limits, what moves a chart, limits that know the model's uncertainty, when a change began."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit

from analysis.errors import ModelError
from analysis.models.change_point import change_point
from analysis.models.control_chart import exact_limits, p_chart
from analysis.models.cusum import Uncertain, highest_points, limit_for, scores, walk

KNOWN = Uncertain(np.ones((50, 1)), np.array([0.8]), np.zeros((1, 1)))
DRAWS = 4000


def test_exact_limits_keep_their_rate_and_no_wider_limits_are_needed():
    for n, p in ((12, 0.7), (18, 0.3), (60, 0.9)):
        low, high = exact_limits(np.full(n, p), 0.05)
        below, above = stats.binom.cdf(low - 1, n, p), stats.binom.sf(high, n, p)
        assert below <= 0.025 < stats.binom.cdf(low, n, p)
        assert above <= 0.025 < stats.binom.sf(high - 1, n, p)


def test_limits_with_unequal_chances_are_narrower_than_with_their_mean():
    unequal = np.array([0.02] * 10 + [0.98] * 10)
    low, high = exact_limits(unequal, 0.05)
    wide_low, wide_high = exact_limits(np.full(20, 0.5), 0.05)
    assert wide_low < low <= high < wide_high


def test_textbook_limits_of_a_small_month_are_cut_where_no_fraction_can_be():
    chart = p_chart([9, 10, 8], [10, 10, 10])
    assert chart.sigma_high[0] == 1.0
    assert not chart.outside.any()


@pytest.mark.parametrize(("x", "n"), [([1], [0]), ([3], [2]), ([-1], [2]), ([], [])])
def test_a_chart_refuses_impossible_counts(x, n):
    with pytest.raises(ModelError):
        p_chart(x, n)


def test_a_failure_moves_the_chart_up_and_a_success_down_when_looking_for_worse():
    chances = np.array([0.2, 0.5, 0.9])
    failed, booted = scores(chances, np.zeros(3), 0.5), scores(chances, np.ones(3), 0.5)
    assert (failed > 0).all()
    assert (booted < 0).all()
    assert (np.diff(failed) > 0).all(), "the surer the job, the more its failure says"


def test_looking_for_failures_twice_as_likely_is_looking_for_odds_of_success_halved():
    p, y = np.array([0.3, 0.8]), np.array([1.0, 0.0])
    np.testing.assert_allclose(scores(p, y, 0.5), scores(1 - p, 1 - y, 2.0), atol=1e-15)


def test_a_chart_worked_by_hand():
    path, signals = walk(np.array([0.5, -1.0, 0.4, 0.7, 0.2, -0.1]), limit=1.0)
    np.testing.assert_allclose(path, [0.5, 0.0, 0.4, 1.1, 0.2, 0.1])
    assert signals == (3,)


def test_what_comes_later_never_changes_where_the_chart_stood():
    rng = np.random.default_rng(0)
    moves = rng.normal(0, 0.4, 200)
    scrambled = moves.copy()
    rng.shuffle(scrambled[120:])
    np.testing.assert_array_equal(walk(moves, 2.0)[0][:120], walk(scrambled, 2.0)[0][:120])


@pytest.mark.parametrize(("p", "factor"), [(1.2, 0.5), (np.nan, 0.5), (0.5, 1.0), (0.5, 0.0)])
def test_impossible_chances_and_factors_are_refused(p, factor):
    with pytest.raises(ModelError):
        scores(np.array([p]), np.array([1.0]), factor)


def test_a_limit_keeps_its_rate_when_tried_with_other_random_numbers():
    limit = limit_for(KNOWN, 0.5, 150, 0.1, 1, draws=20_000)
    share = np.mean(highest_points(KNOWN, 0.5, 150, 99, 20_000) >= limit.value)
    assert abs(share - 0.1) < 4 * limit.error * np.sqrt(2)


def test_the_model_s_own_uncertainty_raises_the_limit_and_without_it_false_alarms_exceed_the_rate():
    unsure = Uncertain(KNOWN.x, KNOWN.coefficients, np.array([[0.03]]))
    naive, honest = (limit_for(m, 0.5, 150, 0.1, 1, draws=20_000) for m in (KNOWN, unsure))
    assert honest.value > naive.value
    assert np.mean(highest_points(unsure, 0.5, 150, 2, 20_000) >= naive.value) > 0.12
    assert abs(np.mean(highest_points(unsure, 0.5, 150, 2, 20_000) >= honest.value) - 0.1) < 0.012


def test_a_limit_is_the_same_with_the_same_seed_and_stricter_with_a_lower_rate():
    first, again, strict = (limit_for(KNOWN, 0.5, 100, rate, 5, draws=DRAWS) for rate in (0.1, 0.1, 0.02))
    assert first == again
    assert strict.value > first.value
    assert (first.rng_seed, first.jobs, first.draws) == (5, 100, DRAWS)


def test_a_chart_that_already_stands_high_gets_its_limit_from_there():
    assert (
        limit_for(KNOWN, 0.5, 100, 0.1, 5, draws=DRAWS, start=3.0).value
        > limit_for(KNOWN, 0.5, 100, 0.1, 5, draws=DRAWS).value
    )


def test_too_few_runs_or_no_jobs_are_refused():
    with pytest.raises(ModelError):
        limit_for(KNOWN, 0.5, 100, 0.001, 5, draws=1000)
    with pytest.raises(ModelError):
        limit_for(KNOWN, 0.5, 0, 0.1, 5, draws=DRAWS)


def test_a_plain_change_is_found_where_it_began():
    chances = np.full(60, 0.9)
    y = np.concatenate([np.ones(40), np.zeros(20)])
    found = change_point(chances, y, worse=True)
    assert found.at == found.high == 40
    assert found.low >= 37, "a job or two before may have booted by luck"
    assert found.odds_factor == pytest.approx(1 / 16)
    assert found.weights.sum() == pytest.approx(1)


def test_the_interval_of_the_beginning_holds_it_about_as_often_as_it_says():
    rng = np.random.default_rng(3)
    held = []
    for _ in range(500):
        p = expit(rng.normal(0.8, 0.6, 80))
        begin = int(rng.integers(0, 80))
        odds = p / (1 - p) * np.where(np.arange(80) >= begin, 0.25, 1.0)
        found = change_point(p, (rng.random(80) < odds / (1 + odds)).astype(float), worse=True)
        held.append(found.low <= begin <= found.high)
    assert abs(np.mean(held) - 0.80) < 4 * np.sqrt(0.8 * 0.2 / 500)


def test_better_is_the_mirror_of_worse():
    p, y = np.linspace(0.2, 0.8, 30), (np.arange(30) > 17).astype(float)
    better, worse = change_point(p, y, worse=False), change_point(1 - p, 1 - y, worse=True)
    assert (better.at, better.low, better.high) == (worse.at, worse.low, worse.high)
    assert better.odds_factor == pytest.approx(1 / worse.odds_factor)


def test_no_jobs_have_no_change_point():
    with pytest.raises(ModelError):
        change_point(np.empty(0), np.empty(0), worse=True)
