"""First boots against their expectation by damage at intake, for one month and for twelve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.models import poisson_binomial
from analysis.questions.description import holm
from analysis.questions.expected import ExpectedModel, ModelOn, distribution
from analysis.questions.rates import in_months, trailing
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.records.dictionary import JOBS


@dataclass(frozen=True)
class Against:
    """Successes of ``n`` jobs against expected ones, with the 95 % range of chance and the model's uncertainty."""

    observed: int
    n: int
    expected: float
    low: int
    high: int
    p: float


@dataclass(frozen=True)
class DamageExpected:
    """One class of damage.

    Parameters
    ----------
    label : str
        In words.
    month, year : Against or None
        The month reviewed and the twelve up to it; None without jobs.
    verdict : Verdict
        On the twelve months, by Holm's method over the classes.
    """

    label: str
    month: Against | None
    year: Against | None
    verdict: Verdict


def expected_by_damage(cohort: Cohort, month: pd.Period, model_on: ModelOn) -> tuple[DamageExpected, ...]:
    """Compare each class with its expectation, every month by the model then in use.

    Jobs of a kind that their model has never seen, and months without a model or with one that had no room for this
    class, are left out of both sides: held against the chance of other boards, a hard class would look like a fault.
    """
    rows = in_months(cohort.first_boots, "first_boot_month", trailing(month))
    column = JOBS["intake_damage"]
    found: list[tuple[str, Against | None, Against | None]] = []
    for code in column.codes:
        mine = rows[rows["intake_damage"].eq(code)]
        year = _against(mine, code, model_on)
        if year is not None:
            found.append(
                (column.text_of(code), _against(mine[mine["first_boot_month"].eq(month)], code, model_on), year)
            )
    if not found:
        return ()
    adjusted = holm(np.array([year.p for _, _, year in found if year]))
    return tuple(DamageExpected(*each, verdict_of(float(p))) for each, p in zip(found, adjusted, strict=True))


def _against(rows: pd.DataFrame, damage: str, model_on: ModelOn) -> Against | None:
    parts: list[tuple[ExpectedModel, pd.DataFrame]] = []
    for month, mine in rows.groupby("first_boot_month"):
        model = model_on(month.start_time)
        if model is not None and model.tells_apart(damage):
            parts.append((model, mine[model.design.seen(mine)]))
    n = sum(len(mine) for _, mine in parts)
    if not n:
        return None
    mass = distribution(parts)
    observed = int(sum(mine["first_boot"].sum() for _, mine in parts))
    low, high = poisson_binomial.central_range(mass, 0.95)
    expected = float(mass @ np.arange(len(mass)))
    return Against(observed, n, expected, low, high, poisson_binomial.two_sided(mass, observed))
