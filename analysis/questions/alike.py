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


def differences(past: pd.DataFrame, intake: Mapping[str, object], facts: tuple[str, ...]) -> NDArray[np.bool_]:
    """Which facts of each past job differ from the intake's, shape (n, facts)."""
    out = np.zeros((len(past), len(facts)), dtype=bool)
    for at, fact in enumerate(facts):
        value = intake.get(fact)
        if value is None or pd.isna(value):
            continue
        column = past[fact]
        if fact == AGE:
            out[:, at] = (column.astype(float) - float(str(value))).abs().gt(SAME_AGE_YEARS)
        else:
            out[:, at] = (column.notna() & column.astype(object).ne(value)).to_numpy(bool)
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
    same = past[past[DAMAGE].astype(object).eq(intake[DAMAGE]).to_numpy(bool)]
    apart = differences(same, intake, others)
    count = apart.sum(axis=1)
    near = same.assign(_apart=count)[count <= MOST_DIFFERENT]
    apart = apart[count <= MOST_DIFFERENT]
    which = [others[int(np.flatnonzero(row)[0])] if row.any() else "" for row in apart]
    near = near.assign(_which=which).sort_values(["_apart", "received_date"], ascending=[True, False], kind="stable")
    jobs = tuple(
        AlikeJob(str(job), str(ending), float(first), float(hours), str(differs))
        for job, ending, first, hours, differs in zip(
            near["job_id"], near["ending"], near["first_boot"], near["chain_hours"], near["_which"], strict=True
        )
    )
    tested = near["first_boot"].notna()
    return Alike(
        jobs=jobs,
        recovered=int(near[Outcome.RECOVERED].sum()),
        booted=int(near.loc[tested, "first_boot"].sum()),
        tested=int(tested.sum()),
    )
