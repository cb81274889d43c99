"""Survival engines worked by hand, and refusing what they cannot do."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from analysis.errors import ModelError
from analysis.models.attempts import life_table
from analysis.models.beta_geometric import fit_beta_geometric
from analysis.models.cox import columns_without_information, fit_cox
from analysis.models.gray import gray_test
from analysis.models.incidence import cumulative_incidence, survival
from analysis.models.intervals import proportion, wilson
from analysis.models.log_rank import log_rank
from analysis.models.poisson_binomial import central_range, pmf, two_sided
from analysis.models.proportional_hazards import proportionality_table
from analysis.models.timed import at_risk, timed


def test_aalen_johansen_by_hand():
    """1 success at 1; competing end at 2; success at 3; censored at 4 (n = 4): 1/4, then 1/4 + 2/4 · 1/2 = 1/2."""
    curve = cumulative_incidence(timed([1, 2, 3, 4], [1, 2, 1, 0]), minimum=1)
    assert [curve.at(t)[0] for t in (0.5, 1, 2, 3)] == pytest.approx([0, 0.25, 0.25, 0.5])
    other = cumulative_incidence(timed([1, 2, 3, 4], [1, 2, 1, 0]), minimum=1, cause=2)
    assert other.at(2)[0] == pytest.approx(0.25)


def test_without_a_competing_end_it_is_one_minus_kaplan_meier():
    rng = np.random.default_rng(0)
    data = timed(rng.integers(1, 9, 60), rng.integers(0, 2, 60))
    one, two = cumulative_incidence(data, minimum=1), survival(data, minimum=1)
    np.testing.assert_allclose(one.estimate, 1 - two.estimate, atol=1e-12)


def test_kaplan_meier_refuses_a_competing_end():
    with pytest.raises(ModelError, match="competing end"):
        survival(timed([1, 2], [1, 2]))


def test_a_curve_says_nothing_beyond_the_last_ten_at_risk():
    data = timed(np.arange(1, 21), np.ones(20))
    curve = cumulative_incidence(data)
    assert curve.stop == 11
    assert np.isnan(curve.at(12)[0])
    assert curve.numbers_at_risk([0, 1, 11, 12]).tolist() == [20, 20, 10, 9]


@pytest.mark.parametrize("events", [[0, 0, 0], [2, 2, 2]])
def test_no_event_gives_a_flat_curve(events):
    curve = cumulative_incidence(timed([1, 2, 3], events), minimum=1)
    assert curve.events == 0
    assert curve.at(2)[0] == 0
    assert np.isnan(curve.reached(0.5))


@pytest.mark.parametrize(
    ("time", "event", "entry", "told"),
    [
        ([1, 2], [1], None, "same number"),
        ([1, -2], [1, 0], None, "negative"),
        ([1, np.nan], [1, 0], None, "missing"),
        ([1, 2], [1, 3], None, "must be 0"),
        ([1, 2], [1, 0], [0, 2], "at or after its own end"),
    ],
)
def test_the_gate_refuses_impossible_times(time, event, entry, told):
    with pytest.raises(ModelError, match=told):
        timed(time, event, entry)


def test_late_entries_are_not_yet_at_risk():
    assert at_risk(timed([5, 6, 7], [1, 1, 1], [0, 3, 5]), [1, 4, 6]).tolist() == [1, 2, 2]


def test_gray_is_zero_for_equal_groups_and_free_of_labels_and_units():
    time, event = np.tile([1, 2, 3, 4, 5], 2), np.tile([1, 2, 1, 0, 1], 2)
    group = np.repeat(["a", "b"], 5)
    assert gray_test(timed(time, event), group).statistic == pytest.approx(0, abs=1e-12)
    rng = np.random.default_rng(3)
    time, event, group = rng.integers(1, 30, 90), rng.integers(0, 3, 90), rng.integers(0, 3, 90)
    first = gray_test(timed(time, event), group)
    order = rng.permutation(90)
    again = gray_test(timed(time[order] * 60.0, event[order]), np.array(["z", "a", "m"])[group[order]])
    assert again.statistic == pytest.approx(first.statistic, abs=1e-9)
    assert first.df == 2


def test_gray_without_censoring_or_competing_ends_is_close_to_the_log_rank():
    rng = np.random.default_rng(4)
    data = timed(rng.exponential(1, 400), np.ones(400))
    group = rng.integers(0, 2, 400)
    assert gray_test(data, group).statistic == pytest.approx(log_rank(data, group).statistic, abs=0.05)


def test_gray_keeps_its_level():
    """False alarms at 5 % over 400 samples without a difference: within three Monte Carlo errors."""
    rng = np.random.default_rng(5)
    alarms = 0
    for _ in range(400):
        time, event = rng.exponential(1, 80), rng.choice([0, 1, 2], 80, p=[0.2, 0.5, 0.3])
        alarms += gray_test(timed(time, event), rng.integers(0, 2, 80)).p < 0.05
    assert abs(alarms / 400 - 0.05) < 3 * np.sqrt(0.05 * 0.95 / 400)


def test_cox_by_hand_two_rows():
    """One event in each of two groups of one: the partial likelihood is 1 / (1 + exp(b)), which has no maximum."""
    data = timed([1, 2], [1, 0])
    fit = fit_cox([[1.0], [0.0]], data, ("group",))
    assert not fit.converged
    assert "group" in fit.reason
    assert columns_without_information(np.array([[1.0], [0.0]]), data, ("group",)) == ("group",)


def test_cox_is_free_of_row_order_and_time_unit_and_turns_with_the_sign():
    rng = np.random.default_rng(1)
    x, time, event = rng.normal(size=(80, 2)), rng.integers(1, 20, 80), rng.integers(0, 2, 80)
    first = fit_cox(x, timed(time, event), ("a", "b"))
    order = rng.permutation(80)
    again = fit_cox(x[order], timed(time[order] * 60.0, event[order]), ("a", "b"))
    np.testing.assert_allclose(again.coefficients, first.coefficients, atol=1e-9)
    turned = fit_cox(-x, timed(time, event), ("a", "b"))
    np.testing.assert_allclose(turned.coefficients, -first.coefficients, atol=1e-9)
    table = proportionality_table(first, x, timed(time, event), {"both": (0, 1)})
    assert [row.label for row in table] == ["both", "all terms"]
    assert table[0].statistic == pytest.approx(table[1].statistic)


def test_cox_finds_a_planted_hazard_ratio():
    rng = np.random.default_rng(2)
    x = (rng.random(4000) < 0.5).astype(float)
    fit = fit_cox(x[:, None], timed(rng.exponential(1 / (0.2 * np.exp(0.7 * x))), np.ones(4000)), ("x",))
    assert fit.coefficients[0] == pytest.approx(0.7, abs=3 * fit.se[0])


def test_cox_refuses_a_missing_value_and_no_event():
    with pytest.raises(ModelError, match="missing"):
        fit_cox([[np.nan], [1.0]], timed([1, 2], [1, 1]), ("a",))
    with pytest.raises(ModelError, match="No row had the event"):
        fit_cox([[0.0], [1.0]], timed([1, 2], [0, 2]), ("a",))


def test_a_life_table_of_attempts_by_hand():
    """Four jobs: two boot at once; one is given up; one fails, then boots."""
    rows = life_table([1, 1, 1, 1, 2], [1, 1, 0, 0, 1], ["success", "success", "given up", "continued", "success"])
    first, second = rows
    assert (first.tried, first.chance.x, first.given_up) == (4, 2, 1)
    assert first.within_continued[0] == first.within_low[0] == 0.5
    assert second.within_continued[0] == pytest.approx(1.0)
    assert second.within_low[0] == second.within_high[0] == pytest.approx(0.75)
    assert not second.bounded


def test_open_jobs_are_censored_by_hand():
    """Of four, one boots and one is still open; of the two left one boots: 1/4 + 3/4 · 1/2 = 5/8."""
    then = ["success", "open", "continued", "continued", "success", "open"]
    first, second = life_table([1, 1, 1, 1, 2, 2], [1, 0, 0, 0, 1, 0], then)
    assert (first.still_open, second.still_open) == (1, 1)
    assert second.within_low == second.within_high
    assert second.within_low[0] == pytest.approx(0.625)
    assert second.within_low[1] < 0.625 < second.within_low[2]


def test_open_jobs_may_yet_be_given_up_by_hand():
    """Of ten, four boot; of the six others two are open, two given up, two go on and boot.

    Of the four whose fate is known half went on: 4/10 + 6/10 · 1/2. With none given up: 4/10 + 6/10.
    """
    then = ["success"] * 4 + ["open"] * 2 + ["given up"] * 2 + ["continued"] * 2 + ["success"] * 2
    second = life_table([1] * 10 + [2] * 2, [1] * 4 + [0] * 6 + [1] * 2, then)[1]
    assert second.within_low[0] == second.within_high[0] == pytest.approx(0.7)
    assert second.within_continued[0] == pytest.approx(1.0)


def test_a_job_given_up_was_not_lost_and_is_spared_the_loss_of_others_by_hand():
    """Of four that fail, one is lost, one given up, two go on and boot: 2/4; had it gone on, 3/4."""
    then = ["lost for good", "given up", "continued", "continued", "success", "success"]
    second = life_table([1, 1, 1, 1, 2, 2], [0, 0, 0, 0, 1, 1], then)[1]
    assert second.within_low[0] == pytest.approx(2 / 4)
    assert second.within_continued[0] == pytest.approx(3 / 4)


def test_a_beta_geometric_with_jobs_never_booted_is_found_where_a_search_without_slopes_finds_it():
    counts, beyond = [40, 12, 5], 43

    def minus_loglik(logs):
        """Chance of the first success at attempt j from that at j - 1: times (b + j - 2) / (a + b + j - 1)."""
        a, b = np.exp(logs)
        chances = [a / (a + b)]
        for j in (2, 3):
            chances.append(chances[-1] * (b + j - 2) / (a + b + j - 1))
        return -(counts @ np.log(chances) + beyond * np.log(1 - sum(chances)))

    found = optimize.minimize(minus_loglik, [0, 0], method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-12})
    fit = fit_beta_geometric(counts, beyond)
    assert fit.converged
    np.testing.assert_allclose([fit.alpha, fit.beta], np.exp(found.x), rtol=1e-5)
    np.testing.assert_allclose(fit.loglik, -found.fun, rtol=1e-10)


def test_a_beta_geometric_without_spread_says_so():
    with pytest.raises(ModelError, match="both successes and failed"):
        fit_beta_geometric([5, 0, 0], 0)
    assert not fit_beta_geometric([512, 256, 128, 64, 32], 32).converged


def test_poisson_binomial_of_equal_chances_is_binomial():
    from scipy.stats import binom

    np.testing.assert_allclose(pmf(np.full(30, 0.3)), binom.pmf(np.arange(31), 30, 0.3), atol=1e-14)
    mass = pmf(np.full(20, 0.5))
    low, high = central_range(mass, 0.95)
    assert mass[:low].sum() <= 0.025 < mass[: low + 1].sum()
    assert mass[high + 1 :].sum() <= 0.025 < mass[high:].sum()
    assert two_sided(mass, 10) == 1.0
    assert pmf([]).tolist() == [1.0]


def test_intervals_at_their_edges():
    assert (wilson(0, 10).low, wilson(10, 10).high) == (0.0, 1.0)
    assert np.isnan(wilson(0, 0).low)
    for method in ("wilson", "exact", "jeffreys"):
        for x in range(6):
            one = proportion(x, 5, method=method)
            assert 0 <= one.low <= x / 5 <= one.high <= 1
    with pytest.raises(ModelError, match="between 0 and its number"):
        wilson(3, 2)
