"""The planted first-boot coefficients are found again: bias within three Monte Carlo errors, coverage 93–97 %."""

from __future__ import annotations

import numpy as np
import pytest

from tests.studies.first_boot import study


@pytest.mark.slow
def test_planted_coefficients_are_found_again_over_two_hundred_shops():
    table = study(200)
    assert table["bias_in_mc_errors"].abs().max() < 3
    overall = np.average(table["coverage"], weights=table["shops"])
    assert 0.93 <= overall <= 0.97
    # Each row alone wanders by chance: 1.5 points is its own Monte Carlo error at 200 shops.
    assert table["coverage"].between(0.95 - 3 * 0.0154, 0.95 + 3 * 0.0154).all()


def test_three_shops_run_through(capsys):
    table = study(3, jobs=400)
    assert len(table) >= 15
    assert table["shops"].max() == 3
