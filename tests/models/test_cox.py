"""Cox regression: the likelihood against its definition, estimates that run off are named, large data stay quick."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.errors import ModelError, UnconvergedError
from analysis.models.cox import fit_cox
from analysis.models.partial_likelihood import PartialLikelihood
from analysis.models.proportional_hazards import proportionality_table
from analysis.models.timed import timed


def _by_definition(x, data, strata, ties, beta, weight=lambda step: 1.0):
    """Log likelihood, slope and information written out event by event."""
    loglik, score, information = 0.0, np.zeros(x.shape[1]), np.zeros((x.shape[1],) * 2)
    steps = sorted({(s, t) for s, t, e in zip(strata, data.time, data.event, strict=True) if e == 1})
    for number, (stratum, t) in enumerate(steps):
        risk = (strata == stratum) & (data.time >= t) & ((data.entry < t) | (data.entry == 0))
        dead = risk & (data.time == t) & (data.event == 1)
        for turn in range(int(dead.sum())):
            share = turn / dead.sum() if ties == "efron" else 0.0
            w = np.exp(x @ beta) * (risk - share * dead)
            mean = w @ x / w.sum()
            loglik -= np.log(w.sum())
            score -= weight(number) * mean
            information += weight(number) * ((x * w[:, None]).T @ x / w.sum() - np.outer(mean, mean))
        loglik += float((x[dead] @ beta).sum())
        score += weight(number) * x[dead].sum(axis=0)
    return loglik, score, information


@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("in_parts", [False, True])
def test_the_likelihood_is_its_definition(ties, late, in_parts, monkeypatch):
    """Ties, strata, late entry, a competing end, a stratum without an event, and weights of steps, all at once."""
    if in_parts:
        monkeypatch.setattr("analysis.models.binary.BLOCK_CELLS", 1)  # 64 rows at once: a step is cut in two
    rng = np.random.default_rng(7)
    x, strata = rng.normal(size=(90, 3)), rng.integers(0, 4, 90)
    time, event = rng.integers(1, 12, 90).astype(float), rng.integers(0, 3, 90)
    event[strata == 2] = 0
    entry = np.where(rng.random(90) < 0.5, rng.integers(0, 8, 90), 0) if late else np.zeros(90)
    data = timed(time, event, np.minimum(entry, time - 1))
    likelihood, beta = PartialLikelihood(x, data, ties, strata), np.array([0.3, -0.8, 0.5])
    point = likelihood.at(beta)
    loglik, score, information = _by_definition(x, data, strata, ties, beta)
    # Shifting all risks of a stratum alike changes nothing, so the log likelihoods agree as they stand.
    assert point.loglik == pytest.approx(loglik, abs=1e-10)
    np.testing.assert_allclose(point.score, score, atol=1e-10)
    np.testing.assert_allclose(point.information, information, atol=1e-10)
    steps = rng.normal(size=len(likelihood.sets.times))
    weighted = likelihood.at(beta, steps)
    _, score, information = _by_definition(x, data, strata, ties, beta, lambda step: steps[step])
    np.testing.assert_allclose(weighted.score, score, atol=1e-10)
    np.testing.assert_allclose(weighted.information, information, atol=1e-10)


def test_tied_events_by_hand():
    """Two of three end together: Efron 1/3 · 1/2 for the pair, Breslow 1/3 · 1/3; then one is left."""
    data = timed([1, 1, 2], [1, 1, 1])
    x = [[1.0], [0.0], [0.5]]
    assert fit_cox(x, data, ("a",)).loglik_null == pytest.approx(-np.log(6))
    assert fit_cox(x, data, ("a",), ties="breslow").loglik_null == pytest.approx(-np.log(9))


def test_a_hazard_ratio_by_hand():
    """Ends at 1 (hot), 2 (cold), 3 (hot), one cold never; h is the hazard ratio.

    At risk: 2 hot and 2 cold, then 1 and 2, then 1 and 1. The likelihood is h/(2h+2) · 1/(h+2) · h/(h+1); its slope
    2 − 2h/(h+1) − h/(h+2) is nothing where h² − h − 4 = 0.
    """
    fit = fit_cox([[1.0], [0.0], [1.0], [0.0]], timed([1, 2, 3, 4], [1, 1, 1, 0]), ("hot",))
    assert np.exp(fit.coefficients[0]) == pytest.approx((1 + np.sqrt(17)) / 2)


def _spread(levels, n, seed):
    return np.eye(levels)[np.random.default_rng(seed).integers(0, levels, n)]


def test_a_level_without_an_event_is_named_even_as_the_reference():
    rng = np.random.default_rng(8)
    level, time = _spread(4, 90, 8), rng.exponential(1, 90)
    event = np.where(level[:, 3] == 1, 0, 1)
    fit = fit_cox(level[:, 1:], timed(time, event), ("one", "two", "three"))
    assert not fit.converged
    assert fit.reason == "no finite estimate for: three"
    assert np.isnan(fit.coefficients).tolist() == [False, False, True]
    assert np.isfinite(fit.se[:2]).all()
    with pytest.raises(UnconvergedError, match="three"):
        fit.shown()
    with pytest.raises(UnconvergedError):
        proportionality_table(fit, level[:, 1:], timed(time, event))
    reference = fit_cox(level[:, :3], timed(time, event), ("none", "one", "two"))
    assert reference.reason == "no finite estimate for: none, one, two"
    assert np.isnan(reference.low).all()


def test_events_in_perfect_order_are_named():
    """One column, or two only together, put the ends in order: the likelihood has no maximum."""
    rng = np.random.default_rng(9)
    order, other, noise = np.sort(rng.normal(size=80))[::-1], rng.normal(size=80), rng.normal(size=80)
    data = timed(np.arange(80) + 1.0, np.ones(80))
    assert fit_cox(order[:, None], data, ("order",)).reason == "no finite estimate for: order"
    together = np.column_stack([order / 2 + other, order / 2 - other])
    fit = fit_cox(together, data, ("a", "b"))
    assert not fit.converged
    assert fit.reason == "no finite estimate for: a, b"
    assert fit_cox(noise[:, None], data, ("noise",)).converged


def test_columns_that_tell_nothing_are_named():
    rng = np.random.default_rng(10)
    a, b = rng.normal(size=(2, 60))
    data = timed(rng.exponential(1, 60), np.ones(60))
    assert "a, b, sum" in fit_cox(np.column_stack([a, b, a + b]), data, ("a", "b", "sum")).reason
    constant = fit_cox(np.column_stack([a, np.ones(60)]), data, ("a", "constant"))
    assert constant.reason.endswith("apart: constant")
    shop = rng.integers(0, 3, 60)
    same = fit_cox(np.column_stack([a, shop == 1]), data, ("a", "second shop"), strata=shop)
    assert same.reason.endswith("apart: second shop")


def test_the_units_of_the_columns_do_not_matter():
    rng = np.random.default_rng(11)
    x, data = rng.normal(size=(100, 2)), timed(rng.integers(1, 30, 100), rng.integers(0, 2, 100))
    first = fit_cox(x, data, ("a", "b"))
    units = np.array([1e-7, 3e8])
    again = fit_cox(x * units + [0, 1e9], data, ("a", "b"))
    np.testing.assert_allclose(again.coefficients * units, first.coefficients, rtol=1e-6)
    np.testing.assert_allclose(again.se * units, first.se, rtol=1e-6)


def test_many_rows_take_no_more_steps(monkeypatch):
    """Rounding of a large log likelihood once sent the halving of steps round for minutes."""
    calls = []
    evaluate = PartialLikelihood.at
    monkeypatch.setattr(PartialLikelihood, "at", lambda *given: calls.append(1) or evaluate(*given))
    rng = np.random.default_rng(12)
    x = rng.normal(size=(30_000, 4))
    end = rng.exponential(np.exp(-x @ [0.5, -0.5, 0.2, 0.0]))
    fit = fit_cox(x, timed(np.minimum(end, 1.5), end < 1.5), ("a", "b", "c", "d"))
    assert fit.converged
    assert len(calls) < 15
    np.testing.assert_allclose(fit.coefficients, [0.5, -0.5, 0.2, 0.0], atol=4 * fit.se.max())


def test_the_interval_holds_the_truth_as_often_as_it_says():
    """95 % intervals over 400 samples of 80 jobs: within three Monte Carlo errors."""
    rng = np.random.default_rng(13)
    hits = 0
    for _ in range(400):
        x = rng.normal(size=(80, 1))
        end, stop = rng.exponential(np.exp(-0.6 * x[:, 0])), rng.exponential(2, 80)
        fit = fit_cox(x, timed(np.minimum(end, stop), end < stop), ("x",))
        hits += fit.low[0] <= 0.6 <= fit.high[0]
    assert abs(hits / 400 - 0.95) < 3 * np.sqrt(0.95 * 0.05 / 400)


def test_no_logarithm_of_time_zero():
    x, data = np.random.default_rng(14).normal(size=(20, 1)), timed(np.arange(20), np.ones(20))
    fit = fit_cox(x, data, ("x",))
    assert len(proportionality_table(fit, x, data)) == 2
    with pytest.raises(ModelError, match="logarithm"):
        proportionality_table(fit, x, data, scale="log")


def test_a_hazard_ratio_that_fades_is_found():
    """The column doubles the rate before time 1 and halves it afterwards."""
    rng = np.random.default_rng(15)
    x = (rng.random(1500) < 0.5).astype(float)
    first = rng.exponential(np.where(x == 1, 0.5, 1.0))
    end = np.where(first < 1, first, 1 + rng.exponential(np.where(x == 1, 2.0, 1.0)))
    data = timed(end, np.ones(1500))
    fit = fit_cox(x[:, None], data, ("x",))
    assert proportionality_table(fit, x[:, None], data)[0].p < 1e-6
    steady = timed(rng.exponential(np.exp(-0.5 * x)), np.ones(1500))
    fit = fit_cox(x[:, None], steady, ("x",))
    assert proportionality_table(fit, x[:, None], steady)[0].p > 0.001


def test_events_all_at_one_time_show_no_change():
    rng = np.random.default_rng(16)
    x, data = rng.normal(size=(30, 1)), timed(np.full(30, 4.0), rng.integers(0, 2, 30))
    fit = fit_cox(x, data, ("x",))
    assert fit.converged
    assert proportionality_table(fit, x, data) == ()
