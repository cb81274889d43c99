"""What the reporting checklists are filled from: the description, the intake model, how well it told past months."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.cohort.features import Cohort, build_cohort
from analysis.cohort.undatable import Undatable
from analysis.errors import ModelError
from analysis.models.design import Design, TooFew
from analysis.models.pooled_design import PooledCategory, PooledDesign
from analysis.models.rolling import CLASS, Gain, Rolling, compared, log_score_gain
from analysis.models.scores import Scores
from analysis.models.terms import NOT_RECORDED, FittedCategory, FittedTerm
from analysis.questions.bench_model import OutcomeModel, outcome_model, rolled_over
from analysis.questions.description import Description, describe
from analysis.questions.offer_rows import Outcome, OutcomeRows, outcome_rows
from analysis.questions.period import month_for
from analysis.questions.trust import RNG_SEED, trust_of
from analysis.records.log import Log
from analysis.records.once import usable_log


@dataclass(frozen=True)
class Blank:
    """How many rows have a fact of a model blank."""

    label: str
    blank: int
    n: int


@dataclass(frozen=True)
class ChecklistFacts:
    """Everything the checklists are filled from.

    Parameters
    ----------
    log : Log
    cohort : Cohort
    month : Period
        Last month of the description.
    description : Description, TooFew or Undatable
        What went with first boot.
    rows : OutcomeRows
        Jobs of the prediction of recovery.
    rolled : Rolling
        Its predictions of past months.
    model : OutcomeModel or None
        None without a closed job.
    own, rival : Scores or None
        Measures of the model and of the damage-class rate on the same past jobs; None where no month can be judged.
    gain : Gain
        Log score gained over the damage-class rate.
    """

    log: Log
    cohort: Cohort
    month: pd.Period
    description: Description | TooFew | Undatable
    rows: OutcomeRows
    rolled: Rolling
    model: OutcomeModel | None
    own: Scores | None
    rival: Scores | None
    gain: Gain

    @property
    def described(self) -> Description | None:
        """The description, where there is one."""
        return self.description if isinstance(self.description, Description) else None


def checklist_facts(folder: Path) -> ChecklistFacts:
    """Answer for a log.

    Raises
    ------
    ReworkError
        If the log cannot be used or holds no date.
    """
    log = usable_log(Path(folder))
    month = month_for(log)
    cohort = build_cohort(log)
    rows = outcome_rows(cohort)[Outcome.RECOVERED]
    rolled = rolled_over(rows)
    gain = log_score_gain(rolled, CLASS, rng_seed=RNG_SEED)
    own, rival = _measured(rolled)
    return ChecklistFacts(
        log=log,
        cohort=cohort,
        month=month,
        description=describe(cohort, month),
        rows=rows,
        rolled=rolled,
        model=outcome_model(rows, trust_of(gain), with_donor=False),
        own=own,
        rival=rival,
        gain=gain,
    )


def _measured(rolled: Rolling) -> tuple[Scores | None, Scores | None]:
    if not rolled.converged:
        return None, None
    try:
        return compared(rolled, CLASS)
    except ModelError:
        return None, None


def blanks_described(design: Design) -> list[Blank]:
    """Blanks of every term of the description."""
    return [Blank(term.label, _blank(term), design.n) for term in design.terms]


def _blank(term: FittedTerm) -> int:
    if isinstance(term, FittedCategory):
        return sum(n for level, n in zip(term.levels, term.counts, strict=True) if level == NOT_RECORDED)
    return int(getattr(term, "blank", 0))


def blanks_predicted(design: PooledDesign, n: int) -> list[Blank]:
    """Blanks of every fact of the prediction."""
    terms = [*design.terms, *([design.family] if design.family else [])]
    return [Blank(term.label, term.counts[-1] if isinstance(term, PooledCategory) else term.blank, n) for term in terms]
