"""How much better a model looks on the jobs it was fitted to than it is: Harrell's bootstrap.

Each draw takes as many jobs as there are, with replacement, fits the model to them, and measures it on them and on all
jobs. The mean difference is the optimism; the measure on the jobs fitted to, less the optimism, is the corrected one.
Source: Harrell, Lee and Mark, Statistics in Medicine 15 (1996) 361–387.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analysis.models.results import Result
from analysis.models.scores import log_scores, recalibration

Floats = NDArray[np.float64]
Predictor = Callable[[pd.DataFrame], Floats]  # the chance of each row by itself, NaN for rows the model refuses
Fitter = Callable[[pd.DataFrame, Floats], Predictor | None]  # None where there are too few for a model

MEASURES = ("brier", "log_score", "auc", "slope")


@dataclass(frozen=True, kw_only=True)
class Optimism(Result):
    """Measures of a model, apparent and corrected.

    Parameters
    ----------
    measures : tuple of str
        "brier", "log_score", "auc", "slope".
    apparent : ndarray, shape (4,)
        On the jobs fitted to.
    optimism : ndarray, shape (4,)
        Mean over the draws.
    error : ndarray, shape (4,)
        Monte Carlo error of the optimism.
    draws : int
        Draws used; a draw without a model or a measure is left out.
    """

    measures: tuple[str, ...]
    apparent: Floats
    optimism: Floats
    error: Floats
    draws: int

    @property
    def corrected(self) -> Floats:
        """Apparent less optimism."""
        return self.apparent - self.optimism


def _area(p: Floats, y: Floats) -> float:
    """Area under the ROC curve alone, without the variance that takes two more sorts; NaN without both outcomes."""
    won, lost = np.sort(p[y == 1]), np.sort(p[y == 0])
    if not len(won) or not len(lost):
        return float("nan")
    below, not_above = np.searchsorted(lost, won, "left"), np.searchsorted(lost, won, "right")
    return float((below + not_above).sum() / (2 * len(won) * len(lost)))  # ties count half


def _measured(p: Floats, y: Floats) -> Floats:
    """The four measures of chances ``p``, on the rows the model does not refuse."""
    told = ~np.isnan(p)
    p, y = p[told], y[told]
    if not len(p):
        return np.full(len(MEASURES), np.nan)
    slope = recalibration(p, y)[0][1]
    return np.array([np.mean((p - y) ** 2), log_scores(p, y).mean(), _area(p, y), slope])


def optimism(
    frame: pd.DataFrame,
    y: ArrayLike,
    fit: Fitter,
    *,
    rng_seed: int,
    draws: int | Sequence[ArrayLike],
) -> Optimism:
    """Bootstrap optimism of a way to fit a model.

    Parameters
    ----------
    frame : DataFrame, shape (n, ...)
    y : array_like, shape (n,)
        0/1 outcomes.
    fit : callable
        The whole way from rows to a predictor; every choice it makes is made anew in each draw.
    rng_seed : int
    draws : int, or sequence of array_like of int
        How many draws, or the rows of each.
    """
    rows, outcome = frame.reset_index(drop=True), np.asarray(y, dtype=float)
    n = len(rows)
    rng = np.random.default_rng(rng_seed)
    chosen = [rng.integers(0, n, n) for _ in range(draws)] if isinstance(draws, int) else draws
    whole = fit(rows, outcome)
    differences = []
    for one in chosen:
        at = np.asarray(one, dtype=int)
        drawn, own = rows.take(at), outcome[at]
        drawn.index = rows.index
        predict = fit(drawn, own)
        if predict is not None:
            chances = predict(rows)  # those of the rows drawn are among them
            differences.append(_measured(chances[at], own) - _measured(chances, outcome))
    usable = np.array([d for d in differences if np.isfinite(d).all()]).reshape(-1, len(MEASURES))
    settled = whole is not None and len(usable) > 1
    nothing = np.full(len(MEASURES), np.nan)
    return Optimism(
        n=n,
        events=int(outcome.sum()),
        converged=settled,
        reason="" if settled else "too few of the rarer outcome for a model in the jobs or in nearly every draw",
        measures=MEASURES,
        apparent=nothing if whole is None else _measured(whole(rows), outcome),
        optimism=usable.mean(axis=0) if settled else nothing,
        error=usable.std(axis=0, ddof=1) / np.sqrt(len(usable)) if settled else nothing,
        draws=len(usable),
    )
