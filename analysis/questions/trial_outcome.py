"""A plan drawn by lot, analysed as it was fixed beforehand once its jobs are in.

Whoever keeps the list could bend it without changing a lot: pass over a line, take a later one, leave the consent of a
failure blank. So a verdict must survive the worst of it: every lot that was read and does not count is taken as a job
that went against the difference found, and jobs take the lots in the order in which they came in.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.features import build_cohort
from analysis.cohort.ledger import Ledger, start_ledger
from analysis.cohort.outcomes import FirstBoot
from analysis.cohort.technique_rows import technique_rows
from analysis.models.intervals import Proportion, wilson
from analysis.models.strata_difference import StrataDifference, redrawn_p, strata_difference
from analysis.questions.trial_file import Fixed, fixed_of, read_plan, used_lines
from analysis.questions.trial_plan import EARLY_P
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.records.log import Log

Floats = NDArray[np.float64]

DRAWS = 20_000
RNG_SEED = 30
NOT_YET = "no first boot yet"


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
    strict_p : float
        The same when every lot that was read and does not count went against the difference found, and jobs took the
        lots in the order they came in; the larger of both decides.
    stop : bool
        Whether the rule says to stop.
    verdict : Verdict
        At the end; before it "cannot tell" unless the rule says to stop.
    otherwise : int
        Jobs of which the log says that the other way was taken; they count as drawn.
    neither : int
        Jobs of which the log says neither way, or nothing; they count as drawn.
    out_of_order : int
        Lines taken before an earlier one of their class.
    skipped : int
        Lines without a job before the last one used of their class.
    not_counted : tuple of (int, int)
        Lots of either way that were read and will not count: skipped lines, and jobs left out for good.
    waiting : tuple of (int, int)
        Jobs of either way that have no first boot yet.
    without_consent : int
    """

    fixed: Fixed
    ledger: Ledger
    counted: int
    stage: str
    by_class: tuple[ByClass, ...]
    difference: StrataDifference | None
    p: float
    strict_p: float
    stop: bool
    verdict: Verdict
    otherwise: int
    neither: int
    out_of_order: int
    skipped: int
    not_counted: tuple[int, int]
    waiting: tuple[int, int]
    without_consent: int


def trial_outcome(path: Path, log: Log) -> TrialOutcome:
    """Analyse a plan: by the lots, not by what was done; at the looks that were fixed, and at no other time.

    Parameters
    ----------
    path : Path
        The plan with its jobs filled in.
    log : Log
        Outcomes come from here.

    Raises
    ------
    ReworkError
        If the list is not as it was drawn, or a line's job is not of that line.
    """
    frame = read_plan(path)
    fixed = fixed_of(frame, path)
    used = used_lines(frame, log, path)
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
    )
    used = used.assign(why=_why_not(used, fixed), in_order=_in_order_of_receipt(used))
    ledger = start_ledger("lines with a job", len(used)).then(
        *((str(reason), int(n)) for reason, n in used["why"].value_counts().sort_index().items() if reason)
    )
    counted = used[used["why"].eq("")].sort_values(["day", "job_id"], kind="stable").reset_index(drop=True)
    gone = used.loc[~used["why"].isin(["", NOT_YET]), ["damage_class", "way"]]
    return _looked_at(counted, used, _skipped(frame), gone, fixed, ledger)


def _why_not(used: pd.DataFrame, fixed: Fixed) -> pd.Series:
    """Why a line's job does not count; empty where it does."""
    status = used["status"].replace(str(FirstBoot.OPEN), NOT_YET)
    early, waiting = used["received"].le(fixed.after), used["won"].isna()
    why = np.select(
        [early, ~used["agreed"], waiting],
        ["received before the plan was drawn", "no written consent noted", status],
        "",
    )
    return pd.Series(why, index=used.index, dtype=object)


def _in_order_of_receipt(used: pd.DataFrame) -> pd.Series:
    """The arm each job would have had if the jobs of its class had taken the used lines in the order they came in."""
    by_line = used.sort_values(["damage_class", "number"], kind="stable")
    by_day = used.sort_values(["damage_class", "received", "number"], kind="stable")
    return pd.Series(by_line["arm"].to_numpy(), index=by_day.index).reindex(used.index)


