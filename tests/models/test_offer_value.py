"""What an intake is worth, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.errors import ModelError
from analysis.models.offer_value import Basis, Offer, Pays, break_even, expected_margin, hours_given, offer_value
from analysis.records.dictionary import BY_NAME

# Successes take 4 and 6 hours, failures 8 and 12; a bench hour costs 60, the donor 100, the fee is 600.
HOURS = hours_given([4, 6, 8, 12, np.nan], [True, True, False, False, True])
NO_FEE = Offer(Basis.NO_RESULT_NO_FEE, 600, 100, 60)
FLAT = Offer(Basis.FLAT, 600, 100, 60)
STAGED = Offer(Basis.STAGED, 600, 100, 60, share_at_start=0.25)


def test_no_result_no_fee_by_hand():
    found = offer_value(NO_FEE, HOURS, 0.7, 0.5, 0.8)
    # Success: 600 - 100 - 60 * 5 = 200. Failure: 0 - 100 - 60 * 10 = -700.
    assert (found.on_success, found.on_failure) == (200, -700)
    assert found.margin == pytest.approx(0.7 * 200 - 0.3 * 700)
    assert (found.margin_low, found.margin_high) == pytest.approx((-250, 20))
    assert found.break_even.pays is Pays.FROM
    assert found.break_even.chance == pytest.approx(700 / 900)
    assert found.hours == pytest.approx(0.7 * 5 + 0.3 * 10)
    assert found.margin_per_hour == pytest.approx(-70 / 6.5)
    # Success after 4 or 6 hours leaves 260 or 140; every failure is a loss.
    assert found.loss == pytest.approx(0.3)
    assert (found.n, found.events, HOURS.blank) == (4, 2, 1)


def test_flat_by_hand():
    found = offer_value(FLAT, HOURS, 0.7, 0.5, 0.8)
    # Failure: 600 - 100 - 60 * 8 = 20 or 600 - 100 - 60 * 12 = -220, so half of the failures are losses.
    assert found.on_failure == -100
    assert found.margin == pytest.approx(0.7 * 200 - 0.3 * 100)
    assert found.loss == pytest.approx(0.3 / 2)
    assert found.break_even.chance == pytest.approx(1 / 3)


def test_staged_by_hand():
    found = offer_value(STAGED, HOURS, 0.7, 0.5, 0.8)
    assert STAGED.kept == 150
    assert found.on_failure == -550
    assert found.on_success == 200
    assert found.margin == pytest.approx(0.7 * 200 - 0.3 * 550)
    assert found.break_even.chance == pytest.approx(550 / 750)


def test_a_success_that_takes_too_long_is_a_loss_as_well():
    long = hours_given([4, 20, 1], [True, True, False])
    found = offer_value(NO_FEE, long, 0.5, 0.5, 0.5)
    # Success after 20 hours: 600 - 100 - 1,200 = -700.
    assert found.loss == pytest.approx(0.5 * 0.5 + 0.5)


def test_the_margin_is_zero_at_the_break_even_chance_and_grows_with_the_chance():
    for offer in (NO_FEE, FLAT, STAGED):
        chance = offer_value(offer, HOURS, 0.5, 0.5, 0.5).break_even.chance
        assert expected_margin(offer, HOURS, chance) == pytest.approx(0, abs=1e-9)
        assert (np.diff(expected_margin(offer, HOURS, np.linspace(0, 1, 11))) > 0).all()


def test_more_at_the_start_never_makes_it_worse():
    margins = [offer_value(offer, HOURS, 0.6, 0.5, 0.7).margin for offer in (NO_FEE, STAGED, FLAT)]
    assert margins == sorted(margins)


@pytest.mark.parametrize(
    ("success", "failure", "pays", "chance"),
    [
        (100, 50, Pays.ALWAYS, None),
        (0, 0, Pays.ALWAYS, None),
        (-10, -100, Pays.NEVER, None),
        (0, -5, Pays.NEVER, None),
        (-5, 0, Pays.NEVER, None),
        (300, -100, Pays.FROM, 0.25),
        (-100, 300, Pays.UP_TO, 0.75),
    ],
)
def test_break_even_in_every_case(success, failure, pays, chance):
    found = break_even(success, failure)
    assert found.pays is pays
    assert np.isnan(found.chance) if chance is None else found.chance == pytest.approx(chance)


def test_the_bases_are_those_of_the_log():
    assert {basis.value for basis in Basis} == set(BY_NAME["jobs"]["fee_basis"].codes)


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"fee": -1}, "fee is -1"),
        ({"donor_cost": float("nan")}, "donor cost is nan"),
        ({"basis": Basis.STAGED}, "staged fee needs it"),
        ({"share_at_start": 0.5}, "belongs to a staged fee"),
        ({"basis": Basis.STAGED, "share_at_start": 1.0}, "not between 0 and 1"),
    ],
)
def test_offers_that_make_no_sense_are_refused(facts, told):
    usual = {"basis": Basis.NO_RESULT_NO_FEE, "fee": 600, "donor_cost": 100, "hour_cost": 60}
    with pytest.raises(ModelError, match=told):
        Offer(**usual | facts)


def test_hours_that_were_never_recorded_are_asked_for():
    with pytest.raises(ModelError, match="No job that failed") as told:
        hours_given([3, 4], [True, True])
    assert "bench_hours" in str(told.value)
    with pytest.raises(ModelError, match="not in order"):
        offer_value(NO_FEE, HOURS, 0.5, 0.6, 0.7)
    with pytest.raises(ModelError, match="not in order"):
        offer_value(NO_FEE, HOURS, float("nan"), 0.1, 0.7)
