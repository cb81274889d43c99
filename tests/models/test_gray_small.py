"""Gray's test in small groups: no sample stops it, and it is no surer than it says."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analysis.models import gray
from analysis.models.gray import gray_test
from analysis.models.timed import timed


@pytest.mark.parametrize(
    ("time", "event", "group", "statistic"),
    [
        ((1, 1, 2, 3), (1, 1, 1, 1), (0, 0, 1, 1), 3),
        ((1, 1, 2, 3, 3, 4, 5), (1, 1, 1, 1, 2, 1, 1), (0, 0, 1, 1, 0, 1, 1), 0.6531568125),
        ((1, 1, 2, 2, 3, 4, 5, 6), (1, 1, 1, 2, 1, 1, 1, 2), (0, 0, 1, 1, 2, 2, 2, 1), 7.351962743),
    ],
)
def test_where_the_pooled_incidence_comes_to_one_or_beyond_the_statistic_is_that_of_r(time, event, group, statistic):
    """Of R 4.2.2, cmprsk 2.2.11: ``cuminc(time, event, group)$Tests``. The first stopped with an error."""
    data = timed(np.array(time, float), np.array(event))
    assert gray_test(data, np.array(group)).statistic == pytest.approx(statistic, rel=1e-9)


def test_p_of_a_small_sample_is_that_of_all_ways_to_deal_the_groups():
    """By hand: of the six ways to deal two and two to ends at 1, 1, 2 and 3, this one and its mirror lie furthest."""
    found = gray_test(timed(np.array([1.0, 1, 2, 3]), np.ones(4, int)), np.array(list("aabb")))
    assert found.p == pytest.approx(1 / 3, abs=3 * np.sqrt(2 / 9 / gray.DRAWS))
    time, event = np.array([1.0, 2, 2, 3, 4, 5, 6]), np.array([1, 1, 2, 1, 0, 1, 2])
    seen = np.array([0, 0, 1, 0, 1, 1, 1])
    data = timed(time, event)
    ways = [np.isin(np.arange(7), three).astype(int) ^ 1 for three in itertools.combinations(range(7), 3)]
    scores = np.array([abs(gray._score(gray._steps(data, way, 2, 1))[0]) for way in ways])
    mine = abs(gray._score(gray._steps(data, seen, 2, 1))[0])
    want = np.mean(scores >= mine - 1e-9)
    assert gray_test(data, seen).p == pytest.approx(want, abs=3 * np.sqrt(want * (1 - want) / gray.DRAWS))
    turned = timed(time[::-1], event[::-1])
    assert gray_test(turned, seen[::-1]).p == gray_test(data, seen).p


def test_groups_of_ten_that_do_not_differ_are_seldom_told_apart(monkeypatch):
    """By the chi-squared distribution 13 of 100 of these samples were, and 8 of 100 of 1,500 such."""
    monkeypatch.setattr(gray, "DRAWS", 59)
    rng = np.random.default_rng(7)
    group = np.repeat([0, 1, 2], [60, 10, 10])
    alarms = []
    for _ in range(300):
        event = np.where(rng.random(80) < 0.85, 1, 2)
        time = np.round(rng.lognormal(1.6, 0.5, 80) * 2) / 2
        open_still = rng.random(80) < 0.08
        event, time = np.where(open_still, 0, event), np.where(open_still, np.ceil(time * rng.random(80)), time)
        alarms.append(gray_test(timed(time, event), group).p <= 0.05)
    assert np.mean(alarms) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 300)


@pytest.mark.parametrize("cells", [1, 400, 2**18])
def test_groups_drawn_many_at_a_time_count_as_those_drawn_one_by_one(monkeypatch, cells):
    rng = np.random.default_rng(3)
    data = timed(np.round(rng.lognormal(1.6, 0.5, 50)), rng.choice([0, 1, 2], 50, p=[0.1, 0.6, 0.3]))
    drawn = rng.permuted(np.tile(np.repeat([0, 1, 2], [30, 12, 8]), (40, 1)), axis=1)
    one_by_one = [gray._score(gray._steps(data, each, 3, 1)) for each in drawn]
    np.testing.assert_allclose(gray._score(gray._steps(data, drawn, 3, 1)), one_by_one, atol=1e-12)
    found = gray_test(data, drawn[0])
    monkeypatch.setattr(gray, "DRAWN_CELLS", cells)
    assert gray_test(data, drawn[0]) == found
