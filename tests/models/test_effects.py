"""Percentage points and curves told from a penalised fit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit

from analysis.models.design import fit_design
from analysis.models.effects import ChanceCurve, average_difference, chance_curve
from analysis.models.firth import fit_firth, term_test
from analysis.models.terms import Curve, Number


def two_groups():
    """Group A: 12 of 20; group B: 27 of 30."""
    x = np.column_stack([np.ones(50), np.r_[np.zeros(20), np.ones(30)]])
    y = np.r_[np.ones(12), np.zeros(8), np.ones(27), np.zeros(3)]
    return fit_firth(x, y, ("i", "B")), x


def test_the_difference_of_two_groups_by_hand():
    """The penalised log odds ratio adds a half to each cell; the intercept then gives 39 of 50 in all."""
    fit, x = two_groups()
    ratio = np.log((27.5 / 3.5) / (12.5 / 8.5))
    assert fit.coefficients[1] == pytest.approx(ratio, abs=1e-8)
    a = fit.chance(x)[0]
    assert (20 * a + 30 * expit(logit(a) + ratio)) / 50 == pytest.approx(39 / 50)
    found = average_difference(fit, x, 1, (1,))
    assert found.points == pytest.approx(100 * (expit(logit(a) + ratio) - a))


def test_a_difference_does_not_depend_on_the_unit_of_another_column():
    rng = np.random.default_rng(0)
    x = np.column_stack([np.ones(150), rng.normal(size=150), rng.random(150) < 0.4])
    y = (rng.random(150) < expit(x[:, 1] - x[:, 2])).astype(float)
    one = average_difference(fit_firth(x, y, ("i", "a", "b")), x, 2, (2,))
    scaled = x * np.array([1, 500, 1])
    two = average_difference(fit_firth(scaled, y, ("i", "a", "b")), scaled, 2, (2,))
    np.testing.assert_allclose([one.points, one.low, one.high], [two.points, two.low, two.high], atol=1e-5)


def with_curve(rng_seed=0, n=400):
    rng = np.random.default_rng(rng_seed)
    rows = pd.DataFrame({"temp": rng.normal(330, 12, n), "age": rng.gamma(3, 1, n)})
    y = (rng.random(n) < expit(1.5 - ((rows["temp"] - 332) / 12) ** 2 - 0.2 * rows["age"])).to_numpy(float)
    design = fit_design(rows, [Curve("temp", "t", "°C"), Number("age", "age")], y)
    x = design.matrix(rows)
    return rows, y, design, x, fit_firth(x, y, design.names)


def test_the_chance_curve_finds_a_planted_optimum_and_averages_by_hand():
    rows, _, design, x, fit = with_curve(n=2000)
    grid = np.linspace(310, 352, 43)
    curve = chance_curve(fit, x, design.term_columns("t"), design.terms[0], rows["temp"].to_numpy(), grid)
    assert curve.best == pytest.approx(332, abs=4)
    at = rows.assign(temp=grid[7])
    assert curve.chance[7] == pytest.approx(fit.chance(design.matrix(at)).mean())


def test_the_band_of_the_chance_curve_is_that_of_drawn_coefficients():
    rows, _, design, x, fit = with_curve(n=800)
    grid = np.array([318.0, 330.0, 345.0])
    curve = chance_curve(fit, x, design.term_columns("t"), design.terms[0], rows["temp"].to_numpy(), grid)
    beta = fit.coefficients.copy()
    beta[0] = fit.flic_intercept
    draws = np.random.default_rng(1).multivariate_normal(beta, fit.covariance, 4000)
    for k, value in enumerate(grid):
        moved = design.matrix(rows.assign(temp=value))
        ends = np.quantile(expit(moved @ draws.T).mean(axis=0), [0.025, 0.975])
        np.testing.assert_allclose([curve.low[k], curve.high[k]], ends, atol=0.012)


def test_settings_that_may_be_best_are_those_whose_band_reaches_the_highest_chance():
    x = np.array([300.0, 310.0, 320.0, 330.0, 340.0])
    chance = np.array([0.4, 0.6, 0.7, 0.65, 0.3])
    curve = ChanceCurve(x, chance, chance - 0.1, chance + np.array([0.2, 0.1, 0.1, 0.08, 0.3]), x)
    assert curve.best == 320
    assert curve.may_be_best == (310, 330)


@pytest.mark.parametrize("best", [330.0, 600.0])
def test_the_best_setting_lies_among_those_told_where_150_jobs_tell_a_curve_at_all(best):
    """An optimum in the middle, or a chance that rises over all that was set; told where P is at most 0.2."""
    rng = np.random.default_rng(4)
    held, apart = [], []
    for _ in range(200):
        temp = np.round(rng.normal(330, 14, 150))
        log_odds = 0.9 - ((temp - best) / 25) ** 2 if best < 400 else 0.7 + 0.05 * (temp - 330)
        y = (rng.random(150) < expit(log_odds)).astype(float)
        rows = pd.DataFrame({"temp": temp})
        design = fit_design(rows, [Curve("temp", "t", "°C")], y)
        x, columns = design.matrix(rows), design.term_columns("t")
        if term_test(x, y, columns, "t").p > 0.2:
            continue
        grid = np.linspace(*np.quantile(temp, [0.02, 0.98]), 61)
        curve = chance_curve(fit_firth(x, y, design.names), x, columns, design.terms[0], temp, grid)
        low, high = curve.may_be_best
        held.append(low <= np.clip(best, grid[0], grid[-1]) <= high)
        apart.append(high - low)
    assert len(held) > 100
    assert np.mean(held) >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / len(held)), "three Monte Carlo errors"
    assert np.mean(apart) < 0.75 * 57, "and they are fewer than all that was set (57 °C from end to end)"
