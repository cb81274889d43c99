"""Whether the model or the rate of the damage class is believed: the rule is the same wherever a chance is shown.

The model is used only if, over past months that it predicted without having seen them, it earned more log score a job
than the damage-class rate, and the 80 % interval of that gain (whole months resampled) lies above zero.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import pandas as pd

from analysis.questions.offer_rows import OutcomeRows

if TYPE_CHECKING:
    from analysis.models.rolling import Gain, Rolling

RNG_SEED = 20
DRAWS = 4000


@dataclass(frozen=True)
class Trust:
    """What the rule for trusting the model found.

    Parameters
    ----------
    model : bool
        Whether the model is used; otherwise the rate of the damage class.
    gain, low, high : float
        Log score gained a job over the class rate and its interval; NaN where none can be told.
    months, n : int
        Months and jobs judged.
    reason : str
        Why there is no interval; empty where there is one.
    """

    model: bool
    gain: float
    low: float
    high: float
    months: int
    n: int
    reason: str


def trust_of(gain: Gain) -> Trust:
    """The rule, from the gain over the class rate."""
    return Trust(gain.convincing, gain.gain, gain.low, gain.high, gain.months, gain.n, gain.reason)


def trust_before(rolled: Rolling, rows: OutcomeRows, day: pd.Timestamp | None) -> Trust:
    """The rule as it would have been applied on a day, from predictions whose outcome was known by then.

    Parameters
    ----------
    rolled : Rolling
        Predictions of all months, ``place`` counted in ``rows``.
    rows : OutcomeRows
        All rows rolled over.
    day : Timestamp or None
        None: all months.
    """
    from analysis.models.rolling import CLASS, log_score_gain

    if day is not None and rolled.converged:
        known = rows.rows[rows.names.known].reindex(rolled.rows["place"]).lt(day).to_numpy(bool)
        kept = rolled.rows[known].reset_index(drop=True)
        rolled = replace(rolled, rows=kept, n=len(kept), ledger=None, converged=bool(len(kept)))
    return trust_of(log_score_gain(rolled, CLASS, rng_seed=RNG_SEED, draws=DRAWS))