def _skipped(frame: pd.DataFrame) -> pd.DataFrame:
    """Lines without a job before the last one used of their class."""
    number = frame["line"].astype(int)
    last = number.where(frame["job_id"].ne("")).groupby(frame["damage_class"]).transform("max")
    return frame.loc[frame["job_id"].eq("") & number.lt(last), ["damage_class", "way"]]


def _p(y: Floats, arm: Floats, damage: pd.Series) -> float:
    return redrawn_p(y, arm, pd.factorize(damage)[0], DRAWS, np.random.default_rng(RNG_SEED))


def _strict_p(seen: pd.DataFrame, gone: pd.DataFrame, fixed: Fixed, better: bool) -> float:
    """P with lots in the order of receipt, and those in ``gone`` against the way that looks better; else 1."""
    arm = gone["way"].eq(fixed.contrast.arms[0]).to_numpy(float)
    against = 1 - arm if better else arm
    damage = pd.concat([seen["damage_class"], gone["damage_class"]])
    y, arms = np.r_[seen["won"].to_numpy(float), against], np.r_[seen["in_order"].to_numpy(float), arm]
    still = strata_difference(y, arms, pd.factorize(damage)[0]).difference
    return _p(y, arms, damage) if still and (still > 0) == better else 1.0


def _looked_at(
    counted: pd.DataFrame, used: pd.DataFrame, skipped: pd.DataFrame, gone: pd.DataFrame, fixed: Fixed, ledger: Ledger
) -> TrialOutcome:
    """The first look takes the first half of the jobs, whenever it is made; the end takes the planned number."""
    n = len(counted)
    stage = "end" if n >= fixed.jobs else "first look" if n >= fixed.first_look else "waiting"
    seen = counted.head({"end": fixed.jobs, "first look": fixed.first_look, "waiting": 0}[stage])
    gone = pd.concat([skipped, gone])
    difference, p, strict = None, float("nan"), float("nan")
    if len(seen):
        y, arm = seen["won"].to_numpy(float), seen["arm"].to_numpy(float)
        difference = strata_difference(y, arm, pd.factorize(seen["damage_class"])[0])
        p = _p(y, arm, seen["damage_class"])
        strict = max(p, _strict_p(seen, gone, fixed, difference.difference > 0))
    stop = stage == "end" or (stage == "first look" and strict <= EARLY_P)
    return TrialOutcome(
        fixed=fixed,
        ledger=ledger,
        counted=n,
        stage=stage,
        by_class=_by_class(seen),
        difference=difference,
        p=p,
        strict_p=strict,
        stop=stop,
        verdict=verdict_of(strict) if stop else Verdict.CANNOT_TELL,
        otherwise=int((counted["done"].notna() & counted["done"].ne(counted["arm"])).sum()),
        neither=int(counted["done"].isna().sum()),
        out_of_order=_out_of_order(used),
        skipped=len(skipped),
        not_counted=_of_either(gone, fixed),
        waiting=_of_either(used[used["why"].eq(NOT_YET)], fixed),
        without_consent=int((~used["agreed"]).sum()),
    )


def _of_either(lines: pd.DataFrame, fixed: Fixed) -> tuple[int, int]:
    first = int(lines["way"].eq(fixed.contrast.arms[0]).sum())
    return first, len(lines) - first


def _by_class(seen: pd.DataFrame) -> tuple[ByClass, ...]:
    def won(own: pd.DataFrame, value: float) -> Proportion:
        mine = own.loc[own["arm"].eq(value), "won"]
        return wilson(int(mine.sum()), len(mine))

    return tuple(
        ByClass(str(damage), won(own, 1.0), won(own, 0.0)) for damage, own in seen.groupby("damage_class", sort=True)
    )


def _out_of_order(used: pd.DataFrame) -> int:
    """Lines whose job came in before the job of an earlier line of the same class."""
    received = used.sort_values("number")[["damage_class", "received"]]
    return int(received.groupby("damage_class")["received"].cummax().gt(received["received"]).sum())
