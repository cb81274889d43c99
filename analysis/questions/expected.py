"""What a month's mix of jobs should have given, by intake facts alone.

The model is frozen and refitted yearly (:mod:`analysis.questions.watch` says when, and leaves signalled periods out);
a month is never part of its own expectation.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit

from analysis.cohort.features import Cohort
from analysis.models import large_counts, poisson_binomial
from analysis.models.binary import blocks
from analysis.models.design import Design, TooFew, fit_design, too_few
from analysis.models.firth import FirthResult, fit_firth
from analysis.models.terms import FittedCategory
from analysis.questions.terms import DAMAGE, EXPECTED
from analysis.questions.verdicts import Verdict, verdict_of

Floats = NDArray[np.float64]

DRAWS = 2000
RNG_SEED = 1


@dataclass(frozen=True)
class ExpectedModel:
    """A frozen expected model.

    Parameters
    ----------
    fit, design
        Penalised fit on intake facts; chances come from its FLIC intercept.
    fitted_before : Timestamp
        Only first boots before this day were used.
    """

    fit: FirthResult
    design: Design
    fitted_before: pd.Timestamp

    def chances(self, rows: pd.DataFrame) -> pd.Series:
        """Expected chance of each row; NaN for a row with a level the model has never seen."""
        out = pd.Series(np.nan, index=rows.index)
        known = self.design.seen(rows)
        if known.any():
            out[known] = self.fit.chance(self.design.matrix(rows[known]))
        return out

    @property
    def facts(self) -> tuple[str, ...]:
        """What a chance is made from, in words; a category that had to be shrunk says so."""
        out = []
        for term in self.design.terms:
            pooled = isinstance(term, FittedCategory) and term.pooled
            name = term.label.removeprefix("each year of ")
            out.append(f"{name} (kinds with few jobs taken together)" if pooled else name)
        return tuple(out)

    def tells_apart(self, damage: str) -> bool:
        """Whether a class of damage has a chance of its own in the model; else it is not held against one."""
        return any(
            isinstance(term, FittedCategory) and term.column == DAMAGE.column and damage in term.levels
            for term in self.design.terms
        )

    def distribution(self, rows: pd.DataFrame) -> Floats:
        """Distribution of the number of successes, the model's own uncertainty included, shape (n + 1,)."""
        return distribution([(self, rows)])

    def drawn_chances(self, rows: pd.DataFrame) -> Floats:
        """Chances of the rows under draws of the coefficients from their normal approximation, shape (draws, n)."""
        return np.asarray(expit(self._draws @ self.design.matrix(rows).T))

    def few_at_a_time(self, rows: pd.DataFrame) -> Iterator[Floats]:
        """The same for a few rows at a time, each of shape (draws, m): those of a network's year fill gigabytes."""
        draws, x = self._draws, self.design.matrix(rows)
        return (expit(draws @ x[some].T) for some in blocks(len(x), len(draws)))

    @cached_property
    def _draws(self) -> Floats:
        """Draws of the coefficients, shape (draws, p)."""
        rng = np.random.default_rng(RNG_SEED)
        beta = self.fit.coefficients.copy()
        beta[0] = self.fit.flic_intercept
        return rng.multivariate_normal(beta, self.fit.covariance, size=DRAWS, method="cholesky")


def distribution(parts: Sequence[tuple[ExpectedModel, pd.DataFrame]]) -> Floats:
    """Distribution of the number of successes of jobs under the models of their time, shape (n + 1,).

    The Poisson-binomial is averaged over draws of the coefficients: the exact one up to the 2,000 jobs of a large
    bench's year; beyond them, unless outcomes hardly vary, the one of :mod:`.large_counts`, whose error is known.
    Models of several years are drawn with the same random numbers, so that what they share (the jobs of the earlier
    years) does not average out between them.
    """
    n = sum(len(rows) for _, rows in parts)
    if n > large_counts.MANY:
        found = large_counts.cumulants((p for model, rows in parts for p in model.few_at_a_time(rows)), DRAWS)
        if found[1].min() >= large_counts.SPREAD:
            return large_counts.mixed_pmf(found, n)
    drawn = [model.drawn_chances(rows) for model, rows in parts if len(rows)]
    return np.asarray(poisson_binomial.pmf(np.hstack(drawn)).mean(axis=0)) if drawn else np.array([1.0])


