"""What each fact did to the chance, and what finding out a fact is worth: worked by hand beside the engine."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.errors import ModelError, UnseenLevelError
from analysis.models.pooled_facts import contributions, value_of_finding_out
from tests.models.test_pooled import FIT, ROWS, _intake


def test_a_contribution_is_the_chance_less_the_mean_over_what_the_shop_recorded():
    found = {each.label: each for each in contributions(FIT, _intake(damage="liquid"))}
    shares = ROWS["damage"].dropna().value_counts(normalize=True)
    by_hand = sum(share * FIT.chances(_intake(damage=value)).mean[0] for value, share in shares.items())
    chance = FIT.chances(_intake(damage="liquid")).mean[0]
    assert found["damage"].without == pytest.approx(by_hand)
    assert found["damage"].points == pytest.approx(100 * (chance - by_hand))
    assert found["damage"].points < 0
    assert found["damage"].value == "liquid"
    assert found["age"].value == "3 years"


def test_over_the_recorded_values_contributions_cancel():
    shares = ROWS["age"].dropna().value_counts(normalize=True)
    total = 0.0
    for age, share in shares.items():
        own = next(each for each in contributions(FIT, _intake(age=age)) if each.label == "age")
        total += share * own.points
    assert total == pytest.approx(0, abs=1e-9)


def test_the_largest_comes_first_and_blanks_and_unseen_families_are_told():
    found = contributions(FIT, _intake(damage=None, age=np.nan, family="Z"))
    sizes = [abs(each.points) for each in found]
    assert sizes == sorted(sizes, reverse=True)
    assert {each.label: each.value for each in found} == {
        "damage": "not recorded",
        "age": "not recorded",
        "family": "Z (never seen)",
    }
    with pytest.raises(UnseenLevelError):
        contributions(FIT, _intake(damage="bend"))
    with pytest.raises(ModelError, match="One intake"):
        contributions(FIT, ROWS)


def test_the_value_of_finding_out_is_worked_by_hand():
    shares = ROWS["damage"].dropna().value_counts(normalize=True)
    chance = {value: FIT.chances(_intake(damage=value)).mean[0] for value in shares.index}
    between = sum(chance.values()) / 2
    found = value_of_finding_out(FIT, _intake(damage=None), "damage", lambda p: 500 * (p - between))
    worth = {value: 500 * (chance[value] - between) for value in shares.index}
    now = sum(shares[value] * worth[value] for value in worth)
    informed = sum(shares[value] * max(worth[value], 0) for value in worth)
    assert found.gain == pytest.approx(informed - max(now, 0))
    assert found.gain > 0
    assert found.accept_now == (now > 0)
    turning = "liquid" if now > 0 else "drop"
    assert found.changes == pytest.approx(shares[turning])
    assert (found.low, found.high) == pytest.approx((chance["liquid"], chance["drop"]))


@pytest.mark.parametrize("break_even", [0.0, 1.0])
def test_a_fact_that_cannot_turn_the_decision_is_worth_nothing(break_even):
    found = value_of_finding_out(FIT, _intake(damage=None), "damage", lambda p: p - break_even)
    assert found.gain == pytest.approx(0, abs=1e-12)
    assert found.changes == 0


def test_it_is_never_negative_and_grows_with_the_stakes():
    gains = []
    for break_even in np.linspace(0.05, 0.95, 19):
        small = value_of_finding_out(FIT, _intake(age=np.nan), "age", lambda p, t=break_even: 100 * (p - t))
        large = value_of_finding_out(FIT, _intake(age=np.nan), "age", lambda p, t=break_even: 300 * (p - t))
        assert small.gain >= 0
        assert large.gain == pytest.approx(3 * small.gain)
        gains.append(small.gain)
    assert max(gains) > 1


def test_known_facts_and_facts_the_model_does_not_use_are_refused():
    with pytest.raises(ModelError, match="known already: drop"):
        value_of_finding_out(FIT, _intake(), "damage", lambda p: p)
    with pytest.raises(ModelError, match="does not use"):
        value_of_finding_out(FIT, _intake(), "colour", lambda p: p)
