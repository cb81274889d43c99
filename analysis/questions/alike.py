"""How like our past is this intake? Past jobs that resemble it, and what became of them.

A past job resembles an intake when it has the same damage class and at most one other recorded fact differs. Ages
within two years of one another count as equal; a fact that is not recorded on either side is not compared. Two years is
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.pooled_design import coded
from analysis.questions.offer_rows import Outcome

Places = NDArray[np.int64]
Texts = NDArray[np.object_]

SAME_AGE_YEARS = 2.0
MOST_DIFFERENT = 1
FEWEST_ALIKE = 5  # below this an intake is talked about, whatever the chance; common practice, no source
AT_ONCE = 1024  # past jobs held against an intake before looking whether they are enough
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


class Alike:
    """Past jobs that resemble an intake, looked up when they are asked for.

    Parameters
    ----------
    past : PastJobs
    intake : mapping
        The facts by column; blank where not known.
    """

    def __init__(self, past: PastJobs, intake: Mapping[str, object]) -> None:
        self._past, self._intake = past, intake

    def __repr__(self) -> str:
        return f"Alike({self.jobs}, {self.recovered}, {self.booted}, {self.tested})"

    def counted(self, most: int) -> int:
        """How many there are, counted no further than ``most``: a rule that asks for five need not look at all."""
        return self._past.counted(self._intake, most)

    @cached_property
    def _places(self) -> tuple[Places, Texts]:
        return self._past.places(self._intake)

    @property
    def n(self) -> int:
        """Jobs that resemble the intake."""
        return len(self._places[0])

    @cached_property
    def jobs(self) -> tuple[AlikeJob, ...]:
        """The jobs, the likest and latest first."""
        return self._past.told(*self._places)

    @property
    def recovered(self) -> int:
        """Recovered of all."""
        return int(np.nansum(self._past.recovered[self._places[0]]))

    @property
    def booted(self) -> int:
        """First-boot successes of those with a first-boot result."""
        return int(np.nansum(self._past.first_boot[self._places[0]]))

    @property
    def tested(self) -> int:
        """Those with a first-boot result."""
        return int((~np.isnan(self._past.first_boot[self._places[0]])).sum())


class _Fact:
    """One fact of the past jobs; a blank on either side differs from nothing."""

    def __init__(self, column: pd.Series) -> None:
        self._codes, levels = coded(column)
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
        self._told = past[["job_id", "ending"]]
        self.first_boot, self._hours, self.recovered = (
            past[name].to_numpy(float) for name in ("first_boot", "chain_hours", Outcome.RECOVERED)
        )

    def _apart(self, intake: Mapping[str, object], rows: Places) -> NDArray[np.bool_]:
        """Which facts of which rows differ from the intake's, shape (rows, facts)."""
        facts = zip(self._others, self._facts, strict=True)
        return np.column_stack([fact.differs(intake.get(name), rows) for name, fact in facts])

    def _same(self, intake: Mapping[str, object]) -> Places:
        return self._of_class.get(intake[DAMAGE], np.empty(0, dtype=np.int64))

    def counted(self, intake: Mapping[str, object], most: int) -> int:
        """How many resemble an intake, counted no further than ``most``."""
        same, found = self._same(intake), 0
        for first in range(0, len(same), AT_ONCE):
            found += int((self._apart(intake, same[first : first + AT_ONCE]).sum(axis=1) <= MOST_DIFFERENT).sum())
            if found >= most:
                return most
        return found

    def like(self, intake: Mapping[str, object]) -> Alike:
        """Those that resemble an intake, whose facts are given by column; blank where not known."""
        return Alike(self, intake)

    def places(self, intake: Mapping[str, object]) -> tuple[Places, Texts]:
        """Places of those that resemble an intake, the likest and latest first, and the one fact that differs."""
        same = self._same(intake)
        apart = self._apart(intake, same)
        differing = apart.sum(axis=1)
        near = np.flatnonzero(differing <= MOST_DIFFERENT)
        order = near[np.lexsort((-self._received[same[near]], differing[near]))]
        differs = np.array([*self._others, ""], dtype=object)
        return same[order], differs[np.where(differing[order] > 0, apart[order].argmax(axis=1), -1)]

    def told(self, places: Places, differs: Texts) -> tuple[AlikeJob, ...]:
        """What became of the jobs at these places."""
        job, ending = (self._told[name].iloc[places] for name in self._told)
        return tuple(
            AlikeJob(str(each[0]), str(each[1]), float(each[2]), float(each[3]), each[4])
            for each in zip(job, ending, self.first_boot[places], self._hours[places], differs, strict=True)
        )
