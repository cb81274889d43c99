"""The profile of a sum: of normal parts it is the normal of the sum, whatever the parts' number, order and scale."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analysis.models.summed_profile import STEPS, Curve, profile_of_sum


def normal(mean: float, sd: float) -> Curve:
    """Deviance of a quantity whose estimate is normal."""
    values = np.linspace(mean - 6 * sd, mean + 6 * sd, 4001)
    return Curve(values, ((values - mean) / sd) ** 2)


@pytest.mark.parametrize("parts", [[(2.0, 1.5)], [(3.0, 1.2), (-1.0, 0.9)], [(1.0, 0.5), (0.5, 1.3), (0.5, 0.4)]])
def test_variances_add_up(parts):
    found = profile_of_sum([normal(*part) for part in parts])
    mean, sd = sum(m for m, _ in parts), float(np.hypot.reduce([s for _, s in parts]))
    step = sum(12 * s for _, s in parts) / STEPS
    # The ends are the outermost steps of the grid inside the interval; each part lies up to half a step off the grid.
    off = step * len(parts) / 2
    low, high = (mean + side * stats.norm.isf(0.025) * sd for side in (-1, 1))
    assert low - off <= found.low < low + step + off
    assert high - step - off < found.high <= high + off
    assert found.p == pytest.approx(2 * stats.norm.sf(abs(mean) / sd), rel=0.02)


def test_a_part_on_a_grid_step_gives_the_last_step_inside():
    """Of 800 steps over -6 to 6 the interval from -1.96 to 1.96 holds those from -1.95 to 1.95."""
    found = profile_of_sum([normal(0.0, 1.0)])
    assert (found.low, found.high) == pytest.approx((-1.95, 1.95))
    assert found.p == pytest.approx(1.0)
