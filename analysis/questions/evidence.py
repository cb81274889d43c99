"""What a bench achieves, counted for clients: every number of the sheet, from the fixed definitions."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.cohort.as_of import as_of
from analysis.cohort.features import Cohort, build_cohort
from analysis.cohort.outcomes import Ending, FirstBoot
from analysis.errors import ReworkError
from analysis.models.incidence import StepCurve, cumulative_incidence
from analysis.models.intervals import Proportion, wilson
from analysis.models.timed import timed
from analysis.questions.evidence_classes import CLASSES, Groups, merged, merged_until
from analysis.questions.evidence_span import Span
from analysis.questions.rates import days_to_recovery, first_boot_rate, in_months, recovery_rate
from analysis.records.log import Log

DAYS_SHOWN = (14, 30, 60)
COUNTING = ("minimum_class_n", "minimum_at_risk", "month_complete_share")  # settings that the numbers depend on
NOT_RECORDED = "not_recorded"
FEES = ("no_result_no_fee", "flat", "staged", NOT_RECORDED)
FOUND_LOST = ("chip_dead_on_arrival", "original_damage")  # causes that were there before the bench began


@dataclass(frozen=True)
class ClassRow:
    """Rates of one damage class, or of several put together.

    Parameters
    ----------
    codes : tuple of str
        Damage classes.
    recovered, first_boot : Proportion
        Of accepted closed jobs, and of jobs with a first boot test or lost before one.
    """

    codes: tuple[str, ...]
    recovered: Proportion
    first_boot: Proportion


@dataclass(frozen=True)
class Turnaround:
    """Days from receipt, jobs still open censored at the day of the seal.

    Parameters
    ----------
    recovered : tuple of (int, float, float, float)
        Day, share of accepted jobs whose data were recovered by then, and its interval (Aalen–Johansen).
    half_closed : float
        Days by which half the accepted jobs were closed, one way or the other; NaN when that was not seen.
    n, still_open : int
        Accepted jobs followed, and those of them still open.
    """

    recovered: tuple[tuple[int, float, float, float], ...]
    half_closed: float
    n: int
    still_open: int


@dataclass(frozen=True)
class Whole:
    """The whole log, beside a chosen period."""

    first_month: pd.Period
    last_month: pd.Period
    recovered: Proportion
    first_boot: Proportion


@dataclass(frozen=True)
class Evidence:
    """Everything on the sheet.

    Parameters
    ----------
    span : Span
        Months of receipt.
    until : Timestamp
        The log is counted as it stood at the end of this day.
    counts : mapping of str to int
        Jobs received, declined, withdrawn, repeats (counted with their first job), accepted, and the accepted ones by
        ending: recovered, not_recovered, partial, locked, stopped, open; set_aside.
    recovered, without_stopped, first_boot : Proportion
        Of the span.
    bounds : tuple of float
        Lowest and highest first-boot rate that jobs stopped untested after heat allow.
    stopped_untested : int
        Those jobs.
    ready : bool
        Whether enough of the accepted jobs are closed for a recovery rate; before that only the share by days is said.
    classes : tuple of ClassRow
        Empty while not ready.
    turnaround : Turnaround
    lost, lost_found : int
        Accepted closed jobs whose data are lost for good; those of them with a cause that was there on arrival.
    fees : tuple of (tuple of str, int)
        Accepted jobs by fee basis; small ones put together.
    whole : Whole or None
        For chosen months.
    counting : mapping of str to float
        The settings that the numbers depend on.
    rows : DataFrame
        One row a job of the log as counted, for the recount file and for telling sheets apart; never shown.
    """

    span: Span
    until: pd.Timestamp
    counts: dict[str, int]
    recovered: Proportion
    without_stopped: Proportion
    first_boot: Proportion
    bounds: tuple[float, float]
    stopped_untested: int
    ready: bool
    classes: tuple[ClassRow, ...]
    turnaround: Turnaround
    lost: int
    lost_found: int
    fees: tuple[tuple[tuple[str, ...], int], ...]
    whole: Whole | None
    counting: Mapping[str, float]
    rows: pd.DataFrame

    @property
    def minimum(self) -> int:
        """Fewest jobs of a group shown."""
        return int(self.counting["minimum_class_n"])


OPEN_APART = (Ending.NOT_ACCEPTED, Ending.REPEAT)
COUNTED = {
    "recovered": Ending.RECOVERED,
    "not_recovered": Ending.NOT_RECOVERED,
    "partial": Ending.PARTIAL,
    "locked": Ending.LOCKED,
    "stopped": Ending.STOPPED,
    "open": Ending.OPEN,
}


def _without_undated(log: Log, until: pd.Timestamp) -> Log:
    """The log without results of open jobs that carry no date.

    Nobody can say whether they stood there on the day, so that counting them would make a recount depend on what was
    entered since.
    """
    jobs, tests = log.tables["jobs"].copy(), log.tables["boot_tests"]
    closed = jobs["closed_date"].le(until).fillna(False).astype(bool)
    jobs["first_boot_result"] = jobs["first_boot_result"].mask(~closed)
    kept = tests["test_date"].notna() | tests["job_id"].isin(jobs.loc[closed, "job_id"])
    return replace(log, tables=dict(log.tables) | {"jobs": jobs, "boot_tests": tests[kept].reset_index(drop=True)})


def sheet_rows(log: Log, until: pd.Timestamp) -> tuple[Cohort, pd.DataFrame]:
    """One row a job of the log as it stood, with the facts that the sheet counts.

    Returns
    -------
    Cohort
        Of the log as it stood.
    DataFrame
        Its jobs with ``accepted`` and ``closed`` (flags; a chain on its first job), ``lost`` (of closed jobs: "no",
        "yes", "on_arrival"), ``fee`` and ``days`` (from receipt to closing, or to ``until`` while open; NaN where no
        closing is dated).
    """
    cohort = build_cohort(as_of(_without_undated(log, until), until))
    rows = cohort.jobs.copy()
    rows["accepted"] = ~rows["ending"].isin(OPEN_APART)
    rows["closed"] = rows["accepted"] & rows["ending"].ne(Ending.OPEN)
    unrecovered = rows["ending"].ne(Ending.RECOVERED).to_numpy(bool)
    lost = unrecovered & rows["loss_reversible"].eq(False).fillna(False).to_numpy(bool)
    found = rows["failure_cause"].isin(FOUND_LOST).to_numpy(bool)
    closed = rows["closed"].to_numpy(bool)
    rows["lost"] = np.select([~closed, lost & found, lost], ["", "on_arrival", "yes"], default="no")
    fee = rows["job_id"].map(log.tables["jobs"].set_index("job_id")["fee_basis"].astype(object))
    rows["fee"] = fee.where(fee.notna(), NOT_RECORDED)
    end = rows["ended_date"].where(rows["closed"], until)
    rows["days"] = (end - rows["received_date"]).dt.days.where(rows["accepted"])
    return replace(cohort, jobs=rows), rows


def _class_rows(rows: pd.DataFrame, groups: Groups) -> tuple[ClassRow, ...]:
    out = []
    for codes in groups:
        mine = rows[rows["intake_damage"].isin(codes)]
        out.append(ClassRow(codes, recovery_rate(mine).with_stopped, first_boot_rate("", mine).proportion))
    return tuple(out)


def class_sizes(rows: pd.DataFrame) -> dict[str, int]:
    """Jobs of each class: the smaller of the two denominators shown for it."""
    closed = rows.loc[rows["closed"], "intake_damage"].value_counts()
    tested = rows.loc[rows["first_boot"].notna(), "intake_damage"].value_counts()
    names = [name for name in CLASSES if closed.get(name, 0) or tested.get(name, 0)]
    # A class with jobs in one column only is as small as can be, but it is there and must be merged.
    return {name: max(1, min(int(closed.get(name, 0)), int(tested.get(name, 0)))) for name in names}


def _curve(days: pd.DataFrame, event: pd.Series | np.ndarray, minimum: int) -> StepCurve:
    return cumulative_incidence(timed(days["days"], event), minimum=minimum)


def _turnaround(cohort: Cohort, rows: pd.DataFrame, until: pd.Timestamp, minimum: int) -> Turnaround:
    days = days_to_recovery(replace(cohort, jobs=rows), until)
    still_open = int(days["event"].eq(0).sum())
    if len(days) < minimum:
        return Turnaround((), float("nan"), len(days), still_open)
    recovered = _curve(days, days["event"], minimum)
    closed = _curve(days, days["event"].gt(0).astype(int), minimum)
    shown = [(day, *recovered.at(day)) for day in DAYS_SHOWN if day <= recovered.stop]
    return Turnaround(tuple(shown), closed.reached(0.5), len(days), still_open)


def _fees(rows: pd.DataFrame, minimum: int) -> tuple[tuple[tuple[str, ...], int], ...]:
    counts = rows.loc[rows["accepted"], "fee"].value_counts()
    sizes = {name: int(counts.get(name, 0)) for name in FEES}
    return tuple((group, sum(sizes[name] for name in group)) for group in merged(sizes, FEES, minimum))


def _counts(log: Log, rows: pd.DataFrame) -> dict[str, int]:
    endings = rows["ending"].value_counts()
    out = {
        "received": len(rows),
        "declined": int(rows["decision"].eq("declined").sum()),
        "withdrawn": int(rows["decision"].eq("withdrawn").sum()),
        "repeats": int(rows["ending"].eq(Ending.REPEAT).sum()),
        "accepted": int(rows["accepted"].sum()),
    }
    out |= {name: int(endings.get(str(ending), 0)) for name, ending in COUNTED.items()}
    out["set_aside"] = log.jobs_set_aside
    in_full = out["accepted"] + out["declined"] + out["withdrawn"] + out["repeats"]
    if out["received"] != in_full or out["accepted"] != sum(out[name] for name in COUNTED):
        raise AssertionError(f"the sheet's counts do not add up: {out}")
    return out


def _refuse_few(span: Span, closed: int, minimum: int) -> None:
    if closed < minimum:
        raise ReworkError(
            f"{span.name} holds {closed} accepted closed jobs; a sheet takes at least {minimum}.",
            rule="Fewer jobs could point to single clients, and say next to nothing about the bench.",
            todo="Choose a longer period; minimum_class_n in bench.toml sets the number.",
        )


def build_evidence(
    log: Log,
    span: Span,
    until: pd.Timestamp,
    *,
    gives_away: Callable[[pd.DataFrame, Groups], bool] | None = None,
    groups: Groups | None = None,
) -> Evidence:
    """Count everything on the sheet.

    Parameters
    ----------
    log : Log
        The log, faulty jobs set aside.
    span : Span
        Months of receipt.
    until : Timestamp
        The log is counted as it stood at the end of this day.
    gives_away : callable, optional
        Whether classes in these groups, beside sheets published before, would show fewer jobs than the minimum.
    groups : tuple of tuple of str, optional
        Classes as an earlier sheet showed them, for a recount; by default merged as needed.

    Raises
    ------
    ReworkError
        If the span holds too few closed jobs, or nothing of it can be shown beside sheets published before.
    """
    cohort, every = sheet_rows(log, until)
    rows = in_months(every, "received_month", (span.first, span.last))
    settings = log.settings
    minimum = settings.minimum_class_n
    counts = _counts(log, rows)
    recovery = recovery_rate(rows)
    closed = recovery.with_stopped.n
    _refuse_few(span, closed, minimum)
    ready = closed >= settings.month_complete_share * counts["accepted"] - 1e-9
    if groups is None:
        sizes = class_sizes(rows)
        groups = merged(sizes, CLASSES, minimum) if ready else ()
        if gives_away is not None:
            groups = merged_until(groups, sizes, lambda found: gives_away(every, found))
        if groups is None:
            raise _too_near(span, minimum)
    first_boot = first_boot_rate("", rows).proportion
    untested = int(rows["first_boot_status"].eq(FirstBoot.STOPPED_AFTER).sum())
    of = max(first_boot.n + untested, 1)
    return Evidence(
        span=span,
        until=until,
        counts=counts,
        recovered=recovery.with_stopped,
        without_stopped=recovery.without_stopped,
        first_boot=first_boot,
        bounds=(first_boot.x / of, (first_boot.x + untested) / of),
        stopped_untested=untested,
        ready=ready,
        classes=_class_rows(rows, groups),
        turnaround=_turnaround(cohort, rows, until, settings.minimum_at_risk),
        lost=int(rows["lost"].isin(["yes", "on_arrival"]).sum()),
        lost_found=int(rows["lost"].eq("on_arrival").sum()),
        fees=_fees(rows, minimum),
        whole=None if span.half else _whole(every),
        counting={name: float(getattr(settings, name)) for name in COUNTING},
        rows=every,
    )


def _too_near(span: Span, minimum: int) -> ReworkError:
    return ReworkError(
        f"beside sheets published before, a sheet of {span.name} would show what became of fewer than {minimum} jobs.",
        rule="What two sheets say must not differ by a handful of jobs: the difference would point to single clients.",
        todo="Hand out the sheet published before, or wait until more jobs are closed and seal again.",
    )


def _whole(every: pd.DataFrame) -> Whole:
    months = every["received_month"]
    return Whole(months.min(), months.max(), recovery_rate(every).with_stopped, first_boot_rate("", every).proportion)


def lost_rate(evidence: Evidence) -> Proportion:
    """Closed jobs whose data are lost for good."""
    return wilson(evidence.lost, evidence.recovered.n)
