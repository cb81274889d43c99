"""What a log could show: shares with their error, the smallest size found, and outcomes drawn anew."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import norm

from analysis.questions import twin
from analysis.questions.twin import Share, draw_outcomes, read_off, smallest_found


def noisy_z(size: float, rng: np.random.Generator) -> bool:
    """A two-sided 5 % test of a normal mean: power known in closed form."""
    return bool(rng.normal(size) > norm.isf(0.025))


def test_the_smallest_size_of_a_z_test_is_the_one_of_the_textbook():
    """80 % power at 1.96 + 0.84 = 2.80 standard errors."""
    found = smallest_found(noisy_z, (1.0, 2.0, 3.0, 4.0), 600, 1)
    assert abs(found.size - 2.80) < 0.08 + 3 * found.error
    assert found.shops == 600
    assert found.found == tuple(sorted(found.found))


def test_the_same_seed_gives_the_same_answer_and_another_one_does_not():
    runs = [smallest_found(noisy_z, (1.0, 2.0, 4.0), 100, seed).size for seed in (3, 3, 4)]
    assert runs[0] == runs[1]
    assert runs[0] != runs[2]


def test_what_is_never_found_often_enough_is_infinite():
    assert np.isinf(smallest_found(lambda size, rng: False, (1.0, 2.0, 3.0), 50, 1).size)
    assert np.isinf(smallest_found(noisy_z, (0.2, 0.5, 1.0), 200, 1).size)


@pytest.mark.parametrize(("crossing", "size"), [(0.0, np.inf), (-1.0, np.inf), (3.5, np.inf), (3.0, 3.0), (0.1, 0.1)])
def test_a_size_at_which_nothing_is_planted_or_beyond_the_largest_is_none(monkeypatch, crossing, size):
    monkeypatch.setattr(twin, "_crossing", lambda *_: (crossing, 0.2))
    found = read_off((1.0, 2.0, 3.0), np.arange(20) < np.array([[10], [14], [17]]))
    assert found.size == size
    assert not found.or_less


def test_a_log_that_shows_everything_shows_the_smallest_size_planted_or_less():
    """Once read as never: 'even the largest would not have been clear' where the smallest always was."""
    always = smallest_found(lambda size, rng: size > 0.5, (1.0, 2.0, 3.0), 50, 1)
    assert always.found == (1.0, 1.0, 1.0)
    assert (always.size, always.or_less) == (1.0, True)
    nearly = read_off((6.0, 10.0, 14.0, 18.0, 24.0), np.arange(100) < np.array([[96], [100], [100], [100], [100]]))
    assert nearly.size <= 6.0


def test_read_off_needs_no_simulation_of_its_own():
    found = np.array([[0] * 9 + [1], [1] * 5 + [0] * 5, [1] * 9 + [0]], dtype=bool)
    got = read_off((1.0, 2.0, 3.0), found)
    assert got.found == (0.1, 0.5, 0.9)
    assert 2.0 < got.size < 3.0


def test_a_share_and_its_error():
    got = Share(1200, 4000)
    assert got.rate == 0.3
    assert got.error == pytest.approx(np.sqrt(0.3 * 0.7 / 4000), rel=0.05)
    assert Share(0, 200).error > 0


def test_outcomes_are_drawn_with_their_chances():
    log_odds = np.repeat([-2.0, 0.0, 1.5], 20_000)
    drawn = draw_outcomes(log_odds, np.random.default_rng(8)).reshape(3, -1).mean(axis=1)
    np.testing.assert_allclose(drawn, expit([-2.0, 0.0, 1.5]), atol=0.012)
