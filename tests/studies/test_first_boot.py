"""The planted first-boot coefficients are found again: bias within three Monte Carlo errors, coverage 93–97 %."""

from __future__ import annotations

import pytest

from tests.studies.first_boot import findings, study
from tests.studies.record import failing


@pytest.mark.slow
def test_planted_coefficients_are_found_again_over_two_hundred_shops():
    assert not failing(findings(study(200)))


def test_three_shops_run_through(capsys):
    table = study(3, jobs=400)
    assert len(table) >= 15
    assert table["shops"].max() == 3
