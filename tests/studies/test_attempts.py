"""Intervals by boot test, by bench hours and in points cover the truth as often as they say."""

from __future__ import annotations

import pytest

from tests.studies import attempts, points


@pytest.mark.slow
def test_intervals_by_test_and_by_hours_cover_over_a_thousand_shops():
    found = attempts.summary(attempts.study(1000))
    assert found["coverage"].between(0.93, 0.97).all()
    # Without the records the low view is the truth here, and the high one is not.
    assert (found["low_bias"].abs() < 3 * found["low_bias_error"]).all()
    missing = found.loc[["by test 2, records missing", "by test 3, records missing"]]
    assert (missing["high_bias"] > 5 * missing["high_bias_error"]).all()


@pytest.mark.slow
def test_intervals_in_points_cover_over_four_hundred_fits():
    assert points.study(400)["coverage"].between(0.93, 0.97).all()


def test_both_studies_run_through():
    found = attempts.summary(attempts.study(4))
    assert len(found) == 6 + len(attempts.HOURS)
    assert found["coverage"].between(0, 1).all()
    assert points.study(2)["fits"].tolist() == [2] * 4
