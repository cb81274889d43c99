"""What a bench knows on a day: a model of each outcome, whether it is believed, class rates, hours, past jobs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.errors import ModelError
from analysis.models.class_rates import ClassRates, fit_class_rates
from analysis.models.design import too_few
from analysis.models.offer_value import HoursGiven, hours_given
from analysis.models.pooled import LEVEL, PooledFit, fit_pooled, pooled_fitter
from analysis.models.pooled_design import PooledDesign, fit_pooled_design
from analysis.models.terms import Category, Number
from analysis.questions.alike import DAMAGE
from analysis.questions.intake_columns import FAMILY_COLUMN, donor_terms, intake_terms
from analysis.questions.offer_rows import Outcome, OutcomeRows
from analysis.questions.trust import Trust, trust_before

if TYPE_CHECKING:
    from analysis.models.rolling import Rolling

FACTS = tuple(term.column for term in intake_terms())
PAST_COLUMNS = ("job_id", "received_date", "ending", "recovered", "first_boot", "chain_hours", *FACTS)
MODEL, CLASS_RATE = "model", "damage-class rate"


@dataclass(frozen=True)
class Chance:
    """A chance with its interval, and where it comes from.

    Parameters
    ----------
    mean, low, high, level : float
    source : str
        :data:`MODEL` or :data:`CLASS_RATE`.
    n : int
        Jobs behind it: those fitted to, or those of the class.
    unseen_family : bool
        Whether the board family was never seen; the interval then holds the spread between families.
    """

    mean: float
    low: float
    high: float
    level: float
    source: str
    n: int
    unseen_family: bool


@dataclass(frozen=True)
class OutcomeModel:
    """What is known of one outcome.

    Parameters
    ----------
    outcome : Outcome
    n, events : int
        Jobs and successes.
    design : PooledDesign
        What has been seen of each fact.
    fit : PooledFit or None
        None with too few of the rarer outcome.
    with_donor : PooledFit or None
        The same with facts of the donor, to compare donors by.
    rates : ClassRates
    trust : Trust
    """

    outcome: Outcome
    n: int
    events: int
    design: PooledDesign
    fit: PooledFit | None
    with_donor: PooledFit | None
    rates: ClassRates
    trust: Trust

    @property
    def source(self) -> str:
        """Whether the model or the class rate is used."""
        return MODEL if self.fit is not None and self.trust.model else CLASS_RATE

    def chance(self, intake: pd.DataFrame) -> Chance | None:
        """Chance of one intake; None where it lies outside what has been seen."""
        if not self.design.seen(intake)[0]:
            return None
        unseen = bool(self.design.unseen_family(intake)[0])
        if self.fit is not None and self.trust.model:
            told = self.fit.chances(intake)
            mean, low, high = float(told.mean[0]), float(told.low[0]), float(told.high[0])
            # A very skew posterior can have its mean beyond the central interval.
            return Chance(mean, min(low, mean), max(high, mean), told.level, MODEL, self.n, unseen)
        damage = str(intake[DAMAGE].iloc[0])
        mean, low, high = self.rates.chance(damage)
        return Chance(mean, low, high, LEVEL, CLASS_RATE, self.rates.n[damage], unseen)


@dataclass(frozen=True)
class BenchModel:
    """Everything a decision at the counter rests on.

    Parameters
    ----------
    models : mapping of Outcome to OutcomeModel
        An outcome that no job has yet is not in it.
    past : DataFrame
        Closed jobs, :data:`PAST_COLUMNS`.
    log_hash : str
    """

    models: Mapping[Outcome, OutcomeModel]
    past: pd.DataFrame
    log_hash: str

    def hours(self, damage: str, least: int) -> tuple[HoursGiven, str] | None:
        """Bench hours given success and failure, and of which jobs: the damage class's, or those of all.

        Parameters
        ----------
        damage : str
        least : int
            Successes and failures with hours that a class needs to speak for itself.

        Returns
        -------
        HoursGiven and the damage class (empty for all jobs), or None where hours were never recorded.
        """
        own = self.past[self.past[DAMAGE].astype(object).eq(damage).to_numpy(bool)]
        for rows, of_class in ((own, damage), (self.past, "")):
            try:
                found = hours_given(rows["chain_hours"].to_numpy(float), rows["recovered"].eq(1))
            except ModelError:
                continue
            if not of_class or min(len(found.success), len(found.failure)) >= least:
                return found, of_class
        return None


def rolled_over(rows: OutcomeRows) -> Rolling:
    """Predictions of every past month by the intake model, each from what was known before it."""
    from analysis.models.rolling import roll

    fit = pooled_fitter(intake_terms(), FAMILY_COLUMN)
    return roll(rows.rows, fit, rows.names, ledger=rows.ledger, log_hash=rows.log_hash)


def outcome_model(rows: OutcomeRows, trust: Trust, with_donor: bool) -> OutcomeModel | None:
    """Fit one outcome; None without any job."""
    frame = rows.rows
    if not len(frame):
        return None
    y = frame[rows.outcome].to_numpy(float)
    design = fit_pooled_design(frame, intake_terms(), FAMILY_COLUMN)
    fit = donor = None
    if not too_few(y):

        def fitted(terms: tuple[Category | Number, ...]) -> PooledFit | None:
            found = fit_pooled(frame, y, terms, FAMILY_COLUMN, ledger=rows.ledger, log_hash=rows.log_hash)
            return found if found.converged else None

        fit = fitted(intake_terms())
        donor = fitted((*intake_terms(), *donor_terms())) if with_donor else None
    return OutcomeModel(
        outcome=rows.outcome,
        n=len(y),
        events=int(y.sum()),
        design=design,
        fit=fit,
        with_donor=donor,
        rates=fit_class_rates(frame[DAMAGE], y),
        trust=trust if fit is not None else replace(trust, model=False),
    )


def bench_model(
    rows: Mapping[Outcome, OutcomeRows], rolled: Mapping[Outcome, Rolling], day: pd.Timestamp | None = None
) -> BenchModel:
    """What the bench knew before a day; all it knows now without one.

    Parameters
    ----------
    rows : mapping of Outcome to OutcomeRows
    rolled : mapping of Outcome to Rolling
        From :func:`rolled_over`, of the same rows.
    day : Timestamp, optional
        Outcomes, and predictions whose outcome came later, are not looked at.
    """
    known = {outcome: each.before(day) if day is not None else each for outcome, each in rows.items()}
    models = {}
    for outcome, each in known.items():
        donor = day is None and outcome is Outcome.RECOVERED
        found = outcome_model(each, trust_before(rolled[outcome], rows[outcome], day), donor)
        if found is not None:
            models[outcome] = found
    past = known[Outcome.RECOVERED].rows[list(PAST_COLUMNS)].reset_index(drop=True)
    return BenchModel(models, past, rows[Outcome.RECOVERED].log_hash)


def empty_intake(facts: Mapping[str, object]) -> pd.DataFrame:
    """One row with the columns the models look at; what is not given is blank."""
    row = {}
    for term in (*intake_terms(), *donor_terms()):
        number, value = isinstance(term, Number), facts.get(term.column)
        if value is None or pd.isna(value):
            value = np.nan if number else None
        row[term.column] = np.array([value], dtype=float if number else object)
    return pd.DataFrame(row)
