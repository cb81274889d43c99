"""A bad lot is signalled and quiet shops are seldom alarmed, over two hundred simulated shops."""

from __future__ import annotations

import pytest

from tests.studies.record import failing
from tests.studies.watch import findings, report, study


@pytest.mark.slow
def test_a_bad_lot_is_signalled_and_quiet_shops_keep_the_stated_rates():
    assert not failing(findings(*study(200)))


def test_two_shops_run_through():
    lot, quiet = study(2)
    assert len(lot) == len(quiet) == 2
    assert "Lot signalled within 50 tested jobs" in report(lot, quiet)
