"""What charts and their limits do fast says the same as the plain way, with the same random numbers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import expit, log_expit

from analysis.models.cusum import FEWEST_RUNS, Uncertain, highest_points, limit_for, runs_for, scores, walk
from analysis.models.resampled_limits import MANY, mean_limits
from analysis.models.standardise import POINTS, REACH, SameOffset, _curve


def shop(n: int, rng_seed: int = 3) -> Uncertain:
    rng = np.random.default_rng(rng_seed)
    x = np.column_stack([np.ones(n), rng.random((n, 3)) < 0.3, rng.normal(size=n)]).astype(float)
    return Uncertain(x, rng.normal(0, 0.5, 5), np.linalg.inv(0.2 * x.T @ x))


@pytest.mark.parametrize(("factor", "start"), [(0.5, 0.0), (2.0, 0.8)])
def test_highest_points_are_those_with_the_chances_of_every_job_under_every_draw(factor, start):
    model, jobs, draws = shop(120), 60, 300
    rng = np.random.default_rng(7)
    gain = np.log1p((factor - 1) * expit(model.x @ model.coefficients))
    true = rng.multivariate_normal(model.coefficients, model.covariance, size=draws, method="eigh")
    chance, run = expit(true @ model.x.T), np.arange(draws)
    now, highest = np.full(draws, start), np.zeros(draws)
    for _ in range(jobs):
        job = rng.integers(0, len(model.x), draws)
        success = rng.random(draws) < chance[run, job]
        now = np.maximum(0.0, now + success * np.log(factor) - gain[job])
        highest = np.maximum(highest, now)
    np.testing.assert_allclose(highest_points(model, factor, jobs, 7, draws, start), highest, atol=1e-12)


@pytest.mark.parametrize(("factor", "start"), [(0.5, 0.0), (2.0, 0.8)])
def test_runs_walked_one_after_the_other_are_those_walked_job_by_job(monkeypatch, factor, start):
    model, jobs, draws = shop(120), 60, 37
    monkeypatch.setattr("analysis.models.cusum.MANY", jobs - 1)
    found = highest_points(model, factor, jobs, 7, draws, start)
    rng = np.random.default_rng(7)
    chance = expit(model.x @ model.coefficients)
    true = rng.multivariate_normal(model.coefficients, model.covariance, size=draws, method="eigh")
    for run, own in enumerate(true):
        job, rest = np.divmod(rng.random(jobs) * len(model.x), 1)
        job = job.astype(int)
        success = rest < expit(model.x @ own)[job]
        path, _ = walk(scores(chance[job], success, factor), np.inf, start)
        assert found[run] == pytest.approx(path.max(), abs=1e-12)


def test_both_ways_of_walking_follow_one_law(monkeypatch):
    model, jobs, draws = shop(200), 150, 20_000
    plainly = highest_points(model, 0.5, jobs, 1, draws)
    monkeypatch.setattr("analysis.models.cusum.MANY", 0)
    assert stats.ks_2samp(plainly, highest_points(model, 0.5, jobs, 2, draws)).pvalue > 0.01


@pytest.mark.parametrize(("earlier_n", "n"), [(12, 30), (400, 9)])
def test_limits_are_those_of_months_drawn_value_by_value(earlier_n, n):
    earlier, draws, rate = np.random.default_rng(1).poisson(2.0, earlier_n) / 2, 3000, 0.02
    rng = np.random.default_rng(5)
    drawn = np.empty((draws, n))
    for k in range(n):
        for run, ball in enumerate(rng.integers(0, earlier_n + k, draws)):
            drawn[run, k] = earlier[ball] if ball < earlier_n else drawn[run, ball - earlier_n]
    means = np.sort(drawn.mean(axis=1))
    beyond = int(draws * rate / 2)
    found = mean_limits(earlier, n, rate, 5, draws)
    assert (found.low, found.high) == (means[beyond], means[-beyond - 1])


@pytest.mark.parametrize("n", [25, MANY, MANY + 1, 4 * MANY])
def test_limits_of_a_yes_or_no_are_those_of_the_beta_binomial_distribution_either_way(n):
    """scipy.stats.betabinom: what an urn with so many of each colour gives where every ball goes back with another."""
    ones, zeros, rate, draws = 300, 1700, 0.02, 40_000
    found = mean_limits(np.r_[np.ones(ones), np.zeros(zeros)], n, rate, 3, draws)
    urn, error = stats.betabinom(n, ones, zeros), 4 * np.sqrt(rate / 2 * (1 - rate / 2) / draws)
    low, high = round(found.low * n), round(found.high * n)
    assert urn.cdf(low - 1) <= rate / 2 + error
    assert urn.cdf(low) >= rate / 2 - error
    assert urn.sf(high) <= rate / 2 + error
    assert urn.sf(high - 1) >= rate / 2 - error


@pytest.mark.parametrize(("jobs", "rate", "runs"), [(1, 0.2, 10_000), (2000, 0.2, 10_000), (5000, 0.2, 4000)])
def test_runs_are_fewer_only_where_a_year_holds_more_jobs_than_a_bench(jobs, rate, runs):
    assert runs_for(10_000, jobs, rate) == runs


def test_the_fewest_runs_keep_the_rate_to_its_stated_error():
    model, jobs, rate = shop(200), 150, 0.2
    assert runs_for(10_000, 10**6, rate) == FEWEST_RUNS
    assert runs_for(10_000, 10**6, 0.005) == 4000  # 20 runs beyond the limit
    found = limit_for(model, 0.5, jobs, rate, 5, draws=FEWEST_RUNS)
    assert found.error == pytest.approx(0.0089, abs=5e-5)
    share = np.mean(highest_points(model, 0.5, jobs, 8, 40_000) >= found.value)
    assert abs(share - rate) <= 3 * found.error


@pytest.mark.parametrize("n", [7, 40, 700, 5_000])
def test_the_curve_of_a_cost_is_that_of_all_jobs_one_by_one_at_every_point(n):
    """From some 40 jobs on it is worked out at fewer points."""
    rng = np.random.default_rng(n)
    offset, own, at = rng.normal(0, 2, n).round(2), rng.normal(0, 2, 150).round(2), 0.4
    y = (rng.random(n) < 0.6).astype(float)
    chance = expit(offset + at)
    shifts = at + np.linspace(-REACH, REACH, POINTS) / np.sqrt((chance * (1 - chance)).sum())
    z = offset + shifts[:, None]
    information = np.exp(log_expit(z) + log_expit(-z)).sum(axis=1)
    penalised = np.where(y > 0, log_expit(z), log_expit(-z)).sum(axis=1) + np.log(information) / 2
    found = _curve(SameOffset.of(y, offset), at, SameOffset.of(np.zeros(150), own))
    np.testing.assert_allclose(found.values, expit(own + shifts[:, None]).sum(axis=1), rtol=1e-12)
    np.testing.assert_allclose(found.deviance, 2 * (penalised.max() - penalised), atol=1e-8)
