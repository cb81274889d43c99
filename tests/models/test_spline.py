"""The natural spline: smooth, straight outside, free of the unit."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.errors import ModelError
from analysis.models.spline import NaturalSpline, spline_through

KNOTS = (210.0, 225.0, 245.0, 260.0, 280.0)


def test_value_slope_and_bend_are_continuous_at_every_knot():
    spline, h = NaturalSpline(KNOTS), 1e-4
    for knot in KNOTS:
        before, at, after = spline.basis([knot - h, knot, knot + h])
        np.testing.assert_allclose(before, after, atol=1e-3)
        bend = (before - 2 * at + after) / h**2
        nearby = spline.basis(knot + 0.01 + np.array([-h, 0, h]))
        np.testing.assert_allclose(bend, (nearby[0] - 2 * nearby[1] + nearby[2]) / h**2, atol=1e-3)


def test_a_straight_line_is_within_the_basis_and_a_cubic_is_not():
    x = np.linspace(200, 290, 60)
    basis = np.column_stack([np.ones(60), NaturalSpline(KNOTS).basis(x)])

    def left(y):
        return np.abs(y - basis @ np.linalg.lstsq(basis, y, rcond=None)[0]).max()

    assert left(3 * x - 7) < 1e-9
    assert left((x / 100) ** 3) > 1e-3


def test_the_unit_changes_nothing():
    x = np.linspace(200, 290, 11)
    fahrenheit = NaturalSpline(tuple(1.8 * k + 32 for k in KNOTS))
    np.testing.assert_allclose(fahrenheit.basis(1.8 * x + 32), NaturalSpline(KNOTS).basis(x), atol=1e-12)


def test_knots_lie_at_equal_quantiles():
    assert spline_through(np.arange(1.0, 101.0), 3).knots == (1.0, 34.0, 67.0, 100.0)


@pytest.mark.parametrize(("values", "df"), [([1.0, 2.0], 1), ([1.0, 2.0, 3.0], 2), ([1.0, 2.0, 3.0, 4.0, 5.0], 3)])
def test_no_more_columns_than_different_values_can_carry(values, df):
    spline = spline_through(values * 10, 3)
    assert spline.df == df
    basis = np.column_stack([np.ones(len(values)), spline.basis(values)])
    assert np.linalg.matrix_rank(basis) == df + 1


@pytest.mark.parametrize("knots", [(1.0,), (1.0, 1.0), (2.0, 1.0)])
def test_knots_that_do_not_rise_are_refused(knots):
    with pytest.raises(ModelError, match="must rise"):
        NaturalSpline(knots)
