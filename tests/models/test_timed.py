"""The gate of times and events; curves and tests at the edges of what they can do."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.errors import ModelError
from analysis.models.attempts import life_table
from analysis.models.gray import _score, _steps, gray_test
from analysis.models.incidence import cumulative_incidence, survival
from analysis.models.log_rank import log_rank
from analysis.models.timed import Timed, timed


def test_what_passed_the_gate_stays_as_it_was():
    hours = np.array([1.0, 2.0, 3.0])
    data = timed(hours, [1, 0, 2])
    hours[0] = -5
    assert data.time.tolist() == [1, 2, 3]
    with pytest.raises(ValueError, match="read-only"):
        data.time[0] = -5
    late = timed(hours + 6, [1, 0, 2], [0, 1, 2])
    assert (late.entry.dtype, late.entry.tolist()) == (np.dtype(float), [0, 1, 2])
    with pytest.raises(ValueError, match="read-only"):
        late.entry[0] = 0.5
    assert (data.n, data.events, data.late) == (3, 1, False)
    assert data.part(np.array([True, False, True])).event.tolist() == [1, 2]
    assert timed(pd.Series([1.0, 2.0]), pd.Series([True, False])).event.tolist() == [1, 0]


@pytest.mark.parametrize(
    ("time", "event", "entry", "told"),
    [
        (["a", "2"], [1, 0], None, "not a number"),
        ([None, 2], [1, 0], None, "missing"),
        ([1, np.inf], [1, 0], None, "missing"),
        ([[1, 2]], [[1, 0]], None, "same number"),
        ([1, 2], [1, np.nan], None, "must be 0"),
        ([1, 2], ["boots", "open"], None, "must be 0"),
        ([1, 2], [1, 0], [0, -1], "negative"),
        ([1, 2], [1, 0], [0, 2.5], "at or after"),
    ],
)
def test_the_gate_refuses_in_words(time, event, entry, told):
    with pytest.raises(ModelError, match=told):
        timed(time, event, entry)


def test_there_is_no_way_round_the_gate():
    with pytest.raises(ModelError, match="negative"):
        Timed(np.array([-1.0]), np.array([1]), np.array([0.0]))


@pytest.mark.parametrize("n", [0, 1, 5])
def test_few_rows(n):
    data = timed(np.arange(1, n + 1), np.ones(n))
    curve, kept = cumulative_incidence(data, minimum=1), survival(data, minimum=1)
    assert curve.n == n
    assert curve.at(curve.stop)[0] == (1.0 if n else 0.0)
    assert kept.at(kept.stop)[0] == (0.0 if n else 1.0)
    assert np.isnan(gray_test(data, np.zeros(n)).p)
    assert np.isnan(log_rank(data, np.zeros(n)).p)
    assert len(life_table(np.ones(n), np.ones(n), np.full(n, "success"))) == (1 if n else 0)


def test_time_zero_counts():
    """Two of four end at once at time 0, one by each end."""
    curve = cumulative_incidence(timed([0, 0, 1, 2], [1, 2, 1, 0]), minimum=1)
    assert [curve.at(t)[0] for t in (0, 1)] == pytest.approx([0.25, 0.5])


def test_both_ends_and_those_left_add_up_to_all():
    rng = np.random.default_rng(21)
    time, event = rng.integers(0, 15, 120), rng.integers(0, 3, 120)
    both = [cumulative_incidence(timed(time, event), minimum=1, cause=cause) for cause in (1, 2)]
    left = survival(timed(time, event > 0), minimum=1)
    for t in range(15):
        assert both[0].at(t)[0] + both[1].at(t)[0] + left.at(t)[0] == pytest.approx(1.0)
    assert (np.diff(both[0].estimate) >= 0).all()


def test_curves_are_free_of_row_order_and_time_unit():
    rng = np.random.default_rng(22)
    time, event, order = rng.integers(0, 15, 80), rng.integers(0, 3, 80), rng.permutation(80)
    first = cumulative_incidence(timed(time, event))
    again = cumulative_incidence(timed(time[order] * 60.0, event[order]))
    assert again.stop == 60 * first.stop
    for t in (0, 3, 7):
        assert again.at(60 * t) == pytest.approx(first.at(t))


def test_a_median_reached_exactly_is_found():
    """After half of six the share left is one half, up to rounding."""
    assert survival(timed(np.arange(1, 7), np.ones(6)), minimum=1).reached(0.5) == 3


@pytest.mark.parametrize("method", [cumulative_incidence, lambda data: gray_test(data, [0, 1, 0])])
def test_late_entry_is_refused_where_it_would_be_overlooked(method):
    with pytest.raises(ModelError, match="under observation late"):
        method(timed([2, 3, 4], [1, 2, 1], [0, 1, 0]))


@pytest.mark.parametrize("test", [gray_test, log_rank])
def test_a_missing_label_is_refused(test):
    data = timed([1, 2, 3], [1, 1, 0])
    for labels in ([None, "a", "b"], [np.nan, 1.0, 2.0]):
        with pytest.raises(ModelError, match="no group"):
            test(data, np.array(labels, dtype=object))
    with pytest.raises(ModelError, match="Every row"):
        test(data, ["a", "b"])


def test_log_rank_by_hand():
    """a ends at 1 and 2, b at 3 and 4: expected in a 1/2 + 1/3, variance 1/4 + 2/9."""
    found = log_rank(timed([1, 2, 3, 4], np.ones(4)), ["a", "a", "b", "b"])
    assert found.statistic == pytest.approx((2 - 5 / 6) ** 2 / (1 / 4 + 2 / 9))
    assert found.df == 1


def test_log_rank_leaves_out_who_is_not_there_yet_and_the_competing_end():
    """c is away until 2.5, so that at 1 and 2 it counts for nothing: expected in a 1/2, then nothing to compare."""
    data = timed([1, 2, 3, 3.5], [1, 1, 1, 2], [0, 0, 2.5, 2.5])
    assert log_rank(data, ["a", "b", "b", "b"]).statistic == pytest.approx((1 - 1 / 2) ** 2 / (1 / 4))


def test_log_rank_within_strata_adds_up():
    rng = np.random.default_rng(23)
    time, event, group = rng.integers(1, 9, 60), rng.integers(0, 2, 60), rng.integers(0, 3, 60)
    whole = log_rank(timed(time, event), group)
    twice = log_rank(timed(np.tile(time, 2), np.tile(event, 2)), np.tile(group, 2), np.repeat(["x", "y"], 60))
    assert twice.statistic == pytest.approx(2 * whole.statistic)
    assert np.isnan(log_rank(timed(time, event), group, group).p)


def test_the_score_of_gray_by_hand():
    """a: event at 1, competing end at 2; b: events at 2 and 3.

    Expected in a: 2/4 at 1; at 2, with (1 − F) Y / S = 1 in a and 2 in b, 1/3; at 3 a has no row left.
    """
    data = timed([1, 2, 2, 3], [1, 2, 1, 1])
    steps = _steps(data, np.array([0, 0, 1, 1]), 2, 1)
    np.testing.assert_allclose(_score(steps), [1 / 6, -1 / 6], atol=1e-12)


def test_gray_finds_a_difference_whichever_group_comes_first():
    rng = np.random.default_rng(24)
    group = rng.integers(0, 2, 300)
    event = np.where(rng.random(300) < np.where(group == 1, 0.7, 0.4), 1, 2)
    data = timed(rng.exponential(1, 300), event)
    assert gray_test(data, group).p < 1e-4
    assert gray_test(data, 1 - group).statistic == pytest.approx(gray_test(data, group).statistic)
    assert gray_test(data, group, cause=2).p < 1e-4


def test_the_standard_error_agrees_with_statsmodels_where_it_has_one():
    from statsmodels.duration.survfunc import CumIncidenceRight

    rng = np.random.default_rng(3)
    time, event = rng.integers(1, 30, 200), rng.integers(0, 3, 200)
    time[-1], event[-1] = 40, 0
    curve, peer = cumulative_incidence(timed(time, event), minimum=1), CumIncidenceRight(time, event)
    np.testing.assert_allclose(curve.estimate[1:], peer.cinc[0], rtol=1e-12)
    np.testing.assert_allclose(curve.se[1:], peer.cinc_se[0], rtol=1e-9)


def test_the_last_rows_ending_together_leave_an_interval():
    low, high = cumulative_incidence(timed([1, 2, 3, 4, 4, 4], [1, 2, 1, 1, 1, 2]), minimum=1).at(4)[1:]
    assert high - low > 0.5


def test_nothing_seen_yet_is_no_certainty():
    """No event among 20 followed to 5, then among the 12 followed to 7: 1 − .025^(1/20), 1 − .025^(1/12)."""
    data = timed([6.0] * 8 + [7.0] * 12, [0] * 20)
    curve = cumulative_incidence(data)
    assert curve.at(5) == pytest.approx((0, 0, 1 - 0.025 ** (1 / 20)))
    assert curve.at(7) == pytest.approx((0, 0, 1 - 0.025 ** (1 / 12)))
    kept = survival(data)
    assert kept.at(7) == pytest.approx((1, 0.025 ** (1 / 12), 1))
    all_at_once = cumulative_incidence(timed(np.ones(20), np.ones(20)))
    assert all_at_once.at(1) == pytest.approx((1, 0.025 ** (1 / 20), 1))
