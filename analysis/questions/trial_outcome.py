"""A plan drawn by lot, read back with its jobs, and analysed as it was fixed beforehand."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.cohort.features import build_cohort
from analysis.cohort.ledger import Ledger, start_ledger
from analysis.cohort.outcomes import FirstBoot
from analysis.cohort.technique_rows import technique_rows
from analysis.errors import ReworkError
from analysis.models.intervals import Proportion, wilson
from analysis.models.strata_difference import StrataDifference, redrawn_p, strata_difference
from analysis.questions.contrasts import DECLARED, Contrast
from analysis.questions.trial_plan import CODE, COLUMNS, EARLY_P, draw_lines
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.records.log import Log

DRAWS = 20_000
RNG_SEED = 30
CONSENTED = ("yes", "y", "true", "1", "x")
LARGEST = 1 << 22  # bytes


@dataclass(frozen=True)
class Fixed:
    """What the plan fixed: contrast, jobs, first look, seed, and the day after which jobs count."""

    contrast: Contrast
    jobs: int
    first_look: int
    rng_seed: int
    after: pd.Timestamp


@dataclass(frozen=True)
class ByClass:
    """First boots of either way in one damage class."""

    damage: str
    with_it: Proportion
    without: Proportion


@dataclass(frozen=True)
class TrialOutcome:
    """What the plan says now.

    Parameters
    ----------
    fixed : Fixed
    ledger : Ledger
        From the lines with a job to those counted.
    counted : int
        Jobs with a first boot, consent in writing, received after the plan was drawn.
    stage : str
        "waiting", "first look" or "end".
    by_class : tuple of ByClass
    difference : StrataDifference or None
        None while waiting: the plan is not looked at before it is time. With 95 %.
    p : float
        By drawing the lots again within damage classes; NaN while waiting.
    stop : bool
        Whether the rule says to stop.
    verdict : Verdict
        At the end; before it "cannot tell" unless the rule says to stop.
    otherwise : int
        Jobs of which the log says that the other way was taken; they count as drawn.
    out_of_order : int
        Lines taken before an earlier one of their class.
    without_consent : int
    """

    fixed: Fixed
    ledger: Ledger
    counted: int
    stage: str
    by_class: tuple[ByClass, ...]
    difference: StrataDifference | None
    p: float
    stop: bool
    verdict: Verdict
    otherwise: int
    out_of_order: int
    without_consent: int


def _refused(path: Path, found: str, rule: str, todo: str) -> ReworkError:
    return ReworkError(found, rule=rule, todo=todo, where=path.name)


def read_plan(path: Path) -> pd.DataFrame:
    """Read the lines of a plan as text.

    Raises
    ------
    ReworkError
        If the file cannot be read, or lacks a column.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise _refused(
                path, "is too large for a plan", "A plan has some hundred lines.", "Name the plan's own file."
            )
        data = path.read_bytes()
    except OSError as error:
        raise _refused(
            path,
            f"cannot be read: {error.strerror}",
            "The file of 'rework compare --plan-out'.",
            "Name the list that was written.",
        ) from None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    first = text.partition("\n")[0]
    delimiter = max((",", ";", "\t"), key=first.count)
    rows = [row for row in csv.reader(io.StringIO(text), delimiter=delimiter) if any(cell.strip() for cell in row)]
    heads = [cell.strip() for cell in rows[0]] if rows else []
    missing = [name for name in COLUMNS if name not in heads and name != "note"]
    if missing:
        rule = f"A plan has the columns {', '.join(COLUMNS)}."
        raise _refused(path, f"has no column {missing[0]}", rule, "Use the file as it was written.")
    cells = [[*row, *[""] * len(heads)][: len(heads)] for row in rows[1:]]
    frame = pd.DataFrame(cells, columns=heads, dtype=object)
    return frame.apply(lambda column: column.str.strip())


def fixed_of(frame: pd.DataFrame, path: Path) -> Fixed:
    """What was fixed beforehand; every line must say the same, and the lots must be those of its seed.

    Raises
    ------
    ReworkError
        If they are not.
    """
    codes = frame["plan"].unique()
    found = CODE.match(str(codes[0])) if len(codes) == 1 else None
    contrast = next((c for c in DECLARED if found and c.name == found["name"]), None)
    if found is None or contrast is None:
        rule = "Every line carries the same plan, such as: preheat seed 20 jobs 96 look 48 after 2024-10-02."
        raise _refused(path, "does not say which plan it is", rule, "Restore the column 'plan' from the printed list.")
    fixed = Fixed(contrast, int(found["jobs"]), int(found["look"]), int(found["seed"]), pd.Timestamp(found["day"]))
    for damage, own in frame.groupby("damage_class", sort=True):
        numbers = [int(number) if number.isdigit() else 0 for number in own["line"]]
        try:
            drawn = draw_lines(str(damage), contrast.arms, max(numbers), fixed.rng_seed)
        except ValueError:
            raise _refused(
                path, f"'{damage}' is no damage class", "The lines keep their class.", "Restore it."
            ) from None
        for number, way in zip(numbers, own["way"], strict=True):
            if not 1 <= number <= len(drawn) or drawn[number - 1] != way:
                rule = "The lots are those of the seed; a changed line makes the plan worthless."
                raise _refused(path, f"{damage}, line {number}: '{way}' was not drawn", rule, "Restore the line.")
    return fixed


