"""How long jobs take, as the sheet for clients tells it: which days may be told, and what is said of them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.models.incidence import StepCurve, cumulative_incidence
from analysis.models.timed import timed
from analysis.questions.rates import days_to_recovery

DAYS_SHOWN = (14, 30, 60)
# Fixed for every bench: a setting of its own here would let a bench choose what is said, and when.
READY = 0.9  # share of the accepted jobs that must be closed before a rate is given, or followed to a day that is told
AT_RISK = 10  # fewest jobs still followed at a day that is told, or followed to it or to their end (see may_be_told)
TAIL = 0.025  # of the exact limit where nobody or everybody was recovered


@dataclass(frozen=True)
class Turnaround:
    """Days from receipt, jobs still open censored at the day of the seal.

    Parameters
    ----------
    recovered : tuple of (int, float, float, float)
        Day, share of accepted jobs whose data were recovered by then, and its interval (Aalen–Johansen).
    half_closed : float
        Days by which half the accepted jobs were closed, one way or the other; NaN when that was not seen.
    n, still_open : int
        Accepted jobs followed, and those of them still open.
    """

    recovered: tuple[tuple[int, float, float, float], ...]
    half_closed: float
    n: int
    still_open: int


def followed_to(days: pd.DataFrame, day: float) -> int:
    """Jobs closed by a day, whatever time they took, or still followed on it."""
    return int((days["event"].gt(0) | days["days"].ge(day)).sum())


def may_be_told(days: pd.DataFrame, day: float) -> bool:
    """Whether enough is known up to a day.

    Enough jobs are still followed on it; or enough jobs, nine in ten of all, are followed to it or to their end, the
    one followed longest among them. With fewer the curve would say what happened to a handful, or to nobody: beyond a
    longest job that is still open it would say that none of the open ones is ever recovered.
    """
    if int(days["days"].ge(day).sum()) >= AT_RISK:
        return True
    longest = days["days"].max()
    if day > longest and days.loc[days["days"].eq(longest), "event"].eq(0).any():
        return False
    known = followed_to(days, day)
    return known >= AT_RISK and known >= READY * len(days) - 1e-9


def _curve(days: pd.DataFrame, event: pd.Series | np.ndarray) -> StepCurve:
    return cumulative_incidence(timed(days["days"], event), minimum=1)


def _share(curve: StepCurve, days: pd.DataFrame, day: int) -> tuple[float, float, float]:
    """Share by a day with its interval; the last one where nobody is followed so long any more."""
    share, low, high = curve.at(min(day, curve.stop))
    if share in (0, 1) and days["days"].ge(day).sum() < AT_RISK:
        # The exact limit rests on all whose state is known, not on the last few who were still waiting.
        far = TAIL ** (1 / followed_to(days, day))
        low, high = (far, 1.0) if share == 1 else (0.0, 1 - far)
    return share, low, high


def turnaround(cohort: Cohort, rows: pd.DataFrame, until: pd.Timestamp) -> Turnaround:
    """Shares recovered by the days that may be told, and the day by which half were closed."""
    days = days_to_recovery(replace(cohort, jobs=rows), until)
    still_open = int(days["event"].eq(0).sum())
    if len(days) < AT_RISK:
        return Turnaround((), float("nan"), len(days), still_open)
    recovered = _curve(days, days["event"])
    half = _curve(days, days["event"].gt(0).astype(int)).reached(0.5)
    shown = [(day, *_share(recovered, days, day)) for day in DAYS_SHOWN if may_be_told(days, day)]
    told = half == half and may_be_told(days, half)
    return Turnaround(tuple(shown), half if told else float("nan"), len(days), still_open)
