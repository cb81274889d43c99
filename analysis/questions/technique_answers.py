"""Everything the techniques' page says, made once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.cohort.features import Cohort, build_cohort
from analysis.cohort.pad_rows import pad_rows
from analysis.cohort.technique_rows import TechniqueRows, technique_rows
from analysis.questions.contrasts import Contrast, contrasts_for
from analysis.questions.damage_steps import DamageSteps, damage_steps
from analysis.questions.dose import Dose, NoDose, doses
from analysis.questions.technique_twin import SHOPS, contrast_twin, dose_twin
from analysis.questions.techniques import Answer, Effort, Refused, Told, tables_for, techniques
from analysis.questions.trial_outcome import TrialOutcome, trial_outcome
from analysis.questions.trial_plan import RNG_SEED, NextTrial, next_trial
from analysis.questions.twin import Smallest, shops_for
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log
from analysis.records.once import usable_log

# First boots: a way that every tenth job got or more has a standard error under a percentage point then; of a rarer way
# the page tells less than the whole log could.
MOST_COMPARED = 100_000


@dataclass(frozen=True)
class TechniqueAnswers:
    """The page's answers.

    Parameters
    ----------
    log : Log
    cohort : Cohort
    found : TechniqueRows
    answers : tuple of Told or Refused
    doses : tuple of Dose or NoDose
    damage : DamageSteps
    trial : NextTrial
    twins : mapping of str to Smallest or None
        What the log could have shown, by name of contrast or setting, in percentage points.
    outcome : TrialOutcome or None
        None when no plan was handed in.
    """

    log: Log
    cohort: Cohort
    found: TechniqueRows
    answers: tuple[Answer, ...]
    doses: tuple[Dose | NoDose, ...]
    damage: DamageSteps
    trial: NextTrial
    twins: Mapping[str, Smallest | None]
    outcome: TrialOutcome | None = None

    @property
    def told(self) -> tuple[Told, ...]:
        """Contrasts that were answered."""
        return tuple(answer for answer in self.answers if isinstance(answer, Told))

    @property
    def refused(self) -> tuple[Refused, ...]:
        """Contrasts that were not."""
        return tuple(answer for answer in self.answers if isinstance(answer, Refused))


def technique_answers(
    log: Log,
    plan_file: str = "",
    plan_jobs: int = 0,
    plan_seed: int = RNG_SEED,
    effort: Effort | None = None,
    shops: int = SHOPS,
) -> TechniqueAnswers:
    """Answer everything for a log.

    Parameters
    ----------
    log : Log
        Without faulty jobs.
    plan_file : str
        A plan with its jobs filled in, to analyse; empty for none.
    plan_jobs, plan_seed : int
        Jobs of the plan to draw (0: what fits a year), and the seed of its lots.
    effort : Effort, optional
        Completed tables and bootstrap samples.
    shops : int
        Simulated shops at each size planted.
    """
    settings = log.settings
    outcome = trial_outcome(Path(plan_file), log) if plan_file else None
    cohort = build_cohort(log).at_most(MOST_COMPARED)
    found = technique_rows(log, cohort)
    smallest, least = settings.smallest_difference_points, settings.minimum_class_n
    contrasts = contrasts_for(settings.extra_contrasts)
    answers = techniques(found, contrasts, smallest, least, effort)
    heat = doses(found, log.hash)
    return TechniqueAnswers(
        log=log,
        cohort=cohort,
        found=found,
        answers=answers,
        doses=heat,
        damage=damage_steps(pad_rows(log, cohort), log.hash),
        trial=next_trial(found, answers, log.last_date, smallest, least, plan_seed, plan_jobs),
        twins=_twins(found, contrasts, answers, heat, shops),
        outcome=outcome,
    )


def _twins(
    found: TechniqueRows,
    contrasts: tuple[Contrast, ...],
    answers: tuple[Answer, ...],
    heat: tuple[Dose | NoDose, ...],
    shops: int,
) -> dict[str, Smallest | None]:
    """What the log could have shown of everything that is not clear."""
    told = [answer for answer in answers if isinstance(answer, Told)]
    drawn = [dose for dose in heat if isinstance(dose, Dose)]
    out: dict[str, Smallest | None] = {}
    shops = shops_for(shops, len(found.rows))
    if told:
        tables = tables_for(found.rows, contrasts, Effort(copies=1))
        declared = sum(not each.contrast.exploratory for each in told)
        for each in told:
            own = each.contrast.exploratory
            if each.verdict is not Verdict.CLEAR:
                compared = len(told) if own else declared
                out[each.contrast.name] = contrast_twin(each, found, tables[own][0], compared, shops)
    for dose in drawn:
        if dose.verdict is not Verdict.CLEAR:
            out[dose.setting.name] = dose_twin(dose, found, len(drawn), shops)
    return out


def build_techniques(
    folder: Path, plan_file: str = "", plan_jobs: int = 0, plan_seed: int = RNG_SEED
) -> TechniqueAnswers:
    """Read a log and answer everything."""
    return technique_answers(usable_log(folder), plan_file, plan_jobs, plan_seed)


def plan_of(folder: Path, jobs: int = 0, seed: int = RNG_SEED) -> NextTrial:
    """What to try next, without the rest of the page."""
    log = usable_log(folder)
    settings, found = log.settings, technique_rows(log, build_cohort(log).at_most(MOST_COMPARED))
    smallest, least = settings.smallest_difference_points, settings.minimum_class_n
    answers = techniques(found, contrasts_for(settings.extra_contrasts), smallest, least)
    return next_trial(found, answers, log.last_date, smallest, least, seed, jobs)
