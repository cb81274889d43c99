"""Random intercepts: against plain integration, and by hand, direction and invariance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special, stats

from analysis.errors import ModelError, UnconvergedError
from analysis.models import random_intercepts
from analysis.models.firth import term_test
from analysis.models.penalised_many import maximise_many
from analysis.models.pooled import INTERCEPT_SD
from analysis.models.random_intercepts import MixUncertainty, fit_random_intercepts, rank_intervals
from analysis.models.within_group import WithinRows, above_means, compare_groups, fit_case_mix


def rows(wins: dict[str, tuple[int, int]]) -> tuple[np.ndarray, np.ndarray]:
    """Outcomes and groups from successes and jobs."""
    y = np.concatenate([np.arange(n) < x for x, n in wins.values()]).astype(float)
    return y, np.repeat(np.array(list(wins), dtype=object), [n for _, n in wins.values()])


@pytest.fixture(scope="module")
def uneven():
    rng = np.random.default_rng(3)
    y, group = rows({"B": (22, 40), "A": (30, 36), "C": (11, 20)})
    return y, rng.normal(0, 0.8, len(y)), group


def test_two_groups_against_plain_integration():
    y, group = rows({"A": (26, 30), "B": (14, 25)})
    offset = np.linspace(-0.7, 0.9, len(y))
    fit = fit_random_intercepts(y, offset, group, points=400)
    grid = np.linspace(-3, 6, 181)
    ll = [
        (y[own] * (eta := grid[:, None] + offset[own]) - np.logaddexp(0, eta)).sum(axis=1)
        for own in (group == "A", group == "B")
    ]
    tau = (np.arange(400) + 0.5) / 400 * 2.5
    a, b = np.meshgrid(grid, grid, indexing="ij")
    mass = np.zeros_like(a)
    for t in tau:
        both = np.array([[t**2, 0], [0, t**2]]) + INTERCEPT_SD**2
        prior = stats.multivariate_normal([0, 0], both).pdf(np.dstack([a, b]))
        mass += prior * stats.halfnorm(scale=0.5).pdf(t)
    mass *= np.exp(ll[0][:, None] + ll[1][None, :] - ll[0].max() - ll[1].max())
    mass /= mass.sum()
    half = (a - b) / 2
    mean, low, high = fit.distance(0.8)
    order = np.argsort(half.ravel())
    below = np.cumsum(mass.ravel()[order])
    ends = [half.ravel()[order][np.searchsorted(below, q)] for q in (0.1, 0.9)]
    assert abs(fit.above_mean()[0] - (mass[a > b].sum() + mass[a == b].sum() / 2)) < 0.005
    assert abs(mean[0] - (mass * half).sum()) < 0.01
    np.testing.assert_allclose([low[0], high[0]], ends, atol=0.02)


def test_rows_taken_a_few_at_a_time_give_the_same(uneven, monkeypatch):
    y, offset, group = uneven
    x = np.column_stack([np.linspace(-1, 1, len(y)), np.cos(np.arange(len(y)))])
    mix = MixUncertainty(x, np.array([[0.09, 0.01], [0.01, 0.04]]))
    whole = fit_random_intercepts(y, offset, group, mix)
    monkeypatch.setattr("analysis.models.binary.BLOCK_CELLS", 1)
    parts = fit_random_intercepts(y, offset, group, mix)
    for name in ("weight", "location", "covariance"):
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=0, atol=1e-12)


def test_a_blank_name_is_a_group_of_its_own_and_like_names_are_one(uneven):
    y, offset, _ = uneven
    names = np.resize(np.array(["2", 2, None, "A"], dtype=object), len(y))
    assert fit_random_intercepts(y, offset, names).names == ("2", "A", "None")


def test_equal_groups_stand_at_a_half_and_ranks_are_open():
    y, group = rows({"A": (20, 30), "B": (20, 30), "C": (20, 30)})
    fit = fit_random_intercepts(y, np.zeros(len(y)), group)
    np.testing.assert_allclose(fit.above_mean(), 0.5, atol=1e-9)
    low, high = rank_intervals(fit.draws(2000, np.random.default_rng(1)))
    assert low.tolist() == [1, 1, 1]
    assert high.tolist() == [3, 3, 3]


def test_row_order_and_names_decide_nothing(uneven):
    y, offset, group = uneven
    fit = fit_random_intercepts(y, offset, group)
    assert fit.names == ("A", "B", "C")
    mixed = np.random.default_rng(9).permutation(len(y))
    again = fit_random_intercepts(y[mixed], offset[mixed], group[mixed])
    np.testing.assert_allclose(again.above_mean(), fit.above_mean(), atol=1e-10)
    renamed = np.array([{"A": "Z", "B": "Y", "C": "X"}[g] for g in group], dtype=object)
    np.testing.assert_allclose(
        fit_random_intercepts(y, offset, renamed).above_mean(), fit.above_mean()[::-1], atol=1e-10
    )


def test_a_success_more_moves_its_group_up_and_harder_jobs_too(uneven):
    y, offset, group = uneven
    base = fit_random_intercepts(y, offset, group).above_mean()
    better = y.copy()
    better[np.flatnonzero((group == "B") & (y == 0))[0]] = 1
    assert fit_random_intercepts(better, offset, group).above_mean()[1] > base[1]
    harder = offset - 0.5 * (group == "B")
    assert fit_random_intercepts(y, harder, group).above_mean()[1] > base[1]


def test_the_smaller_group_is_pulled_in_more():
    y, group = rows({"A": (9, 10), "B": (90, 100), "C": (60, 100), "D": (60, 100)})
    mean, low, high = fit_random_intercepts(y, np.zeros(len(y)), group).distance()
    assert 0 < mean[0] < mean[1]
    assert high[0] - low[0] > high[1] - low[1]


def test_a_wider_prior_pulls_in_less(uneven):
    y, offset, group = uneven
    near, wide = (abs(fit_random_intercepts(y, offset, group, tau_scale=s).distance()[0][0]) for s in (0.25, 1.0))
    assert near < wide


def test_groups_without_a_failure_stay_finite():
    y, group = rows({"A": (20, 20), "B": (12, 20), "C": (13, 20)})
    fit = fit_random_intercepts(y, np.zeros(len(y)), group)
    assert fit.converged
    assert np.isfinite(fit.location).all()
    assert 0.9 < fit.above_mean()[0] < 1


def test_a_group_far_from_what_its_mix_promised_settles_at_the_root_of_its_score():
    # The full first step from 0 goes to -190 and the next one back: only halved steps arrive.
    y, offset, tau = np.zeros((1, 40)), np.full((1, 40), 6.0), 3.0
    rows_of_one = random_intercepts.GroupedRows(y, offset, np.ones((40, 1)))
    alpha, _, information, settled = random_intercepts.conditional_modes(rows_of_one, np.array([[[tau**-2]]]))
    root = optimize.brentq(lambda a: -40 * special.expit(6 + a) - a / tau**2, -20, 0, xtol=1e-12)
    p = special.expit(6 + root)
    assert settled
    np.testing.assert_allclose(alpha, [[root]], atol=1e-6)
    np.testing.assert_allclose(information, [[[40 * p * (1 - p) + tau**-2]]], rtol=1e-5)


def test_an_unsure_mix_widens_as_drawing_it_does():
    rng = np.random.default_rng(4)
    group = np.repeat(np.array(["A", "B", "C"], object), 60)
    x = rng.normal(0, 1, (180, 2)) + 0.8 * (group == "A")[:, None]
    x -= x.mean(axis=0)
    y = (rng.random(180) < special.expit(0.5 + x @ [0.5, -0.3])).astype(float)
    beta, covariance = np.array([0.5, -0.3]), np.array([[0.05, 0.01], [0.01, 0.04]])
    known = fit_random_intercepts(y, x @ beta, group, points=1, tau_scale=0.6)
    unsure = fit_random_intercepts(y, x @ beta, group, MixUncertainty(x, covariance), points=1, tau_scale=0.6)
    drawn = [
        fit_random_intercepts(y, x @ b, group, points=1, tau_scale=0.6).draws(40, rng)
        for b in rng.multivariate_normal(beta, covariance, 400)
    ]
    away = np.concatenate(drawn)
    away = away - away.mean(axis=1, keepdims=True)
    low, high = np.quantile(away, [0.025, 0.975], axis=0)
    got = unsure.distance()
    np.testing.assert_allclose(got[1], low, atol=0.05)
    np.testing.assert_allclose(got[2], high, atol=0.05)
    assert (got[2] - got[1] > known.distance()[2] - known.distance()[1]).all()


def test_a_good_group_with_hard_jobs_keeps_its_advantage_only_with_a_column_of_its_own():
    """A mix learned without groups makes the good group's hard jobs look easier than they are."""
    rng = np.random.default_rng(12)
    group = np.repeat(np.array(["A", "B"], object), 3000)
    x = rng.normal(0, 1, 6000) + 1.0 * (group == "A")
    y = (rng.random(6000) < special.expit(0.4 - 0.8 * x + 0.9 * (group == "A"))).astype(float)
    ones, own = np.ones(6000), (group == "A").astype(float)
    everyone = np.ones(6000, dtype=bool)
    within = WithinRows(np.column_stack([ones, own, x]), np.array([False, False, True]), group, everyone)
    without = WithinRows(np.column_stack([ones, x]), np.array([False, True]), group, everyone)
    half = [compare_groups(r, y, fit_case_mix(r, y)).distance()[0][0] for r in (within, without)]
    assert abs(half[0] - 0.45) < 0.08
    assert half[1] < 0.8 * half[0]