def _used(frame: pd.DataFrame, log: Log, path: Path) -> pd.DataFrame:
    """Lines with a job, each job once and known to the log."""
    used = frame[frame["job_id"].ne("")].reset_index(drop=True)
    twice = used["job_id"][used["job_id"].duplicated()]
    if len(twice):
        raise _refused(path, f"job {twice.iloc[0]} stands on two lines", "A job takes one line.", "Mend the list.")
    unknown = used["job_id"][~used["job_id"].isin(log.tables["jobs"]["job_id"].astype(str))]
    if len(unknown):
        rule = "Outcomes are taken from the log; jobs with faults are not in it."
        raise _refused(path, f"job {unknown.iloc[0]} is not in the log", rule, "Mend the code, or run 'rework check'.")
    return used


def trial_outcome(path: Path, log: Log) -> TrialOutcome:
    """Analyse a plan: by the lots, not by what was done; at the looks that were fixed, and at no other time.

    Parameters
    ----------
    path : Path
        The plan with its jobs filled in.
    log : Log
        Outcomes come from here.
    """
    frame = read_plan(path)
    if frame.empty:
        raise _refused(
            path, "holds no line", "A plan has a line for every coming job.", "Use the file as it was written."
        )
    fixed = fixed_of(frame, path)
    used = _used(frame, log, path)
    cohort = build_cohort(log)
    # Every first boot counts by its lot; whether its work can be dated matters only to what was done.
    jobs = cohort.jobs.set_index(cohort.jobs["job_id"].astype(str))
    rows = technique_rows(log, cohort).rows.set_index("job_id")
    used = used.assign(
        received=used["job_id"].map(jobs["received_date"]),
        won=used["job_id"].map(jobs["first_boot"]).astype(float),
        status=used["job_id"].map(jobs["first_boot_status"]),
        day=used["job_id"].map(jobs["first_boot_date"]),
        arm=used["way"].eq(fixed.contrast.arms[0]).astype(float),
        done=used["job_id"].map(pd.Series(fixed.contrast.arm(rows), index=rows.index)).astype(float),
        number=used["line"].astype(int),
        agreed=used["written_consent"].str.lower().isin(CONSENTED),
    )
    ledger, counted = _counted(used, fixed)
    return _looked_at(counted, used, fixed, ledger)


def _counted(used: pd.DataFrame, fixed: Fixed) -> tuple[Ledger, pd.DataFrame]:
    early = used["received"].le(fixed.after)
    disagreed = ~used["agreed"] & ~early
    waiting = used["won"].isna() & ~early & ~disagreed
    why = used.loc[waiting, "status"].replace(str(FirstBoot.OPEN), "no first boot yet").value_counts().sort_index()
    ledger = start_ledger("lines with a job", len(used)).then(
        ("received before the plan was drawn", int(early.sum())),
        ("no written consent noted", int(disagreed.sum())),
        *((str(reason), int(n)) for reason, n in why.items()),
    )
    counted = used[~early & ~disagreed & ~waiting].sort_values(["day", "job_id"], kind="stable")
    return ledger, counted.reset_index(drop=True)


def _looked_at(counted: pd.DataFrame, used: pd.DataFrame, fixed: Fixed, ledger: Ledger) -> TrialOutcome:
    """The first look takes the first half of the jobs, whenever it is made; the end takes the planned number."""
    n = len(counted)
    stage = "end" if n >= fixed.jobs else "first look" if n >= fixed.first_look else "waiting"
    seen = counted.head({"end": fixed.jobs, "first look": fixed.first_look, "waiting": 0}[stage])
    difference, p = None, float("nan")
    if len(seen):
        y, arm = seen["won"].to_numpy(float), seen["arm"].to_numpy(float)
        strata = pd.factorize(seen["damage_class"])[0]
        difference = strata_difference(y, arm, strata)
        p = redrawn_p(y, arm, strata, DRAWS, np.random.default_rng(RNG_SEED))
    stop = stage == "end" or (stage == "first look" and p <= EARLY_P)
    return TrialOutcome(
        fixed=fixed,
        ledger=ledger,
        counted=n,
        stage=stage,
        by_class=_by_class(seen),
        difference=difference,
        p=p,
        stop=stop,
        verdict=verdict_of(p) if stop else Verdict.CANNOT_TELL,
        otherwise=int((counted["done"].notna() & counted["done"].ne(counted["arm"])).sum()),
        out_of_order=_out_of_order(used),
        without_consent=int((~used["agreed"]).sum()),
    )


def _by_class(seen: pd.DataFrame) -> tuple[ByClass, ...]:
    def won(own: pd.DataFrame, value: float) -> Proportion:
        mine = own.loc[own["arm"].eq(value), "won"]
        return wilson(int(mine.sum()), len(mine))

    return tuple(
        ByClass(str(damage), won(own, 1.0), won(own, 0.0)) for damage, own in seen.groupby("damage_class", sort=True)
    )


def _out_of_order(used: pd.DataFrame) -> int:
    """Lines whose job came in before the job of an earlier line of the same class."""
    late: Sequence[int] = [
        int((own.sort_values("number")["received"].cummax().gt(own.sort_values("number")["received"])).sum())
        for _, own in used.groupby("damage_class")
    ]
    return sum(late)
