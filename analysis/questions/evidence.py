"""What a bench achieves, counted for clients: every number of the sheet, from the fixed definitions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from analysis.cohort.outcomes import Ending, FirstBoot
from analysis.errors import ReworkError
from analysis.models.intervals import Proportion, wilson
from analysis.questions.evidence_classes import CLASSES, Groups, merged, merged_until
from analysis.questions.evidence_rows import NOT_RECORDED, sheet_rows
from analysis.questions.evidence_span import Span
from analysis.questions.evidence_time import READY, Turnaround, turnaround
from analysis.questions.rates import first_boot_rate, in_months, recovery_rate
from analysis.records.log import Log

LOWEST = 5  # fewest jobs of a group that a bench may set (thresholds of 3 to 10 are common practice, no source)
FEES = ("no_result_no_fee", "flat", "staged", NOT_RECORDED)


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
class Whole:
    """The whole log, beside a chosen period; ``ready`` and ``accepted`` as for the sheet itself."""

    first_month: pd.Period
    last_month: pd.Period
    recovered: Proportion
    first_boot: Proportion
    accepted: int
    ready: bool


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
        Jobs received, declined, withdrawn, repeats (counted with their first job; those of them after a recovery apart,
        since another client's failure might hide there), accepted, and the accepted ones by ending: recovered,
        not_recovered, partial, locked, stopped, open; set_aside.
    recovered, without_stopped, first_boot : Proportion
        Of the span; first boots of none while fewer boards than the minimum were tried.
    bounds : tuple of float
        Lowest and highest first-boot rate that jobs stopped untested after work began allow.
    stopped_untested : int
        Those jobs.
    ready : bool
        Whether enough of the accepted jobs are closed for a recovery rate; before that only the share by days is said.
    classes : tuple of ClassRow
        Empty while not ready.
    turnaround : Turnaround
    lost, lost_found, lost_unknown : int
        Accepted closed jobs whose data are lost for good; those of them with a cause that was there on arrival; jobs
        without recovery for which nobody wrote whether they are.
    fees : tuple of (tuple of str, int)
        Accepted jobs by fee basis; small ones put together.
    whole : Whole or None
        For chosen months.
    minimum : int
        Fewest jobs of a group shown.
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
    lost_unknown: int
    fees: tuple[tuple[tuple[str, ...], int], ...]
    whole: Whole | None
    minimum: int
    rows: pd.DataFrame


COUNTED = {
    "recovered": Ending.RECOVERED,
    "not_recovered": Ending.NOT_RECOVERED,
    "partial": Ending.PARTIAL,
    "locked": Ending.LOCKED,
    "stopped": Ending.STOPPED,
    "open": Ending.OPEN,
}


def _first_boots(rows: pd.DataFrame, minimum: int) -> Proportion:
    """First-boot rate; of none where fewer boards were tried than may be shown."""
    rate = first_boot_rate("", rows).proportion
    return rate if rate.n >= minimum else wilson(0, 0)


def _class_rows(rows: pd.DataFrame, groups: Groups, minimum: int) -> tuple[ClassRow, ...]:
    out = []
    for codes in groups:
        mine = rows[rows["intake_damage"].isin(codes)]
        out.append(ClassRow(codes, recovery_rate(mine).with_stopped, _first_boots(mine, minimum)))
    return tuple(out)


def class_sizes(rows: pd.DataFrame) -> dict[str, int]:
    """Jobs of each class: the smaller of the two denominators shown for it."""
    closed = rows.loc[rows["closed"], "intake_damage"].value_counts()
    tested = rows.loc[rows["first_boot"].notna(), "intake_damage"].value_counts()
    names = [name for name in CLASSES if closed.get(name, 0) or tested.get(name, 0)]
    # A class with jobs in one column only is as small as can be, but it is there and must be merged.
    return {name: max(1, min(int(closed.get(name, 0)), int(tested.get(name, 0)))) for name in names}


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
        "repeats_after_recovery": int(rows["after_recovery"].sum()),
        "accepted": int(rows["accepted"].sum()),
    }
    out |= {name: int(endings.get(str(ending), 0)) for name, ending in COUNTED.items()}
    out["set_aside"] = log.jobs_set_aside
    in_full = out["accepted"] + out["declined"] + out["withdrawn"] + out["repeats"]
    if out["received"] != in_full or out["accepted"] != sum(out[name] for name in COUNTED):
        raise AssertionError(f"the sheet's counts do not add up: {out}")
    return out


def _refuse_few(span: Span, closed: int, minimum: int) -> None:
    if minimum < LOWEST:
        raise ReworkError(
            f"minimum_class_n is {minimum}; a sheet for clients takes at least {LOWEST}.",
            rule="Groups of a few jobs point to single clients.",
            todo=f"Write minimum_class_n = 10 in bench.toml (or another number from {LOWEST}).",
        )
    if closed < minimum:
        raise ReworkError(
            f"{span.name} holds {closed} accepted closed jobs; a sheet takes at least {minimum}.",
            rule="Fewer jobs could point to single clients, and say next to nothing about the bench.",
            todo="Name more months with --from and --until; the rate of the whole log is then printed beside them.",
        )


def grouped(
    every: pd.DataFrame, span: Span, minimum: int, gives_away: Callable[[pd.DataFrame, Groups], bool] | None = None
) -> Groups | None:
    """How the classes of a span are put together; none while it is not ready, None where nothing can be shown."""
    rows = in_months(every, "received_month", (span.first, span.last))
    sizes = class_sizes(rows)
    groups = merged(sizes, CLASSES, minimum) if _ready(rows) else ()
    if gives_away is None:
        return groups
    return merged_until(groups, sizes, lambda found: gives_away(every, found))


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
    minimum = log.settings.minimum_class_n
    counts = _counts(log, rows)
    recovery = recovery_rate(rows)
    closed = recovery.with_stopped.n
    _refuse_few(span, closed, minimum)
    ready = _ready(rows)
    if groups is None:
        groups = grouped(every, span, minimum, gives_away)
        if groups is None:
            raise too_near(span, minimum)
    first_boot = _first_boots(rows, minimum)
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
        classes=_class_rows(rows, groups, minimum),
        turnaround=turnaround(cohort, rows, until),
        lost=int(rows["lost"].isin(["yes", "on_arrival"]).sum()),
        lost_found=int(rows["lost"].eq("on_arrival").sum()),
        lost_unknown=int(rows["lost"].eq("not_recorded").sum()),
        fees=_fees(rows, minimum),
        whole=None if span.half else _whole(every, minimum),
        minimum=minimum,
        rows=every,
    )


def too_near(span: Span, minimum: int) -> ReworkError:
    """What is said when a sheet would let single jobs be worked out."""
    beside = "sheets published before" if span.half else "the whole log and sheets published before"
    return ReworkError(
        f"beside {beside}, a sheet of {span.name} would show what became of fewer than {minimum} jobs.",
        rule="Published numbers must not differ by a handful of jobs: the difference would point to single clients.",
        todo="Hand out a sheet published before, name other months, or wait until more jobs are closed and seal again.",
    )


def _ready(rows: pd.DataFrame) -> bool:
    """Whether enough accepted jobs are closed; before that the quick ones, mostly successes, would make the rate."""
    return bool(rows["closed"].sum() >= READY * rows["accepted"].sum() - 1e-9)


def _whole(every: pd.DataFrame, minimum: int) -> Whole:
    months, accepted = every["received_month"], int(every["accepted"].sum())
    rates = (recovery_rate(every).with_stopped, _first_boots(every, minimum))
    return Whole(months.min(), months.max(), *rates, accepted, _ready(every))


def lost_rate(evidence: Evidence) -> Proportion:
    """Closed jobs whose data are lost for good."""
    return wilson(evidence.lost, evidence.recovered.n)
