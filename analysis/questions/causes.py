"""What failed and why, with the quality of the evidence kept apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.outcomes import Ending
from analysis.cohort.work import dated
from analysis.records.dictionary import CHIP_SIDES, JOBS
from analysis.records.log import Log

EVIDENCE = ("confirmed", "probable", "suspected", "not stated")
NOT_WRITTEN = "no cause written"
NO_STEP = "step not recorded"
FOUND_SO = CHIP_SIDES["pads_lost_at"].text_of("found")


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
    irreversible, irreversible_known : int
        Jobs whose processor or storage is lost for good, of those where it is written.
    """

    code: str
    label: str
    n: int
    by_evidence: tuple[int, int, int, int]
    hours: float
    hours_known: int
    irreversible: int
    irreversible_known: int


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
    hours_known : int
        Jobs with recorded hours.
    """

    rows: tuple[CauseRow, ...]
    n: int
    hours: float
    hours_known: int

    @property
    def biggest(self) -> CauseRow | None:
        """The most frequent named cause; None when no cause was named."""
        return self.known[0] if self.known else None

    @property
    def known(self) -> list[CauseRow]:
        """Causes by name, most frequent first: neither blank, nor not found, nor "other"."""
        return [row for row in self.rows if row.code not in (NOT_WRITTEN, "not_found", "other")]

    @property
    def unexplained(self) -> int:
        """Failures without a cause: none written, or looked for and not found."""
        return sum(row.n for row in self.rows if row.code in (NOT_WRITTEN, "not_found"))


def failed_jobs(cohort: Cohort, months: tuple[pd.Period, pd.Period]) -> pd.DataFrame:
    """Jobs closed without recovery within the months, first and last included.

    Stopped jobs and jobs that boot but stay locked are not failures of the bench. A chain is listed by its first job.
    """
    return _ended(cohort, months, (Ending.NOT_RECOVERED, Ending.PARTIAL))


def locked_n(cohort: Cohort, months: tuple[pd.Period, pd.Period]) -> int:
    """Jobs closed within the months that boot but stay locked: nothing the bench did failed."""
    return len(_ended(cohort, months, (Ending.LOCKED,)))


def _ended(cohort: Cohort, months: tuple[pd.Period, pd.Period], endings: tuple[Ending, ...]) -> pd.DataFrame:
    jobs = cohort.jobs
    closed = jobs["ended_date"].dt.to_period("M")
    return jobs[jobs["ending"].isin(endings) & closed.ge(months[0]) & closed.le(months[1])]


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
                irreversible_known=int(failed["loss_reversible"][mine].notna().sum()),
            )
        )
    rows.sort(key=lambda row: (-row.n, -row.hours, row.code))
    return Causes(tuple(rows), len(failed), float(np.nansum(hours)), int(hours.notna().sum()))


@dataclass(frozen=True)
class PadLoss:
    """Sides that lost pads before the first boot test, by the step in which most of them went.

    Parameters
    ----------
    table : DataFrame
        ``chip``, ``side``, one column a step, ``sides`` (seen), ``with loss`` (found so included).
    sides, found_so, with_loss : int
        Sides seen; those whose pads were gone when first seen; those that lost pads on the bench. A side is a chip's
        side of one job, however many rows it has; it is seen when its lost pads were counted or the grade left is
        written.
    not_seen : int
        Sides with neither.
    later : int
        Sides without loss before the first boot test that lost pads in work for a later one.
    steps : tuple of (str, int)
        Every step of the bench with its number of sides, most first.
    """

    table: pd.DataFrame
    sides: int
    found_so: int
    with_loss: int
    not_seen: int
    later: int
    steps: tuple[tuple[str, int], ...]


_SIDE = ["job_id", "chip_role", "side"]


def _one_row_a_side(rows: pd.DataFrame) -> pd.DataFrame:
    """Chip sides of some work with ``lost`` (NA where not seen) and ``step``, one row a side.

    Without a count the grade left says it: 0 to 2 is no pad lost, 3 or 4 is at least one. A side with several rows
    counts once, at the first of them that tells of a loss.
    """
    lost = rows["pads_lost_n"].gt(0).where(rows["pads_lost_n"].notna(), rows["pad_grade_left"].ge(3)).astype("boolean")
    step = rows["pads_lost_at"].astype(object)
    # Lost when found and no step named: nobody on the bench is known to have done it.
    inherited = step.isna() & rows["pad_grade_found"].ge(3).fillna(False)
    step = step.mask(inherited.to_numpy(bool), "found")
    step = step.map(CHIP_SIDES["pads_lost_at"].text_of, na_action="ignore").fillna(NO_STEP)
    rank = lost.map({True: 0, False: 1}).astype("Float64").fillna(2)
    told = rows[_SIDE].assign(lost=lost, step=step, rank=rank).sort_values("rank", kind="stable")
    return told.drop_duplicates(_SIDE)


def pad_losses(log: Log, job_ids: pd.Series) -> PadLoss:
    """Count where pads were lost among the given jobs, in the work before their first boot test.

    Work for later tests is done on failed jobs only and would mix the two; what was lost in it is counted apart.
    """
    rows = log.tables["chip_sides"]
    rows = rows[rows["job_id"].isin(job_ids)]
    work, _ = dated(rows, log)
    first, after = _one_row_a_side(work[work["before"].le(1)]), _one_row_a_side(work[work["before"].gt(1)])
    seen = first[first["lost"].notna()]
    losing = seen[seen["lost"].astype(bool)]
    lost_later = after[after["lost"].fillna(False).astype(bool)]
    later = lost_later.merge(losing[_SIDE], on=_SIDE, how="left", indicator=True)["_merge"].eq("left_only").sum()
    order = [choice.text for choice in CHIP_SIDES["pads_lost_at"].choices] + [NO_STEP]
    keys = ["chip_role", "side"]
    counted = losing.groupby([*keys, "step"], observed=True).size().unstack(fill_value=0)  # noqa: PD010 -- counts, not values
    totals = seen.groupby(keys, observed=True).size()
    table = counted.reindex(totals.index, fill_value=0)
    table = table[[name for name in order if name in table.columns]]
    table["with loss"] = losing.groupby(keys, observed=True).size().reindex(totals.index, fill_value=0)
    table["sides"] = totals
    found = losing["step"].eq(FOUND_SO)
    by_step = losing.loc[~found & losing["step"].ne(NO_STEP), "step"].value_counts()
    steps = tuple((str(name), int(n)) for name, n in by_step.items())
    lost_here = len(losing) - int(found.sum())
    unseen = len(rows[_SIDE].drop_duplicates()) - len(seen)
    return PadLoss(table.reset_index(), len(seen), int(found.sum()), lost_here, unseen, int(later), steps)