def test_many_draws_at_once_find_what_each_alone_finds():
    rng = np.random.default_rng(2)
    group = np.repeat(np.array(["A", "B"], object), 50)
    x = np.column_stack([np.ones(100), group == "B", rng.normal(0, 1, (100, 3))]).astype(float)
    within = WithinRows(x, np.array([False, False, True, True, True]), group, np.ones(100, dtype=bool))
    y = (rng.random((30, 100)) < special.expit(0.8 + x[:, 2])).astype(float)
    y[0], y[1] = 1.0, x[:, 2] > 0  # no failure at all, and separated
    many = maximise_many(x, y, np.zeros(5), np.ones(5, dtype=bool), 1e-9)
    assert many.settled.all()
    for k in range(30):
        alone = fit_case_mix(within, y[k])
        np.testing.assert_allclose(many.beta[k], alone.beta, rtol=1e-6, atol=1e-6)
        np.testing.assert_allclose(many.covariance[k], alone.covariance, rtol=1e-5, atol=1e-6)


def test_the_likelihood_lost_by_a_term_is_the_same_for_many_draws_at_once():
    rng = np.random.default_rng(5)
    x = np.column_stack([np.ones(80), rng.normal(0, 1, (80, 3))])
    y = (rng.random((6, 80)) < 0.4).astype(float)
    free = np.array([True, True, False, False])
    whole = maximise_many(x, y, np.zeros(4), np.ones(4, dtype=bool), 1e-9).loglik
    lost = 2 * (whole - maximise_many(x, y, np.zeros(4), free, 1e-9).loglik)
    alone = [term_test(x, each, (2, 3), "both").statistic for each in y]
    np.testing.assert_allclose(lost, alone, atol=1e-7)


