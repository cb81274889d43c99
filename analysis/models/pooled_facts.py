"""What each fact of an intake did to its chance, and what finding out an unknown fact would be worth.

Both compare the intake with itself: one fact is replaced by every value the shop recorded in the past, each weighted by
how often it was recorded, and the chances are averaged. The other facts stay as they are, so that what is told
holds for this intake and not for the average one. The value taken is assumed not to depend on the other facts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import ModelError
from analysis.models.pooled import PooledFit
from analysis.models.pooled_design import Fitted, PooledCategory

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Contribution:
    """What one fact did to the chance.

    Parameters
    ----------
    label, value : str
        The fact and its value in plain words.
    points : float
        Chance less ``without``, in percentage points.
    without : float
        Chance averaged over the values the shop recorded in the past, all else as it is.
    """

    label: str
    value: str
    points: float
    without: float


@dataclass(frozen=True)
class FindingOut:
    """What it is worth to know one fact before deciding.

    Parameters
    ----------
    label : str
    gain : float
        Expected value of perfect information (in the unit of the margin): what the best decision with the fact known is
        expected to bring, less what the best decision without it is. Never negative; zero where no value the fact
        may take would change the decision.
    accept_now : bool
        The better decision without knowing it.
    changes : float
        Share of the recorded values, by their frequency, that would turn the decision.
    low, high : float
        Smallest and largest chance among the values.
    """

    label: str
    gain: float
    accept_now: bool
    changes: float
    low: float
    high: float


def _one(intake: pd.DataFrame) -> pd.DataFrame:
    if len(intake) != 1:
        raise ModelError("One intake at a time: the facts of several cannot be told at once.")
    return intake


def _shown(term: Fitted, intake: pd.DataFrame) -> str:
    value = intake[term.column].iloc[0]
    if isinstance(term, PooledCategory):
        at = int(term.look(intake)[0])
        return term.shown[at] if at >= 0 else f"{value} (never seen)"
    return "not recorded" if pd.isna(value) else f"{value:g} {term.unit}".strip()


def _variants(intake: pd.DataFrame, term: Fitted) -> pd.DataFrame:
    """The intake with one fact at each value the shop recorded."""
    values, _ = term.recorded
    out = intake.loc[intake.index.repeat(len(values))].reset_index(drop=True)
    kind = object if isinstance(term, PooledCategory) else float
    return out.assign(**{term.column: np.array(values, dtype=kind)})


def contributions(fit: PooledFit, intake: pd.DataFrame) -> tuple[Contribution, ...]:
    """What each fact did to the chance of one intake, the largest first.

    Parameters
    ----------
    fit : PooledFit
    intake : DataFrame, shape (1, ...)

    Returns
    -------
    tuple of Contribution
        The points do not add up to the distance from the average job: facts act together on the scale of chances.

    Raises
    ------
    UnseenLevelError
        If the intake lies outside what the model has seen.
    """
    chance = float(fit.mean_chances(_one(intake))[0])
    facts = fit.design.facts
    several = [_variants(intake, term) for term in facts]
    chances = fit.mean_chances(pd.concat(several, ignore_index=True)) if several else np.empty(0)
    ends = np.cumsum([len(each) for each in several])[:-1]
    out = []
    for term, own in zip(facts, np.split(chances, ends), strict=True):
        without = float(own @ term.recorded[1])
        out.append(Contribution(term.label, _shown(term, intake), 100 * (chance - without), without))
    return tuple(sorted(out, key=lambda each: -abs(each.points)))


def value_of_finding_out(
    fit: PooledFit, intake: pd.DataFrame, column: str, margin: Callable[[Floats], Floats]
) -> FindingOut:
    """Expected value of finding out one unknown fact before deciding to accept or to decline.

    Parameters
    ----------
    fit : PooledFit
    intake : DataFrame, shape (1, ...)
        The fact itself is blank.
    column : str
        Column of the fact.
    margin : callable
        Expected margin of accepting at each chance; declining is worth 0.

    Raises
    ------
    ModelError
        If the model does not use the fact or it is known already.
    """
    term = next((term for term in fit.design.facts if term.column == column), None)
    if term is None:
        raise ModelError(f"The model does not use '{column}', so that knowing it changes nothing.")
    if not pd.isna(_one(intake)[column].iloc[0]):
        raise ModelError(f"{term.label} is known already: {_shown(term, intake)}.")
    share = term.recorded[1]
    chances = fit.mean_chances(_variants(intake, term))
    worth = np.asarray(margin(chances), dtype=float)
    now = float(share @ worth)
    turned = (worth > 0) != (now > 0)
    return FindingOut(
        label=term.label,
        gain=max(float(share @ np.maximum(worth, 0.0)) - max(now, 0.0), 0.0),
        accept_now=now > 0,
        changes=float(share @ turned),
        low=float(chances.min()),
        high=float(chances.max()),
    )
