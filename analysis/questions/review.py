"""The monthly review: every answer for one month, made once."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.cohort.as_of import as_of, set_aside_by
from analysis.cohort.attempts import build_attempts
from analysis.cohort.features import Cohort, build_cohort
from analysis.cohort.hours import hours_to_success
from analysis.cohort.ledger import Ledger
from analysis.cohort.outcomes import FirstBootCount, count_first_boots
from analysis.cohort.undatable import Undatable
from analysis.models.design import TooFew, too_few
from analysis.models.incidence import StepCurve, cumulative_incidence
from analysis.models.timed import timed
from analysis.questions import causes, description, expected, rates, survival
from analysis.questions.cause_trends import CauseTrends, cause_trends
from analysis.questions.expected_by_damage import DamageExpected, expected_by_damage
from analysis.questions.period import month_for
from analysis.questions.talk import Blank, TalkJob, blanks, jobs_to_talk_about
from analysis.questions.watch import Watch, watch
from analysis.questions.watching import Watching, watching
from analysis.records.log import Log
from analysis.records.once import usable_log


@dataclass(frozen=True)
class Review:
    """Everything the review of a month says.

    Parameters
    ----------
    log : Log
        The log, faulty jobs set aside.
    cohort : Cohort
        One row a job.
    month : Period
        The month.
    month_ledger : Ledger
        From all jobs of the log to those with a first boot in the month.
    now : MonthExpected or TooFew
        The month's first boots against its expectation; TooFew when the log is too young for one.
    year : tuple of MonthExpected
        The same for the twelve months up to this one.
    expected_by_damage : tuple of DamageExpected
        The same by damage at intake.
    watching : Watching
        What is watched from month to month, and what was looked into.
    first_boot : tuple of Rate
        This month, twelve months, whole log.
    first_boot_count : FirstBootCount
        The whole log, with the jobs stopped untested after work began as both bounds.
    by_damage : tuple of Rate
        First boots of twelve months by damage class.
    recovered : RecoveryRate
        All jobs of the log.
    received : tuple of ReceivedMonth
        Recovery by month received.
    recovery_curve : StepCurve
        Recovery by days since receipt, all jobs, open ones censored.
    causes_month, causes_year : Causes
        Of failed jobs closed in the month and in twelve months.
    locked_month, locked_year : int
        Jobs closed in the same time that boot but stay locked.
    cause_trends : CauseTrends
        What causes cost, how they change, and causes never found.
    pads : PadLoss
        Where pads were lost, jobs with a first boot in the twelve months.
    model : Description, TooFew or Undatable
        The first-boot description.
    hours : HoursAnswer or NoModel
    hours_model, landmark : HazardModel or NoModel
    attempts : AttemptsAnswer
    talk : tuple of TalkJob
    blanks : tuple of Blank
    """

    log: Log
    cohort: Cohort
    month: pd.Period
    month_ledger: Ledger
    now: expected.MonthExpected | TooFew
    year: tuple[expected.MonthExpected, ...]
    expected_by_damage: tuple[DamageExpected, ...]
    watching: Watching
    first_boot: tuple[rates.Rate, ...]
    first_boot_count: FirstBootCount
    by_damage: tuple[rates.Rate, ...]
    recovered: rates.RecoveryRate
    received: tuple[rates.ReceivedMonth, ...]
    recovery_curve: StepCurve
    causes_month: causes.Causes
    causes_year: causes.Causes
    locked_month: int
    locked_year: int
    cause_trends: CauseTrends
    pads: causes.PadLoss
    model: description.Description | Undatable | TooFew
    hours: survival.HoursAnswer | survival.NoModel
    hours_model: survival.HazardModel | survival.NoModel
    landmark: survival.HazardModel | survival.NoModel
    attempts: survival.AttemptsAnswer
    talk: tuple[TalkJob, ...]
    blanks: tuple[Blank, ...]

    @property
    def now_known(self) -> bool:
        """Whether an expected number of the month is known."""
        return isinstance(self.now, expected.MonthExpected)


def _now(cohort: Cohort, month: pd.Period, charts: Watch) -> expected.MonthExpected | TooFew:
    model = charts.model_on(month.start_time)
    if model is not None:
        return expected.expect_month(cohort, month, model)
    rows = cohort.first_boots
    before = rows.loc[rows["first_boot_date"].lt(month.start_time), "first_boot"].to_numpy(float)
    return too_few(before) or TooFew(int(before.sum()), int(len(before) - before.sum()), None)


def _recovery_curve(cohort: Cohort, log: Log) -> StepCurve:
    rows = rates.days_to_recovery(cohort, log.last_date)
    return cumulative_incidence(timed(rows["days"], rows["event"]), minimum=log.settings.minimum_at_risk)


def build_review(folder: Path, month_text: str = "", today: dt.date | None = None) -> Review:
    """Read a log and answer the questions of the monthly review.

    Parameters
    ----------
    folder : Path
        The log.
    month_text : str
        YYYY-MM, or empty for the latest complete month.
    today : date, optional
        Day of the run, for the latest complete month.

    Raises
    ------
    LogError, SettingsError, ReworkError
        If the log cannot be read, has faults outside single jobs, or does not reach the month.
    """
    log = usable_log(Path(folder))
    month = month_for(log, month_text, today)
    return review_of(log, month)


def review_of(log: Log, month: pd.Period) -> Review:
    """Answer the questions of the monthly review for a log at hand."""
    log = as_of(set_aside_by(log, month.end_time), month.end_time)
    cohort = build_cohort(log)
    settings = log.settings
    year = rates.trailing(month)
    first_boots = cohort.first_boots
    mine = first_boots[first_boots["first_boot_month"].eq(month)]
    undated = int(first_boots["first_boot_month"].isna().sum())
    of_year = rates.in_months(first_boots, "first_boot_month", year)
    charts = watch(cohort, month, settings.minimum_class_n)
    now = _now(cohort, month, charts)
    known = now if isinstance(now, expected.MonthExpected) else None
    hours, attempts = hours_to_success(log), build_attempts(log)
    chances = pd.Series(float("nan"), index=mine.index) if known is None else known.chances
    return Review(
        log=log,
        cohort=cohort,
        month=month,
        month_ledger=cohort.ledger.then(
            ("first boot undated", undated), ("first boot in another month", len(first_boots) - len(mine) - undated)
        ),
        now=now,
        year=expected.trailing_expected(cohort, month, charts.model_on),
        expected_by_damage=expected_by_damage(cohort, month, charts.model_on),
        watching=watching(log, cohort, month, charts, known),
        first_boot=rates.first_boot_rates(cohort, month),
        first_boot_count=count_first_boots(cohort.jobs, log.jobs_set_aside),
        by_damage=rates.first_boot_by_damage(cohort, year),
        recovered=rates.recovery_rate(cohort.jobs),
        received=rates.recovery_by_month_received(cohort, month, settings.month_complete_share, log.last_date),
        recovery_curve=_recovery_curve(cohort, log),
        causes_month=causes.causes_of(causes.failed_jobs(cohort, (month, month))),
        causes_year=causes.causes_of(causes.failed_jobs(cohort, year)),
        locked_month=causes.locked_n(cohort, (month, month)),
        locked_year=causes.locked_n(cohort, year),
        cause_trends=cause_trends(log, cohort, month),
        pads=causes.pad_losses(log, of_year["job_id"]),
        model=description.describe(cohort, month),
        hours=survival.hours_answer(hours, cohort, settings.minimum_at_risk, settings.minimum_class_n),
        hours_model=survival.hours_model(hours, cohort),
        landmark=survival.landmark_model(hours, cohort, attempts),
        attempts=survival.attempts_answer(attempts),
        talk=jobs_to_talk_about(mine, chances),
        blanks=blanks(log),
    )
