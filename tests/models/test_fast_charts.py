"""What charts and their limits do fast says the same as the plain way, with the same random numbers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, log_expit

from analysis.models.cusum import Uncertain, highest_points
from analysis.models.resampled_limits import mean_limits
from analysis.models.standardise import POINTS, REACH, _curve


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


def test_the_curve_of_a_cost_is_that_of_all_jobs_at_once():
    rng = np.random.default_rng(2)
    offset, own, at = rng.normal(0, 2, 700), rng.normal(0, 2, 150), 0.4
    y = (rng.random(700) < 0.6).astype(float)
    chance = expit(offset + at)
    shifts = at + np.linspace(-REACH, REACH, POINTS) / np.sqrt((chance * (1 - chance)).sum())
    z = offset + shifts[:, None]
    information = np.exp(log_expit(z) + log_expit(-z)).sum(axis=1)
    penalised = np.where(y > 0, log_expit(z), log_expit(-z)).sum(axis=1) + np.log(information) / 2
    found = _curve(y, offset, at, own)
    np.testing.assert_allclose(found.values, expit(own + shifts[:, None]).sum(axis=1), rtol=1e-12)
    np.testing.assert_allclose(found.deviance, 2 * (penalised.max() - penalised), atol=1e-9)