def fit_expected(cohort: Cohort, before: pd.Timestamp) -> ExpectedModel | TooFew:
    """Fit the expected model to all first boots before a day."""
    rows = cohort.first_boots
    used = rows[rows["first_boot_date"].lt(before)].reset_index(drop=True)
    ledger = cohort.ledger.then((f"first boot from {before:%Y-%m-%d} on, or without a date", len(rows) - len(used)))
    y = used["first_boot"].to_numpy(float)
    if few := too_few(y):
        return few
    design = fit_design(used, EXPECTED, y)
    fit = fit_firth(design.matrix(used), y, design.names, intervals=False)
    return ExpectedModel(replace(fit.shown(), ledger=ledger, log_hash=cohort.log_hash), design, before)


# The model in use on a day, None while there is none.
ModelOn = Callable[[pd.Timestamp], ExpectedModel | None]


@dataclass(frozen=True)
class MonthExpected:
    """A month's first boots against what its mix should have given.

    Parameters
    ----------
    month : Period
    n : int
        Jobs with an expected chance.
    unseen : int
        Jobs left out because the model never saw their kind.
    observed : int
        Successes among the ``n``.
    expected : float
        Mean of the distribution: the sum of their chances, each averaged over the model's own uncertainty.
    low, high : int
        95 % range that chance and the model's uncertainty allow.
    p : float
        Two-sided.
    verdict : Verdict
    quiet_clear, quiet_leaning : float
        Chances that a month with these jobs is called "clear", or "leaning", though nothing has changed.
    chances : Series
        Expected chance of each job of the month, NaN where unseen.
    fitted_before : Timestamp
    model_n : int
        Jobs the model was fitted to.
    facts : tuple of str
        Intake facts the model holds.
    """

    month: pd.Period
    n: int
    unseen: int
    observed: int
    expected: float
    low: int
    high: int
    p: float
    verdict: Verdict
    quiet_clear: float
    quiet_leaning: float
    chances: pd.Series
    fitted_before: pd.Timestamp
    model_n: int
    facts: tuple[str, ...]

    @property
    def direction(self) -> str:
        """Whether fewer or more were seen than expected."""
        return "fewer" if self.observed < self.expected else "more"


def expect_month(cohort: Cohort, month: pd.Period, model: ExpectedModel) -> MonthExpected:
    """Compare one month with its expectation."""
    rows = cohort.first_boots[cohort.first_boots["first_boot_month"].eq(month)]
    chances = model.chances(rows)
    known = rows[chances.notna()]
    mass = model.distribution(known)
    quiet = called_when_quiet(mass)
    observed = int(known["first_boot"].sum())
    low, high = poisson_binomial.central_range(mass, 0.95)
    p = poisson_binomial.two_sided(mass, observed)
    return MonthExpected(
        month=month,
        n=len(known),
        unseen=len(rows) - len(known),
        observed=observed,
        expected=float(mass @ np.arange(len(mass))),
        low=low,
        high=high,
        p=p,
        verdict=verdict_of(p),
        quiet_clear=quiet[Verdict.CLEAR],
        quiet_leaning=quiet[Verdict.LEANING],
        chances=chances,
        fitted_before=model.fitted_before,
        model_n=model.fit.n,
        facts=model.facts,
    )


def called_when_quiet(mass: Floats) -> dict[Verdict, float]:
    """Chance of each verdict word where the counts follow the expected distribution, which is when nothing changed."""
    below, above = np.cumsum(mass), np.cumsum(mass[::-1])[::-1]
    out = dict.fromkeys(Verdict, 0.0)
    for chance, p in zip(mass, np.minimum(1.0, 2 * np.minimum(below, above)), strict=True):
        out[verdict_of(float(p))] += float(chance)
    return out


def trailing_expected(
    cohort: Cohort, month: pd.Period, model_on: ModelOn, months: int = 12
) -> tuple[MonthExpected, ...]:
    """The same for the months up to and including one; months without a model are left out."""
    out = []
    for each in pd.period_range(month - (months - 1), month, freq="M"):
        model = model_on(each.start_time)
        if model is not None and (cohort.first_boots["first_boot_month"] == each).any():
            out.append(expect_month(cohort, each, model))
    return tuple(out)
