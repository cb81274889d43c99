"""The range of the expected number holds in quiet months."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.report.watch_expected import QUIET_CLEAR, QUIET_LEANING
from tests.studies.expected import study


@pytest.mark.slow
def test_the_range_of_the_expected_number_holds_over_two_hundred_shops():
    frame = study(200)
    by_shop = frame.groupby("shop").agg(inside=("inside", "mean"), surplus=("surplus", "mean"))
    error = by_shop["inside"].std() / np.sqrt(len(by_shop))
    # Counts come in whole jobs, so that the range is a little wider than it says, never narrower.
    assert 0.95 - 3 * error <= by_shop["inside"].mean() <= 0.99
    for word, stated in (("clear", QUIET_CLEAR), ("leaning", QUIET_LEANING)):
        called = frame["verdict"].eq(word).groupby(frame["shop"]).mean()
        assert abs(called.mean() - stated) < 3 * called.std() / np.sqrt(len(called)), "what the page says"
    assert abs(by_shop["surplus"].mean()) < 3 * by_shop["surplus"].std() / np.sqrt(len(by_shop))


def test_a_few_shops_run_through():
    frame = study(2)
    assert len(frame) == 12
    assert frame["inside"].dtype == bool
