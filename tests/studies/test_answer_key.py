"""The demo's answer key: what was planted is found or honestly left open, nothing is made of nothing."""

from __future__ import annotations

from analysis.demo.simulator import simulate
from analysis.demo.writing import DEMO_SEED, DEMO_SHOP
from tests.studies.answer_key import of_techniques, of_the_bad_lot
from tests.studies.techniques import PLANTED


def test_techniques_and_the_bad_lot_fit_what_was_planted():
    shop = simulate(DEMO_SHOP, DEMO_SEED)
    told = {line.what: line for line in of_techniques(shop)}
    assert set(told) == set(PLANTED)
    assert all(line.fits for line in told.values()), [line for line in told.values() if not line.fits]
    assert told["preheat"].said.endswith("clear")
    assert told["ball_alloy"].said.endswith("cannot tell")
    assert of_the_bad_lot(shop).fits
