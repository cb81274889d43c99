"""The range of the expected number holds in quiet months."""

from __future__ import annotations

import pytest

from tests.studies.expected import findings, study
from tests.studies.record import failing


@pytest.mark.slow
def test_the_range_of_the_expected_number_holds_over_two_hundred_shops():
    assert not failing(findings(study(200)))


def test_a_few_shops_run_through():
    frame = study(2)
    assert len(frame) == 12
    assert frame["inside"].dtype == bool
