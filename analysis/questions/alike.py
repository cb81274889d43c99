"""How like our past is this intake? Past jobs that resemble it, and what became of them.

A past job resembles an intake when it has the same damage class and at most one other recorded fact differs. Ages
within two years of one another count as equal; a fact that is not recorded on either side is not compared. Two years is
common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.questions.offer_rows import Outcome

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


def _differs(column: NDArray[np.object_], value: object, *, by: float = 0.0) -> NDArray[np.bool_]:
    """Rows that hold another value, a number one further away than ``by``; a blank on either side does not differ."""
    out = ~pd.isna(column)
    if value is None or pd.isna(value):
        return np.zeros_like(out)
    recorded = column[out]
    out[out] = np.abs(recorded.astype(float) - float(str(value))) > by if by else recorded != value
    return out


def alike_jobs(past: pd.DataFrame, intake: Mapping[str, object], facts: tuple[str, ...]) -> Alike:
    """Find the past jobs that resemble an intake.

    Parameters
    ----------
    past : DataFrame
        Closed jobs: ``job_id``, ``received_date``, ``ending``, ``recovered``, ``first_boot``, ``chain_hours`` and the
        facts.
    intake : mapping
        The facts by column; blank where not known.
    facts : tuple of str
        Columns of the facts compared.
    """
    others = tuple(fact for fact in facts if fact != DAMAGE)
    # Columns as plain arrays: a whole year is replayed through here, job by job.
    same = np.flatnonzero(past[DAMAGE].astype(object).eq(intake[DAMAGE]).to_numpy(bool))
    apart = np.column_stack(
        [
            _differs(past[fact].to_numpy(object)[same], intake.get(fact), by=SAME_AGE_YEARS if fact == AGE else 0.0)
            for fact in others
        ]
    )
    near = apart.sum(axis=1) <= MOST_DIFFERENT
    received = past["received_date"].to_numpy("datetime64[ns]").astype(np.int64)[same[near]]
    order = np.flatnonzero(near)[np.lexsort((-received, apart[near].sum(axis=1)))]
    place = same[order]
    which = [others[int(row.argmax())] if row.any() else "" for row in apart[order]]
    jobs = tuple(
        AlikeJob(str(job), str(ending), float(first), float(hours), differs)
        for job, ending, first, hours, differs in zip(
            past["job_id"].to_numpy(object)[place],
            past["ending"].to_numpy(object)[place],
            past["first_boot"].to_numpy(float)[place],
            past["chain_hours"].to_numpy(float)[place],
            which,
            strict=True,
        )
    )
    first_boots = [job.first_boot for job in jobs if not math.isnan(job.first_boot)]
    return Alike(
        jobs=jobs,
        recovered=int(np.nansum(past[Outcome.RECOVERED].to_numpy(float)[place])),
        booted=int(sum(first_boots)),
        tested=len(first_boots),
    )
