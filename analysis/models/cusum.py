"""Risk-adjusted cumulative sum of log-likelihood ratios (CUSUM), with limits that know how uncertain the model is.

Source: Steiner, Cook, Farewell and Treasure, Biostatistics 1 (2000) 441–452. Each job moves the chart by the log of
how much likelier its outcome is if the odds have changed by a stated factor than if they have not; the chart never
falls below zero and signals at its limit.

The limit is the smallest one at which the chance of a false alarm within a stated number of jobs, *averaged over what
the true model may be*, is at most the stated rate. True models are drawn from the sampling distribution of the
estimated one (normal around its coefficients, with its covariance), outcomes from the true model, and the chart is
walked with the estimated one, as it will be in use. A limit for chances taken as known gives from 300 jobs a true run
length that is wrong three-fold either way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit

from analysis.errors import ModelError

Floats = NDArray[np.float64]

FAR = 700.0  # exp() of more is infinite
# Jobs simulated for one limit, all runs together: beyond them runs are fewer, so that a network's year takes no hours.
SIMULATED_JOBS = 20_000_000
FEWEST_RUNS = 2_000
# Jobs a year beyond which runs are walked one after the other, by other random numbers: only a network has so many.
MANY = 2_000
TOGETHER = 8  # runs whose chances are worked out at once


def scores(chances: ArrayLike, y: ArrayLike, odds_factor: float) -> Floats:
    """How far each outcome moves the chart.

    Parameters
    ----------
    chances : array_like, shape (n,) or (draws, n)
        Expected chance of ``y`` = 1 for each job.
    y : array_like, of the same shape
        Outcomes, 0 or 1.
    odds_factor : float
        Factor on the odds of ``y`` = 1 to be found: 0.5 halved, 2 doubled.

    Returns
    -------
    ndarray
        ``y log(f) - log(1 - p + f p)``.

    Raises
    ------
    ModelError
        If a chance is missing or not between 0 and 1, or the factor is not positive or is 1.
    """
    p, outcome = np.asarray(chances, dtype=float), np.asarray(y, dtype=float)
    if odds_factor <= 0 or odds_factor == 1:
        raise ModelError(f"A chart cannot look for odds multiplied by {odds_factor:g}.")
    if not ((p >= 0) & (p <= 1)).all():
        raise ModelError("A chance lies outside 0 to 1 or is missing.")
    return np.asarray(outcome * np.log(odds_factor) - np.log1p((odds_factor - 1) * p))


def walk(moves: Floats, limit: float, start: float = 0.0) -> tuple[Floats, tuple[int, ...]]:
    """Walk the chart; after a signal it starts again at zero.

    Parameters
    ----------
    moves : ndarray, shape (n,)
        From :func:`scores`.
    limit : float
        The chart signals where it reaches this.
    start : float
        Where it stood before the first job.

    Returns
    -------
    ndarray, shape (n,)
        Where the chart stands after each job; at a signal the value that signalled.
    tuple of int
        Positions of the signals.
    """
    path, signals, now = np.empty(len(moves)), [], start
    for k, move in enumerate(moves):
        now = max(0.0, now + float(move))
        path[k] = now
        if now >= limit:
            signals.append(k)
            now = 0.0
    return path, tuple(signals)


@dataclass(frozen=True)
class Limit:
    """A limit with what it was made from.

    Parameters
    ----------
    value : float
        The chart signals at or above it.
    rate : float
        Stated chance of a false alarm within ``jobs`` jobs, averaged over the draws of the model.
    jobs : int
        Jobs the rate is for.
    draws : int
        Simulated runs.
    error : float
        Monte Carlo error of the rate.
    rng_seed : int
        Random seed; the same seed gives the same limit.
    """

    value: float
    rate: float
    jobs: int
    draws: int
    error: float
    rng_seed: int


@dataclass(frozen=True)
class Uncertain:
    """An estimated model, as far as a limit needs it.

    Parameters
    ----------
    x : ndarray, shape (m, p)
        Design of jobs like those to come; simulated jobs are drawn from them.
    coefficients : ndarray, shape (p,)
        On the log odds.
    covariance : ndarray, shape (p, p)
        Of the coefficients; zeros where the chances are known.
    """

    x: Floats
    coefficients: Floats
    covariance: Floats


def highest_points(
    model: Uncertain, odds_factor: float, jobs: int, rng_seed: int, draws: int, start: float = 0.0
) -> Floats:
    """Highest point of the chart within ``jobs`` jobs without any change, for each simulated run, shape (draws,).

    Each run draws its own true model and its own jobs; within a run all jobs share the true model.
    """
    rng = np.random.default_rng(rng_seed)
    gain = np.log1p((odds_factor - 1) * expit(model.x @ model.coefficients))
    true = rng.multivariate_normal(model.coefficients, model.covariance, size=draws, method="eigh")
    if jobs > MANY:
        return _run_by_run(model.x, gain, true, rng, odds_factor, jobs, start)
    now, highest = np.full(draws, start), np.zeros(draws)
    for _ in range(jobs):
        job = rng.integers(0, len(model.x), draws)
        # Only the chances of the jobs drawn: those of every job under every draw fill gigabytes and take longer.
        eta = np.einsum("dp,dp->d", true, model.x.take(job, axis=0))
        success = rng.random(draws) * (1 + np.exp(-np.maximum(eta, -FAR))) < 1
        now += success * np.log(odds_factor)
        now -= gain.take(job)
        np.maximum(now, 0.0, out=now)
        np.maximum(highest, now, out=highest)
    return highest


def _run_by_run(
    x: Floats, gain: Floats, true: Floats, rng: np.random.Generator, odds_factor: float, jobs: int, start: float
) -> Floats:
    """The same, each run walked at once: the chart is the sum of its moves, less the lowest this was below zero."""
    highest = np.zeros(len(true))
    for first in range(0, len(true), TOGETHER):
        # One over the chance, of every job at once.
        rarity = 1 + np.exp(-np.maximum(true[first : first + TOGETHER] @ x.T, -FAR))
        for run, of_run in enumerate(rarity, first):
            path = rng.random(jobs) * len(x)
            job = path.astype(np.intp)
            path -= job  # what is left over decides the outcome: a million jobs take 20 of 53 random bits
            path *= of_run.take(job, mode="clip")
            path = (path < 1) * np.log(odds_factor)
            path -= gain.take(job, mode="clip")
            path[0] += start
            np.cumsum(path, out=path)
            path -= np.minimum(np.minimum.accumulate(path), 0.0)
            highest[run] = max(0.0, path.max())
    return highest


def runs_for(runs: int, jobs: int, rate: float) -> int:
    """How many runs a limit gets: those asked for, fewer where a year holds more jobs than any bench has.

    Parameters
    ----------
    runs : int
        Runs asked for; 10,000 are kept up to 2,000 jobs a year.
    jobs : int
        Jobs in each run.
    rate : float
        Chance of a false alarm; a limit needs 20 runs beyond it.

    Returns
    -------
    int
        At least :data:`FEWEST_RUNS` (a rate of .20 then has a Monte Carlo error of .009), never more than asked for.
    """
    fewest = max(FEWEST_RUNS, int(np.ceil(20 / rate)))
    return min(runs, max(fewest, SIMULATED_JOBS // max(jobs, 1)))


def limit_for(
    model: Uncertain, odds_factor: float, jobs: int, rate: float, rng_seed: int, *, draws: int, start: float = 0.0
) -> Limit:
    """Find the limit that keeps a stated false-alarm rate.

    Parameters
    ----------
    model : Uncertain
        The estimated model.
    odds_factor : float
        Factor on the odds that the chart looks for.
    jobs : int
        Number of jobs the rate is for, for example a year's.
    rate : float
        Chance of a false alarm within these jobs, averaged over what the true model may be.
    rng_seed : int
        Random seed, stored with the limit.
    draws : int
        Simulated runs.
    start : float
        Where the chart stands when the limit begins to hold, so that the rate holds from there.

    Raises
    ------
    ModelError
        If there are no jobs to draw from, or the runs are too few for the rate.
    """
    if jobs < 1 or not len(model.x):
        raise ModelError("A limit needs past jobs and at least one job to come.")
    if not 0 < rate < 1 or draws * rate < 20:
        raise ModelError(f"{draws} simulated runs are too few for a false-alarm rate of {rate:g}.")
    highest = np.sort(highest_points(model, odds_factor, jobs, rng_seed, draws, start))
    # At most `rate` of the runs reach the limit; the limit lies above the last value that may not signal.
    place = draws - int(np.floor(rate * draws)) - 1
    value = float(np.nextafter(highest[place], np.inf))
    return Limit(value, rate, jobs, draws, float(np.sqrt(rate * (1 - rate) / draws)), rng_seed)
