"""Intervals by boot test, by bench hours and in points cover the truth as often as they say."""

from __future__ import annotations

import pytest

from tests.studies import attempts, points
from tests.studies.record import failing


@pytest.mark.slow
def test_intervals_by_test_and_by_hours_cover_over_a_thousand_shops():
    found = attempts.findings(attempts.summary(attempts.study(1000)))
    assert len(found) == 2 * 9 + 2
    assert not failing(found)


@pytest.mark.slow
def test_intervals_in_points_cover_over_four_hundred_fits():
    assert not failing(points.findings(points.study(400)))


def test_both_studies_run_through():
    found = attempts.summary(attempts.study(4))
    assert len(found) == 6 + len(attempts.HOURS)
    assert found["coverage"].between(0, 1).all()
    assert points.study(2)["fits"].tolist() == [2] * 4
