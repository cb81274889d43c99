"""Jobs with a first boot and what was done to them before boot test 1, as comparisons of techniques need it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import FEATURE_SOURCES, Cohort
from analysis.cohort.ledger import Ledger
from analysis.cohort.undatable import UNDATED_WORK, Undatable, undatable_of
from analysis.cohort.work import CLIENT_CHIPS, NO_SETTING, PRESET, centre_by_station, dated, entered
from analysis.records.log import Log

OXIDISED = 1  # pad grade from which a blade is a question at all
HOT_SHORT, LOW_LONG = "hot and short", "low and long"
_WORK = ("chip_sides", "heat_steps")
OF_WORK = tuple(name for name, made_of in FEATURE_SOURCES.items() if any(table in _WORK for table, _ in made_of))


@dataclass(frozen=True)
class TechniqueRows:
    """Rows of every comparison.

    Parameters
    ----------
    rows : DataFrame
        First boots of the cohort whose work can be dated (all of them, with every column of work blank, where
        ``undatable`` is set: donors may still be compared), and beside its columns ``quarter`` (of receipt),
        ``install_style`` (:data:`HOT_SHORT`, :data:`LOW_LONG`, "neither", or None), ``blade_on_oxidised`` (1, 0; NaN
        where no oxidised pad was noted or no blade either way), ``processor_lower_passes`` and
        ``processor_lower_grade`` (cleaning passes over the processor's lower side, and the pad grade found there), and
        for each of install and reball of the processor ``<step>_dose_c`` (°C, centred by station) and ``<step>_dose_s``
        (s), both as far as :func:`analysis.cohort.work.entered` lets them be used, and ``<step>_entry``, how they were
        entered.
    ledger : Ledger
        From all jobs of the log to ``rows``.
    stations : int
        Stations named on installs and reballs.
    taken_as_first : int
        Jobs of ``rows`` with work that names no boot test; with at most one test it is taken as work before test 1.
    undatable : Undatable or None
        Set where so many failed jobs have undated work that rows without them may be compared in nothing.
    blank_preheats : int
        Jobs of ``rows`` whose install counts as cold only because no preheat is noted, in a log that never says none.
    share : float
        Of the log's first boots, those that were taken by lot; 1 where all are looked at.
    """

    rows: pd.DataFrame
    ledger: Ledger
    stations: int
    taken_as_first: int = 0
    undatable: Undatable | None = None
    blank_preheats: int = 0
    share: float = 1.0


def technique_rows(log: Log, cohort: Cohort) -> TechniqueRows:
    """Put what techniques are compared by on one row a job; only work before boot test 1."""
    rows, undatable = cohort.first_boots, undatable_of(cohort)
    steps, _ = dated(log.tables["heat_steps"], log)
    sides, _ = dated(log.tables["chip_sides"], log)
    if undatable is not None:
        undated = np.zeros(len(rows), dtype=bool)
        rows, steps, sides = rows.assign(**dict.fromkeys(OF_WORK, np.nan)), steps.iloc[:0], sides.iloc[:0]
    else:
        undated = rows["job_id"].isin(cohort.undated.jobs).to_numpy(bool)
    rows = rows[~undated].reset_index(drop=True)
    steps, sides = steps[steps["before"].eq(1)], sides[sides["before"].eq(1)]
    silent = [each.loc[each["before_test_no"].isna(), "job_id"] for each in (steps, sides)]
    steps = steps[steps["chip_role"].eq("processor") & steps["job_id"].isin(rows["job_id"])]
    found = [
        _settings(steps, kind, log).reindex(rows["job_id"]).reset_index(drop=True) for kind in ("install", "reball")
    ]
    out = pd.concat([rows, *found], axis=1)
    for kind in ("install", "reball"):
        out[f"{kind}_entry"] = out[f"{kind}_entry"].fillna(NO_SETTING)
    out["quarter"] = out["received_date"].dt.to_period("Q").astype(str)
    out["install_style"] = install_style(out["install_dose_c"], out["install_dose_s"])
    out["blade_on_oxidised"] = out["job_id"].map(_blade_on_oxidised(sides)).astype(float)
    main = sides[sides["chip_role"].eq("processor") & sides["side"].eq("lower")].set_index("job_id")
    for name, column in (("passes", "clean_passes_n"), ("grade", "pad_grade_found")):
        values = pd.Series(main[column].astype("Float64").to_numpy(float, na_value=np.nan), index=main.index)
        out[f"processor_lower_{name}"] = out["job_id"].map(values.groupby(level=0).max()).astype(float)
    used = steps[steps["step_type"].isin(["install", "reball"])]
    ledger = cohort.ledger.then((UNDATED_WORK, int(undated.sum())))
    taken = int(rows["job_id"].isin(pd.concat(silent)).sum())
    stations = int(used["station_id"].nunique())
    return TechniqueRows(out, ledger, stations, taken, undatable, cohort.blank_preheats(rows), cohort.share)


def _settings(steps: pd.DataFrame, kind: str, log: Log) -> pd.DataFrame:
    """Last step of a kind of each job: its settings as far as they may be used, and how they were entered."""
    last = steps[steps["step_type"].eq(kind)].sort_values("step_no", kind="stable")
    last = last.drop_duplicates("job_id", keep="last").set_index("job_id")
    how, used = entered(last, log)
    temperature = centre_by_station(last[used], "set_temp_c").reindex(last.index)
    nothing = last["set_temp_c"].isna() & how.ne(PRESET)
    return pd.DataFrame(
        {
            f"{kind}_dose_c": temperature.astype(float),
            f"{kind}_dose_s": last["step_s"].astype(float).where(used),
            f"{kind}_entry": how.mask(nothing, NO_SETTING),
        },
        index=last.index,
    )


def middle(values: pd.Series) -> float:
    """Median of what is recorded; NaN where nothing is."""
    known = values.dropna()
    return float(known.median()) if len(known) else float("nan")


def install_style(temperature: pd.Series, seconds: pd.Series) -> pd.Series:
    """Hot and short, low and long, or neither, against the bench's own medians; None where a setting is not known."""
    degrees, time = middle(temperature), middle(seconds)
    hot, low, short, long = temperature.gt(degrees), temperature.lt(degrees), seconds.lt(time), seconds.gt(time)
    known = temperature.notna() & seconds.notna()
    style = np.select([hot & short, low & long, known], [HOT_SHORT, LOW_LONG, "neither"], default="")
    return pd.Series(style, index=temperature.index, dtype=object).where(known, None)


def _blade_on_oxidised(sides: pd.DataFrame) -> pd.Series:
    """Whether a blade touched an oxidised (or worse) side of a client's chip, by job."""
    grade = sides["pad_grade_found"].astype("Float64").to_numpy(float, na_value=np.nan)
    bad = sides[(grade >= OXIDISED) & sides["chip_role"].isin(CLIENT_CHIPS).to_numpy(bool)]
    blade = pd.Series(bad["blade_used"].astype("Float64").to_numpy(float, na_value=np.nan), index=bad.index)
    return blade.groupby(bad["job_id"]).max()
