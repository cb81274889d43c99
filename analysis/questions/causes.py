"""What failed and why, with the quality of the evidence kept apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.outcomes import Ending
from analysis.records.dictionary import CHIP_SIDES, JOBS
from analysis.records.log import Log

EVIDENCE = ("confirmed", "probable", "suspected", "not stated")
NOT_WRITTEN = "no cause written"
NO_STEP = "step not recorded"


@dataclass(frozen=True)
class CauseRow:
    """One cause among the failures of a period.

    Parameters
    ----------
    code, label : str
        Code of the log and its label.
    n : int
        Failed jobs with this cause.
    by_evidence : tuple of int, length 4
        The same by evidence, in the order of :data:`EVIDENCE`.
    hours : float
        Bench hours these jobs took, where recorded.
    hours_known : int
        Jobs with recorded hours.
    irreversible : int
        Jobs whose processor or storage is lost for good.
    """

    code: str
    label: str
    n: int
    by_evidence: tuple[int, int, int, int]
    hours: float
    hours_known: int
    irreversible: int


@dataclass(frozen=True)
class Causes:
    """Causes of failure in a period, most frequent first.

    Parameters
    ----------
    rows : tuple of CauseRow
        Without causes that did not occur.
    n : int
        Failed jobs closed in the period.
    hours : float
        Bench hours of all of them, where recorded.
    """

    rows: tuple[CauseRow, ...]
    n: int
    hours: float

    @property
    def biggest(self) -> CauseRow | None:
        """The most frequent named cause; None when no cause was named."""
        named = [row for row in self.rows if row.code not in (NOT_WRITTEN, "not_found", "other")]
        return named[0] if named else None

    @property
    def unexplained(self) -> int:
        """Failures without a cause: none written, or looked for and not found."""
        return sum(row.n for row in self.rows if row.code in (NOT_WRITTEN, "not_found"))


def failed_jobs(cohort: Cohort, months: tuple[pd.Period, pd.Period]) -> pd.DataFrame:
    """Jobs closed without recovery within the months, first and last included.

    Stopped jobs and jobs that boot but stay locked are not failures of the bench. A chain is listed by its first job.
    """
    jobs = cohort.jobs
    closed = jobs["ended_date"].dt.to_period("M")
    failed = jobs["ending"].isin([Ending.NOT_RECOVERED, Ending.PARTIAL])
    return jobs[failed & closed.ge(months[0]) & closed.le(months[1])]


def causes_of(failed: pd.DataFrame) -> Causes:
    """Count causes among failed jobs."""
    code = failed["failure_cause"].astype(object).where(failed["failure_cause"].notna(), NOT_WRITTEN)
    evidence = failed["cause_evidence"].astype(object).where(failed["cause_evidence"].notna(), "not stated")
    hours = failed["chain_hours"].astype(float)
    lost = failed["loss_reversible"].astype("Int64").eq(0).fillna(False).to_numpy(bool)
    column = JOBS["failure_cause"]
    rows = []
    for name in [*column.codes, NOT_WRITTEN]:
        mine = code.eq(name).to_numpy(bool)
        if not mine.any():
            continue
        split = evidence[mine].value_counts()
        counts = tuple(int(split.get(kind, 0)) for kind in EVIDENCE)
        rows.append(
            CauseRow(
                code=name,
                label=column.text_of(name),
                n=int(mine.sum()),
                by_evidence=(counts[0], counts[1], counts[2], counts[3]),
                hours=float(np.nansum(hours[mine])),
                hours_known=int(hours[mine].notna().sum()),
                irreversible=int(lost[mine].sum()),
            )
        )
    rows.sort(key=lambda row: (-row.n, -row.hours, row.code))
    return Causes(tuple(rows), len(failed), float(np.nansum(hours)))


@dataclass(frozen=True)
class PadLoss:
    """Sides that lost pads, by the step in which most of them went.

    Parameters
    ----------
    table : DataFrame
        ``chip``, ``side``, one column a step, ``sides`` (seen), ``with loss``.
    sides, with_loss : int
        Totals. A side is seen when its lost pads were counted or the grade left is written.
    not_seen : int
        Sides with neither.
    steps : tuple of (str, int)
        Every step with its number of sides, most first.
    """

    table: pd.DataFrame
    sides: int
    with_loss: int
    not_seen: int
    steps: tuple[tuple[str, int], ...]


def pad_losses(log: Log, job_ids: pd.Series) -> PadLoss:
    """Count where pads were lost among the given jobs.

    Without a count the grade left says it: 0 to 2 is no pad lost, 3 or 4 is at least one.
    """
    sides = log.tables["chip_sides"]
    sides = sides[sides["job_id"].isin(job_ids)]
    lost = sides["pads_lost_n"].gt(0).where(sides["pads_lost_n"].notna(), sides["pad_grade_left"].ge(3))
    seen = lost.notna()
    losing, all_n = sides[lost.fillna(False).astype(bool)], len(sides)
    sides = sides[seen]
    step_column = CHIP_SIDES["pads_lost_at"]
    step = losing["pads_lost_at"].astype(object).map(step_column.text_of, na_action="ignore").fillna(NO_STEP)
    order = [choice.text for choice in step_column.choices] + [NO_STEP]
    keys = ["chip_role", "side"]
    counted = losing.assign(step=step).groupby([*keys, "step"], observed=True).size().unstack(fill_value=0)  # noqa: PD010 -- counts, not values
    totals = sides.groupby(keys, observed=True).size()
    table = counted.reindex(totals.index, fill_value=0)
    table = table[[name for name in order if name in table.columns]]
    table["with loss"] = losing.groupby(keys, observed=True).size().reindex(totals.index, fill_value=0)
    table["sides"] = totals
    by_step = step[step.ne(NO_STEP)].value_counts()
    steps = tuple((str(name), int(n)) for name, n in by_step.items())
    return PadLoss(table.reset_index(), len(sides), len(losing), all_n - len(sides), steps)
