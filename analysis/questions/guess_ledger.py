"""A technician's own guesses against what happened; for that technician's eyes only.

One technician at a time: nothing here makes a table of several.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from analysis.errors import ReworkError
from analysis.models.intervals import Proportion, wilson
from analysis.models.rolling import GUESS, MODEL, Rolling
from analysis.models.scores import Scores, log_scores, score
from analysis.questions.offer_rows import OutcomeRows

Floats = NDArray[np.float64]
BANDS = ((0, 50), (50, 70), (70, 85), (85, 100))  # percent guessed; the upper end belongs to the next band
WEIGHTS = np.arange(0, 13) / 10  # of guess and of model, in log odds
FEWEST_EARLIER = 20  # guesses with a known outcome before a blend is chosen; common practice, no source


@dataclass(frozen=True)
class GuessBand:
    """Guesses of one band: how high they were, and how often the job was recovered (95 % Wilson interval)."""

    low: int
    high: int
    mean: float
    recovered: Proportion


@dataclass(frozen=True)
class Blend:
    """Guess and model together: log odds of the blend = ``guess`` x log odds of the guess + ``model`` x the model's.

    Parameters
    ----------
    guess, model : float
        Weights chosen from all jobs judged so far; 0 and 1: the model alone.
    n : int
        Jobs blended without look-ahead: weights chosen before each month from what was known by then.
    blended, of_guess, of_model : float
        Mean log score of the blend, of the guess and of the model on those jobs; larger is better. NaN with none.
    """

    guess: float
    model: float
    n: int
    blended: float
    of_guess: float
    of_model: float


@dataclass(frozen=True)
class GuessLedger:
    """One technician's guesses.

    Parameters
    ----------
    technician : str
    n, unguessed : int
        Closed jobs with a guess, and without one.
    scores : Scores or None
        Measures of the guesses; None without any.
    bands : tuple of GuessBand
    blend : Blend or None
        None with too few guesses that the model judged as well.
    """

    technician: str
    n: int
    unguessed: int
    scores: Scores | None
    bands: tuple[GuessBand, ...]
    blend: Blend | None


def best_weights(guess: Floats, model: Floats, outcome: Floats) -> tuple[float, float]:
    """Weights with the highest mean log score, the smallest ones where several tie."""
    grid = [(g, m) for g in WEIGHTS for m in WEIGHTS]
    mixed = np.array([blend_of(guess, model, g, m) for g, m in grid])
    reached = [log_scores(p, outcome).mean() for p in mixed]
    best = grid[int(np.argmax(np.round(reached, 12)))]
    return float(best[0]), float(best[1])


def blend_of(guess: Floats, model: Floats, guess_weight: float, model_weight: float) -> Floats:
    """Chance by adding weighted log odds."""
    return np.asarray(expit(guess_weight * logit(guess) + model_weight * logit(model)))


def _blend(rolled: Rolling, rows: OutcomeRows, technician: str) -> Blend | None:
    if not rolled.converged:
        return None
    own = rows.rows.reindex(rolled.rows["place"])
    mine = own["technician_id"].eq(technician).fillna(False).to_numpy(bool) & rolled.rows[GUESS].notna().to_numpy(bool)
    judged = rolled.rows[mine].reset_index(drop=True)
    known = own.loc[mine, rows.names.known].reset_index(drop=True)
    if len(judged) < FEWEST_EARLIER:
        return None
    guess, model = (judged[name].to_numpy(float) for name in (GUESS, MODEL))
    outcome = judged["outcome"].to_numpy(float)
    told = np.full(len(judged), np.nan)
    for month in judged["month"].unique():
        before = known.lt(month.start_time).to_numpy(bool)
        here = judged["month"].eq(month).to_numpy(bool)
        if before.sum() >= FEWEST_EARLIER:
            told[here] = blend_of(
                guess[here], model[here], *best_weights(guess[before], model[before], outcome[before])
            )
    done = ~np.isnan(told)
    means = [
        float(log_scores(p[done], outcome[done]).mean()) if done.any() else float("nan") for p in (told, guess, model)
    ]
    return Blend(*best_weights(guess, model, outcome), int(done.sum()), *means)


def guess_ledger(rows: OutcomeRows, rolled: Rolling, technician: str) -> GuessLedger:
    """The ledger of one technician.

    Parameters
    ----------
    rows : OutcomeRows
        Recovery: that is what a guess is a guess of.
    rolled : Rolling
        Predictions of the same rows.
    technician : str

    Raises
    ------
    ReworkError
        If the log has no closed job of this technician.
    """
    mine = rows.rows[rows.rows["technician_id"].eq(technician).fillna(False).to_numpy(bool)]
    if not len(mine):
        raise ReworkError(f"The log has no closed job of technician '{technician}'.", todo="Give the code of jobs.csv.")
    guess = mine["guessed_success_pct"].to_numpy(float, na_value=np.nan)
    outcome = mine[rows.outcome].to_numpy(float)
    given = ~np.isnan(guess)
    bands = []
    for low, high in BANDS:
        here = given & (guess >= low) & (guess < high)
        if here.any():
            won = wilson(int(outcome[here].sum()), int(here.sum()))
            bands.append(GuessBand(low, high, float(guess[here].mean()) / 100, won))
    return GuessLedger(
        technician=technician,
        n=int(given.sum()),
        unguessed=int((~given).sum()),
        scores=score(guess[given] / 100, outcome[given]) if given.any() else None,
        bands=tuple(bands),
        blend=_blend(rolled, rows, technician),
    )
