"""Scores of chances: worked by hand, against brute force, and at the edges."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.errors import ModelError
from analysis.models.net_benefit import net_benefit
from analysis.models.scores import auc, log_scores, recalibration, score

RNG = np.random.default_rng(4)
P = RNG.uniform(0.05, 0.95, 300)
Y = (RNG.random(300) < P).astype(float)


def test_four_jobs_by_hand():
    found = score([0.9, 0.6, 0.6, 0.2], [1, 0, 1, 0])
    assert found.brier == pytest.approx((0.01 + 0.36 + 0.16 + 0.04) / 4)
    assert found.log_score == pytest.approx(np.log(0.9 * 0.4 * 0.6 * 0.8) / 4)
    # Pairs of a success and a failure: 0.9 > 0.6, 0.9 > 0.2, 0.6 = 0.6, 0.6 > 0.2.
    assert found.auc.value == pytest.approx(3.5 / 4)
    assert (found.n, found.events) == (4, 2)


def test_auc_and_its_variance_by_all_pairs():
    won, lost = np.round(P, 1)[Y == 1], np.round(P, 1)[Y == 0]
    above = (won[:, None] > lost) + 0.5 * (won[:, None] == lost)
    variance = above.mean(axis=1).var(ddof=1) / len(won) + above.mean(axis=0).var(ddof=1) / len(lost)
    found = auc(np.round(P, 1), Y)
    assert found.value == pytest.approx(above.mean())
    assert found.se == pytest.approx(np.sqrt(variance))


def test_calibration_of_chances_that_are_as_they_should_be_and_of_worse_ones():
    rng = np.random.default_rng(9)
    p = rng.uniform(0.05, 0.95, 40_000)
    y = (rng.random(40_000) < p).astype(float)
    good = score(p, y)
    assert good.slope.low < 1 < good.slope.high
    assert good.in_the_large.low < 0 < good.in_the_large.high
    odds = (p / (1 - p)) ** 2 * 3  # twice too extreme, and too hopeful
    worse = score(odds / (1 + odds), y)
    assert worse.slope.value == pytest.approx(good.slope.value / 2)
    assert worse.in_the_large.value < -0.3
    assert worse.log_score < good.log_score
    assert worse.brier > good.brier
    assert worse.auc.value == pytest.approx(good.auc.value)


def test_order_of_jobs_does_not_matter_and_turning_everything_mirrors():
    order = RNG.permutation(len(P))
    a, b, c = score(P, Y), score(P[order], Y[order]), score(1 - P, 1 - Y)
    for other in (b, c):
        assert (other.brier, other.log_score) == pytest.approx((a.brier, a.log_score))
        assert other.auc.value == pytest.approx(a.auc.value)
        assert other.slope.value == pytest.approx(a.slope.value)
    assert c.in_the_large.value == pytest.approx(-a.in_the_large.value)


def test_where_a_measure_cannot_be_had_it_is_missing_with_a_reason():
    for p, y in (([0.4, 0.5], [1, 1]), ([0.5, 0.5, 0.5], [1, 0, 1]), ([0.2, 0.3, 0.8], [0, 0, 1])):
        found = score(p, y)
        assert np.isnan(found.slope.value)
        assert "only" in found.reason
        assert np.isfinite(found.brier)
    assert np.isnan(score([0.4, 0.5], [1, 1]).auc.value)
    assert score([0.5, 0.5, 0.5], [1, 0, 1]).in_the_large.value == pytest.approx(np.log(2))
    assert not recalibration([0.2, 0.3, 0.8], [0, 0, 1])[2]


def test_a_sure_chance_that_fails_costs_much_but_not_everything():
    assert np.isfinite(log_scores([1.0, 0.0], [0, 1])).all()
    assert (log_scores([1.0, 0.0], [0, 1]) < -20).all()


@pytest.mark.parametrize(
    ("p", "y", "told"),
    [
        ([0.5], [1, 0], "one outcome"),
        ([], [], "at least one"),
        ([1.2], [1], "outside 0 to 1"),
        ([np.nan], [1], "missing"),
        ([0.5], [0.5], "neither 0 nor 1"),
        ([0.5], [np.nan], "neither 0 nor 1"),
    ],
)
def test_what_cannot_be_scored_is_refused(p, y, told):
    with pytest.raises(ModelError, match=told):
        score(p, y)


def test_net_benefit_by_hand():
    # Five jobs, three succeed. At 0.5 the chances accept three: two successes and one failure.
    found = net_benefit([0.9, 0.7, 0.5, 0.3, 0.1], [1, 0, 1, 1, 0], [0.5, 0.25])
    assert found.accepted.tolist() == [3, 4]
    assert found.by_chance == pytest.approx([2 / 5 - 1 / 5, 3 / 5 - 1 / 5 / 3])
    assert found.accept_all == pytest.approx([3 / 5 - 2 / 5, 3 / 5 - 2 / 5 / 3])


@pytest.mark.parametrize("threshold", [0.0, 1.0, -0.2, np.nan])
def test_a_break_even_chance_lies_between_0_and_1(threshold):
    with pytest.raises(ModelError, match=r"^A break-even chance must lie between 0 and 1\.$"):
        net_benefit([0.9, 0.1], [1, 0], [0.5, threshold])


def test_net_benefit_at_the_edges():
    with pytest.raises(ModelError, match="break-even"):
        net_benefit(P, Y, [0.5, 1.0])
    everyone = net_benefit(P, Y, 0.01)
    assert everyone.by_chance == pytest.approx(everyone.accept_all)
    perfect = net_benefit(Y * 0.98 + 0.01, Y, [0.3, 0.6])
    assert perfect.by_chance == pytest.approx([Y.mean()] * 2)
