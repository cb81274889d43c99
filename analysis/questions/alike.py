"""How like our past is this intake? Past jobs that resemble it, and what became of them.

A past job resembles an intake when it has the same damage class and at most one other recorded fact differs. Ages
within two years of one another count as equal; a fact that is not recorded on either side is not compared. Two years is
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.questions.offer_rows import Outcome

Places = NDArray[np.int64]

SAME_AGE_YEARS = 2.0
MOST_DIFFERENT = 1
FEWEST_ALIKE = 5  # below this an intake is talked about, whatever the chance; common practice, no source
DAMAGE = "intake_damage"
AGE = "device_age_years"


@dataclass(frozen=True)
class AlikeJob:
    """One past job that resembles an intake.

    Parameters
    ----------
    job_id, ending : str
        ``ending`` as the definition of recovery has it.
    first_boot : float
        1, 0 or NaN.
    hours : float
        Bench hours in all; NaN where not recorded.
    differs : str
        Column of the one fact that differs; empty when none does.
    """

    job_id: str
    ending: str
    first_boot: float
    hours: float
    differs: str


@dataclass(frozen=True)
class Alike:
    """Past jobs that resemble an intake, the likest and latest first.

    Parameters
    ----------
    jobs : tuple of AlikeJob
    recovered, booted, tested : int
        Recovered of all; first-boot successes of those with a first-boot result.
    """

    jobs: tuple[AlikeJob, ...]
    recovered: int
    booted: int
    tested: int

    @property
    def n(self) -> int:
        """Jobs that resemble the intake."""
        return len(self.jobs)


class _Fact:
    """One fact of the past jobs; a blank on either side differs from nothing."""

    def __init__(self, column: pd.Series) -> None:
        self._codes, levels = pd.factorize(column.to_numpy(object))
        self._place = {level: code for code, level in enumerate(levels)}

    def differs(self, value: object, rows: Places) -> NDArray[np.bool_]:
        """Which of the rows hold another value."""
        codes = self._codes[rows]
        if value is None or pd.isna(value):
            return np.zeros(len(codes), dtype=bool)
        return np.asarray((codes >= 0) & (codes != self._place.get(value, -1)))


class _Age:
    """A fact that is a number: values near one another do not differ."""

    def __init__(self, column: pd.Series) -> None:
        self._values = column.to_numpy(float, na_value=np.nan)

    def differs(self, value: object, rows: Places) -> NDArray[np.bool_]:
        """Which of the rows hold a number further away than :data:`SAME_AGE_YEARS`."""
        if value is None or pd.isna(value):
            return np.zeros(len(rows), dtype=bool)
        return np.asarray(np.abs(self._values[rows] - float(str(value))) > SAME_AGE_YEARS)


class PastJobs:
    """Past jobs laid out once, so that a whole year of intakes can be held against them.

    Parameters
    ----------
    past : DataFrame
        Closed jobs: ``job_id``, ``received_date``, ``ending``, ``recovered``, ``first_boot``, ``chain_hours`` and the
        facts.
    facts : tuple of str
        Columns of the facts compared.
    """

    def __init__(self, past: pd.DataFrame, facts: tuple[str, ...]) -> None:
        self._others = tuple(fact for fact in facts if fact != DAMAGE)
        self._facts = [_Age(past[fact]) if fact == AGE else _Fact(past[fact]) for fact in self._others]
        damage = past[DAMAGE].to_numpy(object)
        self._of_class = {level: np.flatnonzero(damage == level) for level in pd.unique(damage) if not pd.isna(level)}
        self._received = past["received_date"].to_numpy("datetime64[ns]").astype(np.int64)
        self._told = [past[name].to_numpy(object) for name in ("job_id", "ending")]
        self._numbers = [past[name].to_numpy(float) for name in ("first_boot", "chain_hours", Outcome.RECOVERED)]

    def like(self, intake: Mapping[str, object]) -> Alike:
        """Find those that resemble an intake.

        Parameters
        ----------
        intake : mapping
            The facts by column; blank where not known.
        """
        same = self._of_class.get(intake[DAMAGE], np.empty(0, dtype=np.int64))
        columns = [fact.differs(intake.get(name), same) for name, fact in zip(self._others, self._facts, strict=True)]
        apart = np.column_stack(columns)
        differing = apart.sum(axis=1)
        near = np.flatnonzero(differing <= MOST_DIFFERENT)
        order = near[np.lexsort((-self._received[same[near]], differing[near]))]
        place = same[order]
        differs = np.array([*self._others, ""], dtype=object)
        which = differs[np.where(differing[order] > 0, apart[order].argmax(axis=1), -1)]
        job, ending = (values[place] for values in self._told)
        first, hours, recovered = (values[place] for values in self._numbers)
        tested = ~np.isnan(first)
        return Alike(
            jobs=tuple(
                AlikeJob(str(each[0]), str(each[1]), float(each[2]), float(each[3]), each[4])
                for each in zip(job, ending, first, hours, which, strict=True)
            ),
            recovered=int(np.nansum(recovered)),
            booted=int(first[tested].sum()),
            tested=int(tested.sum()),
        )
