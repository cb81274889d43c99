"""Everything the technicians' page says, made once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.cohort.features import Cohort, build_cohort
from analysis.questions.technicians import Technicians, compare_technicians
from analysis.questions.technicians_learning import Learning, learning
from analysis.questions.technicians_rows import NotComparable
from analysis.questions.technicians_twin import SHOPS, TechnicianTwin, technician_twin
from analysis.records.log import Log
from analysis.records.once import usable_log


@dataclass(frozen=True)
class TechnicianAnswers:
    """The page's answers.

    Parameters
    ----------
    log : Log
    cohort : Cohort
    found : Technicians or NotComparable
    twin : TechnicianTwin or None
        None when technicians are not compared.
    learning : Learning or None
        None when they are not compared, or earlier jobs do not vary enough.
    up_to : Timestamp or None
        Last day of first boots that count; None for all.
    """

    log: Log
    cohort: Cohort
    found: Technicians | NotComparable
    twin: TechnicianTwin | None
    learning: Learning | None
    up_to: pd.Timestamp | None = None

    @property
    def minimum(self) -> int:
        """First boots a technician must have to be shown."""
        return self.log.settings.minimum_technician_n


def technician_answers(log: Log, shops: int = SHOPS) -> TechnicianAnswers:
    """Answer everything for a log.

    Parameters
    ----------
    log : Log
        Without faulty jobs.
    shops : int
        Simulated shops of the twin.
    """
    cohort, settings = build_cohort(log), log.settings
    found = compare_technicians(cohort, settings.minimum_technician_n, settings.smallest_difference_points)
    if isinstance(found, NotComparable):
        return TechnicianAnswers(log, cohort, found, None, None)
    return TechnicianAnswers(log, cohort, found, technician_twin(found, shops), learning(found))


def build_technicians(folder: Path) -> TechnicianAnswers:
    """Read a log and answer everything."""
    return technician_answers(usable_log(folder))
