"""Whether the model or the rate of the damage class is believed: the rule is the same wherever a chance is shown.

The model is used only if, over past months that it predicted without having seen them, it earned more log score a job
than the damage-class rate, and the 80 % interval of that gain (whole months resampled) lies above zero.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaincinv

from analysis.questions.offer_rows import OutcomeRows

if TYPE_CHECKING:
    from analysis.models.rolling import Gain, Rolling

LEVEL = 0.8
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


@dataclass(frozen=True)
class ClassRates:
    """Successes of n by damage class, with what all classes together say.

    The chance of a class with ``won`` of ``n`` is ``(won + plain) / (n + 1)``, the class rate that the model is judged
    against. Its interval is the Jeffreys interval of ``won`` of ``n``, 0 and 1 where none or all succeeded (Brown, Cai
    and DasGupta, Statistical Science 16 (2001) 101–133).

    Parameters
    ----------
    plain : float
        ``(successes + 1/2) / (jobs + 1)`` over all classes.
    won, n : dict of str to int
        By damage class.
    """

    plain: float
    won: dict[str, int]
    n: dict[str, int]

    def chance(self, damage: str, level: float = LEVEL) -> tuple[float, float, float]:
        """Chance of a class with the ends of its central interval."""
        won, n = self.won.get(damage, 0), self.n.get(damage, 0)
        mean = (won + self.plain) / (n + 1)
        low, high = betaincinv(won + 0.5, n - won + 0.5, [(1 - level) / 2, (1 + level) / 2])
        low, high = 0.0 if won == 0 else float(low), 1.0 if won == n else float(high)
        return mean, min(low, mean), max(high, mean)


def class_rates(damage: pd.Series, outcome: NDArray[np.float64]) -> ClassRates:
    """Count by damage class."""
    plain = (float(outcome.sum()) + 0.5) / (len(outcome) + 1)
    codes = damage.astype(object).astype(str).to_numpy()
    won = {str(code): int(outcome[codes == code].sum()) for code in np.unique(codes)}
    return ClassRates(plain, won, {code: int((codes == code).sum()) for code in won})
