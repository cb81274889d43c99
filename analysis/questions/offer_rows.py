"""Past jobs with a known outcome, for the two chances told at the counter: first boot, and recovery.

Both follow the fixed definitions (:data:`analysis.cohort.outcomes.DEFINITIONS`). Recovery counts all accepted closed
jobs, those stopped by the client included; a job whose data were read in part, or that boots locked, is not recovered.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.ledger import Ledger, start_ledger
from analysis.cohort.outcomes import Ending

if TYPE_CHECKING:  # loaded only when past months are judged: a stored model needs none of it
    from analysis.models.rolling import Columns

CLOSED_ENDINGS = (Ending.RECOVERED, Ending.NOT_RECOVERED, Ending.PARTIAL, Ending.STOPPED, Ending.LOCKED)


class Outcome(StrEnum):
    """What a chance is a chance of; also the column that holds it."""

    FIRST_BOOT = "first_boot"
    RECOVERED = "recovered"


KNOWN = {Outcome.FIRST_BOOT: "first_boot_date", Outcome.RECOVERED: "ended_date"}


@dataclass(frozen=True)
class OutcomeRows:
    """Jobs with one known outcome.

    Parameters
    ----------
    outcome : Outcome
    rows : DataFrame
        One row a job (a chain of jobs on one board is one row), with the columns of
        :func:`analysis.cohort.features.build_cohort` and the outcome as 0/1.
    ledger : Ledger
        From all jobs of the log to ``rows``.
    log_hash : str
    """

    outcome: Outcome
    rows: pd.DataFrame
    ledger: Ledger
    log_hash: str

    @property
    def names(self) -> Columns:
        """Where the outcome and the day it was known stand."""
        from analysis.models.rolling import Columns

        return Columns(outcome=str(self.outcome), known=KNOWN[self.outcome])

    def before(self, day: pd.Timestamp) -> OutcomeRows:
        """Only jobs whose outcome was known before a day."""
        known = self.rows[self.names.known].lt(day).fillna(False).to_numpy(bool)
        later = int((~known).sum())
        ledger = self.ledger.then((f"outcome not yet known before {day:%Y-%m-%d}", later))
        return OutcomeRows(self.outcome, self.rows[known].reset_index(drop=True), ledger, self.log_hash)


def recovered_rows(cohort: Cohort) -> OutcomeRows:
    """Accepted closed jobs with ``recovered`` (1.0, 0.0), known on ``ended_date``."""
    jobs = cohort.jobs
    closed = jobs["ending"].isin(CLOSED_ENDINGS)
    rows = jobs[closed].reset_index(drop=True)
    rows = rows.assign(recovered=rows["ending"].eq(Ending.RECOVERED).astype(float))
    set_aside = dict(cohort.ledger.exclusions).get("set aside: the check found a fault", 0)
    counts = jobs["ending"].value_counts()
    ledger = start_ledger("jobs", len(jobs) + set_aside).then(
        ("set aside: the check found a fault", set_aside),
        ("declined or withdrawn", int(counts.get(Ending.NOT_ACCEPTED, 0))),
        ("later job on the same board (a chain counts once)", int(counts.get(Ending.REPEAT, 0))),
        ("still open", int(counts.get(Ending.OPEN, 0))),
    )
    return OutcomeRows(Outcome.RECOVERED, rows, ledger, cohort.log_hash)


def outcome_rows(cohort: Cohort) -> dict[Outcome, OutcomeRows]:
    """The rows of both outcomes."""
    first = OutcomeRows(Outcome.FIRST_BOOT, cohort.first_boots, cohort.ledger, cohort.log_hash)
    return {Outcome.FIRST_BOOT: first, Outcome.RECOVERED: recovered_rows(cohort)}
