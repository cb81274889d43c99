"""Rates of damage classes, held together by all classes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.errors import ModelError
from analysis.models.class_rates import fit_class_rates
from analysis.models.pooled import fit_pooled
from analysis.models.terms import Category

COUNTS = {"drop": (80, 110), "liquid": (30, 60), "heat": (1, 6), "none_seen": (4, 4)}


def _rows(counts: dict[str, tuple[int, int]]) -> tuple[pd.Series, np.ndarray]:
    codes = [code for code, (_, n) in counts.items() for _ in range(n)]
    won = [float(k < w) for w, n in counts.values() for k in range(n)]
    return pd.Series(codes, dtype="category"), np.array(won)


def test_counts_are_those_of_the_rows():
    rates = fit_class_rates(*_rows(COUNTS))
    assert {code: (rates.won[code], rates.n[code]) for code in rates.n} == COUNTS
    assert rates.plain == pytest.approx((115 + 0.5) / (180 + 1))


def test_each_rate_lies_between_its_own_share_and_the_benchs_and_small_classes_move_most():
    rates = fit_class_rates(*_rows(COUNTS))
    moved = {}
    for code, (won, n) in COUNTS.items():
        mean, low, high = rates.chance(code)
        share = won / n
        assert min(share, rates.plain) < mean < max(share, rates.plain)
        assert low < mean < high
        moved[code] = (mean - share) / (rates.plain - share)
    assert moved["none_seen"] > moved["liquid"]
    assert moved["heat"] > moved["liquid"]
    width = {code: high - low for code, (_, low, high) in rates.chances.items()}
    assert width["drop"] < width["liquid"] < width["heat"]


def test_classes_that_do_not_differ_get_nearly_the_benchs_rate():
    rates = fit_class_rates(*_rows({"drop": (60, 100), "liquid": (30, 50), "heat": (3, 5)}))
    for code in rates.n:
        assert rates.chance(code)[0] == pytest.approx(0.6, abs=0.01)


def test_the_chances_are_those_of_the_pooled_model_with_damage_alone():
    codes, won = _rows(COUNTS)
    frame = pd.DataFrame({"damage": codes.astype(object)})
    direct = fit_pooled(frame, won, (Category("damage", "damage"),)).mean_chances(frame)
    assert fit_class_rates(codes, won).means(codes).to_numpy() == pytest.approx(direct, abs=1e-12)


def test_order_of_rows_does_not_matter_and_an_unseen_class_has_the_plain_rate():
    codes, won = _rows(COUNTS)
    order = np.random.default_rng(3).permutation(len(won))
    rates, other = fit_class_rates(codes, won), fit_class_rates(codes.iloc[order], won[order])
    for code in rates.n:
        assert rates.chance(code) == pytest.approx(other.chance(code), abs=1e-9)
    assert rates.means(pd.Series(["power_fault"])).tolist() == [rates.plain]


def test_no_jobs_is_refused():
    with pytest.raises(ModelError):
        fit_class_rates(pd.Series([], dtype=object), [])
