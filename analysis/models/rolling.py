"""Would the model have told right at the time? Fit before each month, predict the month, compare with its rivals.

A month's jobs are those received in it. The model sees only jobs whose outcome was known before the month began.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.ledger import Ledger, start_ledger
from analysis.errors import ModelError
from analysis.models.class_rates import ClassRates, fit_class_rates
from analysis.models.design import too_few
from analysis.models.optimism import Fitter, Predictor
from analysis.models.results import Result
from analysis.models.scores import Scores, log_scores, score

Floats = NDArray[np.float64]

MODEL, PLAIN, CLASS, GUESS = "model", "plain rate", "damage-class rate", "technician's guess"
RIVALS = (PLAIN, CLASS, GUESS)
TRUST_LEVEL = 0.8
FEWEST_MONTHS = 6  # below this a bootstrap of months says nothing; common practice, no source
DRAWS = 4000
MONTHS_KEPT = 12  # whoever looks back at the last year need not fit its models again


@dataclass(frozen=True)
class Known:
    """What was known before a month: the model, and the rate of each class."""

    predict: Predictor
    rates: ClassRates


@dataclass(frozen=True)
class Columns:
    """Where the rolling look finds what it needs.

    Parameters
    ----------
    outcome : str
        0/1.
    month : str
        Period of receipt.
    known : str
        Day the outcome was known.
    damage : str
        Class whose rate is a rival.
    guess : str
        The technician's guess, in percent.
    """

    outcome: str = "first_boot"
    month: str = "received_month"
    known: str = "first_boot_date"
    damage: str = "intake_damage"
    guess: str = "guessed_success_pct"


@dataclass(frozen=True, kw_only=True)
class Rolling(Result):
    """Predictions of past months, each made from what was known before.

    Parameters
    ----------
    rows : DataFrame
        ``place`` (position of the job in the rows given), ``month``, ``outcome``, and a column of chances for the
        model and each rival; the guess is NaN where none was written down.
    known : mapping of Timestamp to Known
        What each of the last :data:`MONTHS_KEPT` months was told from, by its first day.
    """

    rows: pd.DataFrame
    known: Mapping[pd.Timestamp, Known] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Gain(Result):
    """How much more log score the model earned than a rival, a job.

    Parameters
    ----------
    rival : str
    gain : float
        Mean over jobs; above zero: the model told better.
    low, high : float
        Interval from a bootstrap of whole months, since jobs of one month share what nobody wrote down.
    level : float
    months : int
    """

    rival: str
    gain: float
    low: float
    high: float
    level: float
    months: int

    @property
    def convincing(self) -> bool:
        """Whether the interval lies above zero; over the damage-class rate that is the rule for using the model."""
        return bool(self.low > 0)


def _by_rivals(rates: ClassRates, month: pd.DataFrame, names: Columns) -> dict[str, Floats]:
    """Chances that the rivals give the jobs of a month.

    The plain rate adds half a success and half a failure; the classes are pooled (:mod:`analysis.models.class_rates`).
    """
    guess = month[names.guess].to_numpy(float, na_value=np.nan) / 100
    of_class = rates.means(month[names.damage]).to_numpy()
    return {PLAIN: np.full(len(month), rates.plain), CLASS: of_class, GUESS: guess}


def roll(
    frame: pd.DataFrame,
    fit: Fitter,
    names: Columns | None = None,
    *,
    ledger: Ledger | None = None,
    log_hash: str = "",
) -> Rolling:
    """Predict every month from what was known before it.

    Parameters
    ----------
    frame : DataFrame, shape (n, ...)
        Jobs with a known outcome, one a row.
    fit : callable
        From rows and outcomes to a predictor of chances (NaN where it refuses), or None.
    names : Columns, optional
    ledger : Ledger, optional
        From the log to the rows given.
    log_hash : str

    Returns
    -------
    Rolling
        ``converged`` is False when no month could be predicted.
    """
    names = names or Columns()
    frame = frame.reset_index(drop=True)
    outcome, known_on = frame[names.outcome].to_numpy(float), frame[names.known].to_numpy("datetime64[ns]")
    month_of, months = pd.factorize(frame[names.month], sort=True)
    parts, early, refused, kept = [], 0, 0, {}
    for code, month in enumerate(months):
        at, past = np.flatnonzero(month_of == code), np.flatnonzero(known_on < month.start_time.to_datetime64())
        y = outcome[past]
        before = frame.take(past)
        predict = None if too_few(y) else fit(before, y)
        if predict is None:
            early += len(at)
            continue
        here = frame.take(at)
        chances = predict(here)
        told = ~np.isnan(chances)
        refused += int((~told).sum())
        known = Known(predict, fit_class_rates(before[names.damage], y))
        if month > months[-1] - MONTHS_KEPT:
            kept[month.start_time] = known
        part = {"place": at, "month": month, "outcome": outcome[at], MODEL: chances}
        parts.append(pd.DataFrame(part | _by_rivals(known.rates, here, names))[told])
    rows = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=["place", "month", "outcome", MODEL])
    start = ledger or start_ledger("jobs", len(frame))
    used = start.then(
        ("no month of receipt", int(frame[names.month].isna().sum())),
        ("received before there were enough outcomes for a model", early),
        ("outside what the model had seen by then", refused),
    )
    return Rolling(
        n=len(rows),
        events=int(rows["outcome"].sum()) if len(rows) else 0,
        converged=bool(len(rows)),
        reason="" if len(rows) else "in no month were there enough earlier outcomes for a model",
        ledger=used,
        log_hash=log_hash,
        rows=rows,
        known=kept,
    )


def compared(rolling: Rolling, rival: str) -> tuple[Scores, Scores]:
    """Scores of the model and of a rival, on the jobs for which the rival has a chance.

    Raises
    ------
    ModelError
        If the rival told nothing.
    """
    rows = rolling.shown().rows
    both = rows[rows[rival].notna()]
    if not len(both):
        raise ModelError(f"No job of the months looked at has a chance by the {rival}.")
    return score(both[MODEL], both["outcome"]), score(both[rival], both["outcome"])


def log_score_gain(
    rolling: Rolling, rival: str = CLASS, *, rng_seed: int, level: float = TRUST_LEVEL, draws: int = DRAWS
) -> Gain:
    """Mean gain in log score over a rival, with a month-block bootstrap interval.

    Parameters
    ----------
    rolling : Rolling
    rival : str
        One of :data:`RIVALS`.
    rng_seed : int
    level : float
    draws : int
    """
    rows = rolling.rows
    both = rows[rows[rival].notna()] if rolling.converged else rows.head(0)
    gain, low, high = float("nan"), float("nan"), float("nan")
    month_of, found = pd.factorize(both["month"], sort=True)
    months = len(found)
    if len(both):
        difference = log_scores(both[MODEL], both["outcome"]) - log_scores(both[rival], both["outcome"])
        gain = float(difference.mean())
        if months >= FEWEST_MONTHS:
            total, jobs = np.bincount(month_of, difference), np.bincount(month_of).astype(float)
            rng = np.random.default_rng(rng_seed)
            times = rng.multinomial(months, np.full(months, 1 / months), size=draws)
            means = (times @ total) / (times @ jobs)
            low, high = (float(q) for q in np.quantile(means, [(1 - level) / 2, (1 + level) / 2]))
    enough = months >= FEWEST_MONTHS
    return Gain(
        n=len(both),
        events=int(both["outcome"].sum()) if len(both) else 0,
        converged=enough,
        reason="" if enough else f"{months} months were judged; it takes {FEWEST_MONTHS}",
        ledger=rolling.ledger,
        log_hash=rolling.log_hash,
        rival=rival,
        level=level,
        months=months,
        gain=gain,
        low=low,
        high=high,
    )
