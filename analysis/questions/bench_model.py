"""What a bench knows on a day: a model of each outcome, whether it is believed, class rates, hours, past jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.errors import ModelError
from analysis.models.class_rates import ClassRates, fit_class_rates
from analysis.models.design import too_few
from analysis.models.offer_value import HoursGiven, hours_given
from analysis.models.pooled import LEVEL, PooledFit, fit_pooled, pooled_fitter
from analysis.models.pooled_design import PooledDesign, fit_pooled_design, laid_out
from analysis.models.terms import Category, Number
from analysis.questions.alike import DAMAGE, PastJobs
from analysis.questions.intake_columns import FAMILY_COLUMN, donor_terms, intake_terms
from analysis.questions.offer_rows import Outcome, OutcomeRows
from analysis.questions.trust import Trust, trust_before

if TYPE_CHECKING:
    from analysis.models.rolling import Known, Rolling

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

    def chances(self, intakes: pd.DataFrame) -> list[Chance | None]:
        """Chance of each intake, one a row; None where it lies outside what has been seen."""
        seen, unseen = self.design.seen(intakes), self.design.unseen_family(intakes)
        out: list[Chance | None] = [None] * len(intakes)
        if not seen.any():
            return out
        rows, known = np.flatnonzero(seen), intakes[seen]
        if self.fit is not None and self.trust.model:
            told = self.fit.chances(known)
            # A very skew posterior can have its mean beyond the central interval.
            low, high = np.minimum(told.low, told.mean), np.maximum(told.high, told.mean)
            for row, mean, least, most in zip(rows, told.mean.tolist(), low.tolist(), high.tolist(), strict=True):
                out[row] = Chance(mean, least, most, told.level, MODEL, self.n, bool(unseen[row]))
            return out
        for row, damage in zip(rows, known[DAMAGE].astype(str), strict=True):
            out[row] = Chance(*self.rates.chance(damage), LEVEL, CLASS_RATE, self.rates.n[damage], bool(unseen[row]))
        return out

    def chance(self, intake: pd.DataFrame) -> Chance | None:
        """Chance of one intake, shape (1, ...); None where it lies outside what has been seen."""
        return self.chances(intake)[0]


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

    @cached_property
    def past_jobs(self) -> PastJobs:
        """Past jobs laid out to be compared with intakes."""
        return PastJobs(self.past, FACTS)

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
        told = self.past[["chain_hours", "recovered"]]
        own = told[self.past[DAMAGE].astype(object).eq(damage).to_numpy(bool)]
        for rows, of_class in ((own, damage), (told, "")):
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
    frame = laid_out(rows.rows, intake_terms(), *astuple(rows.names))
    return roll(frame, fit, rows.names, ledger=rows.ledger, log_hash=rows.log_hash)


def outcome_model(rows: OutcomeRows, trust: Trust, with_donor: bool, known: Known | None = None) -> OutcomeModel | None:
    """Fit one outcome; None without any job.

    Parameters
    ----------
    rows : OutcomeRows
    trust : Trust
    with_donor : bool
        Whether facts of the donor are fitted too.
    known : Known, optional
        What the rolling look was told by from the very same rows, which is then not fitted again.
    """
    if not len(rows.rows):
        return None
    frame = laid_out(rows.rows, (*intake_terms(), *donor_terms()))
    y = rows.rows[rows.outcome].to_numpy(float)

    def fitted(terms: tuple[Category | Number, ...]) -> PooledFit | None:
        if too_few(y):
            return None
        found = fit_pooled(frame, y, terms, FAMILY_COLUMN, ledger=rows.ledger, log_hash=rows.log_hash)
        return found if found.converged else None

    fit = known.predict if known and isinstance(known.predict, PooledFit) else fitted(intake_terms())
    return OutcomeModel(
        outcome=rows.outcome,
        n=len(y),
        events=int(y.sum()),
        design=fit.design if fit is not None else fit_pooled_design(frame, intake_terms(), FAMILY_COLUMN),
        fit=fit,
        with_donor=fitted((*intake_terms(), *donor_terms())) if with_donor else None,
        rates=fit_class_rates(frame[DAMAGE], y) if known is None else known.rates,
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
        trust = trust_before(rolled[outcome], rows[outcome], day)
        found = outcome_model(each, trust, donor, rolled[outcome].known.get(day))
        if found is not None:
            models[outcome] = found
    past = known[Outcome.RECOVERED].rows[list(PAST_COLUMNS)].reset_index(drop=True)
    return BenchModel(models, past, rows[Outcome.RECOVERED].log_hash)


def intake_rows(facts: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """One row an intake with the columns the models look at; what is not given is blank."""
    columns = {}
    for term in (*intake_terms(), *donor_terms()):
        number = isinstance(term, Number)
        given = [each.get(term.column) for each in facts]
        blank = np.nan if number else None
        values = np.empty(len(given), dtype=float if number else object)
        values[:] = [blank if value is None or pd.isna(value) else value for value in given]
        columns[term.column] = values
    return pd.DataFrame(columns)


def empty_intake(facts: Mapping[str, object]) -> pd.DataFrame:
    """:func:`intake_rows` of a single intake, shape (1, ...)."""
    return intake_rows([facts])
