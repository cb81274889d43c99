"""A bad lot is signalled and quiet shops are seldom alarmed, over two hundred simulated shops."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.questions.watch import PRIMARY_RATE, SHARED_RATE
from analysis.report.review_changed import TRUE_ONE_AMONG_THREE, TRUE_ONE_FIRST
from analysis.report.review_closing import MEASURED_PRIMARY, MEASURED_SHARED
from tests.studies.watch import WITHIN, report, study


def _error(rate: float, n: int) -> float:
    return float(np.sqrt(rate * (1 - rate) / n))


@pytest.mark.slow
def test_a_bad_lot_is_signalled_and_quiet_shops_keep_the_stated_rates():
    lot, quiet = study(200)
    assert lot["waited"].le(WITHIN).mean() >= 0.80 - 3 * _error(0.8, len(lot))
    found = lot[lot["waited"].le(WITHIN)]
    for column, stated in (("first", TRUE_ONE_FIRST), ("among_three", TRUE_ONE_AMONG_THREE)):
        assert abs(found[column].mean() - stated) < 3 * _error(stated, len(found)), "what the page says"
    for column, stated in (("alarm", MEASURED_PRIMARY), ("others", MEASURED_SHARED)):
        assert abs(quiet[column].mean() - stated) < 3 * _error(stated, len(quiet)), "what the page says"
    assert quiet["alarm"].mean() <= PRIMARY_RATE + 3 * _error(PRIMARY_RATE, len(quiet))
    assert quiet["others"].mean() <= SHARED_RATE + 3 * _error(SHARED_RATE, len(quiet))


def test_two_shops_run_through():
    lot, quiet = study(2)
    assert len(lot) == len(quiet) == 2
    assert "Lot signalled within 50 tested jobs" in report(lot, quiet)