def test_many_outcomes_compared_at_once_say_what_each_alone_says(monkeypatch):
    """Groups far apart and alike, more fits than are taken at once, jobs that only help to learn the mix."""
    rng = np.random.default_rng(8)
    group = np.array([f"T{k}" for k in rng.integers(0, 4, 160)], dtype=object)
    x = np.column_stack([np.ones(160), *(group == name for name in ("T1", "T2", "T3")), rng.normal(0, 1, (160, 2))])
    mix = np.array([False] * 4 + [True] * 2)
    within = WithinRows(x.astype(float), mix, group, group != "T3")
    lifts = np.linspace(0, 2.5, 9)
    y = np.array([rng.random(160) < special.expit(0.5 + lift * (group == "T1") + x[:, 4]) for lift in lifts], float)
    mixes = [fit_case_mix(within, each) for each in y]
    monkeypatch.setattr(random_intercepts, "BLOCK_CELLS", 4 * random_intercepts.POINTS * within.compared.sum())
    alone = [compare_groups(within, each, own).above_mean() for each, own in zip(y, mixes, strict=True)]
    np.testing.assert_allclose(above_means(within, y, mixes), alone, rtol=0, atol=1e-10)
    assert alone[-1][1] > 0.95 > alone[0][1]
    monkeypatch.setattr(random_intercepts, "NEWTON_STEPS", 1)
    with pytest.raises(UnconvergedError, match="did not settle"):
        above_means(within, y, mixes)


def test_what_cannot_be_compared_is_refused():
    y, group = rows({"A": (3, 6), "B": (2, 5)})
    with pytest.raises(ModelError, match="at least two"):
        fit_random_intercepts(y[:6], np.zeros(6), group[:6])
    with pytest.raises(ModelError, match="0 or 1"):
        fit_random_intercepts(y + 0.5, np.zeros(len(y)), group)
    with pytest.raises(ModelError, match="missing or infinite"):
        fit_random_intercepts(y, np.full(len(y), np.nan), group)
    within = WithinRows(np.ones((11, 1)), np.array([False]), group, np.ones(11, dtype=bool))
    with pytest.raises(ModelError, match="0 or 1"):
        fit_case_mix(within, y[:5])


def test_an_unsettled_fit_is_not_shown(monkeypatch):
    monkeypatch.setattr("analysis.models.random_intercepts.NEWTON_STEPS", 1)
    y, group = rows({"A": (19, 20), "B": (2, 20)})
    fit = fit_random_intercepts(y, np.zeros(len(y)), group)
    assert not fit.converged
    with pytest.raises(UnconvergedError):
        fit.above_mean()
