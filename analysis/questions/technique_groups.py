"""Who got which way of working, and whether the two can be compared at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.features import FEATURE_SOURCES
from analysis.models.design import RARER_NEEDED, too_few
from analysis.models.intervals import Proportion, wilson
from analysis.questions.contrasts import Contrast
from analysis.records.problems import plural

Floats = NDArray[np.float64]

USES_BOTH = 3  # jobs in either arm from which a technician counts as using both (common practice, no source)


@dataclass(frozen=True)
class DamageRow:
    """First boots of both arms in one damage class."""

    damage: str
    with_it: Proportion
    without: Proportion


@dataclass(frozen=True)
class Groups:
    """Who is in either arm, whatever is made of it.

    Parameters
    ----------
    by_damage : tuple of DamageRow
        Most jobs first.
    with_it, without : Proportion
        First boots of all jobs of either arm, not adjusted.
    both : tuple of str
        Technicians who use both arms.
    technicians : int
        Technicians named in either arm.
    """

    by_damage: tuple[DamageRow, ...]
    with_it: Proportion
    without: Proportion
    both: tuple[str, ...]
    technicians: int


def groups_of(rows: pd.DataFrame, arm: Floats) -> Groups:
    """Count both arms: by damage class, in all, and who uses both; rows with a NaN arm do not count."""
    frame = pd.DataFrame({"damage": rows["intake_damage"], "who": rows["technician_id"], "arm": arm})
    frame["won"] = rows["first_boot"].to_numpy(float)
    frame = frame[~np.isnan(arm)]
    counts = frame["damage"].value_counts()
    by_damage = [
        DamageRow(str(damage), *(_won(frame, (frame["damage"] == damage) & frame["arm"].eq(value)) for value in (1, 0)))
        for damage in sorted(counts.index, key=lambda name: (-counts[name], name))
    ]
    used = frame.groupby("who", observed=True)["arm"].agg(["sum", "count"])
    both = used[(used["sum"] >= USES_BOTH) & (used["count"] - used["sum"] >= USES_BOTH)]
    with_it, without = (_won(frame, frame["arm"].eq(value)) for value in (1, 0))
    return Groups(tuple(by_damage), with_it, without, tuple(sorted(map(str, both.index))), len(used))


def _won(frame: pd.DataFrame, which: pd.Series) -> Proportion:
    return wilson(int(frame.loc[which, "won"].sum()), int(which.sum()))


def why_refused(groups: Groups, contrast: Contrast, least: int) -> str:
    """Why a contrast cannot be answered; empty when it can be tried."""
    if not groups.with_it.n + groups.without.n:
        made_of = FEATURE_SOURCES.get(contrast.column, ())
        cells = dict.fromkeys(f"{column} in {table}.csv" for table, column in made_of)
        fill = f": fill in {' and '.join(cells)}" if cells else ""
        return f"the log does not say of any job which way was used{fill}"
    arms = zip(contrast.arms, (groups.with_it, groups.without), strict=True)
    if short := [
        f"{plural(arm.n, 'job')} with '{name}' {short_of(arm.n, least)}" for name, arm in arms if arm.n < least
    ]:
        return f"only {' and '.join(short)}"
    if not groups.technicians:
        return "no technician is named on these jobs, so that habits of people cannot be told from the technique"
    if len(groups.both) < 2:
        who = "no technician uses" if not groups.both else "only one technician uses"
        return (
            f"{who} both (at least {USES_BOTH} jobs of each), so that the technique cannot be told from the people who"
            " use it"
        )
    wins, n = groups.with_it.x + groups.without.x, groups.with_it.n + groups.without.n
    if few := too_few((np.arange(n) < wins).astype(float)):
        pace = f"; at the pace so far about {few.further_jobs} more of these jobs" if few.further_jobs else ""
        rarer = min(wins, n - wins)
        return f"only {rarer} of the rarer outcome among {n} jobs (at least {RARER_NEEDED} are needed{pace})"
    return ""


def short_of(count: int, least: int) -> str:
    """How many of something it takes at the least, and how many more where there are some, in brackets."""
    return f"(at least {least} are needed{f', {least - count} more' if count else ''})"
