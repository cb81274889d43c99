"""Work done on a job before a given boot test, one row a (job, boot test).

Only work dated before the test counts: a failure causes more passes and more heat, so that work after test 1 would
make passes look like the cause of the failure that caused them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.log import Log

Floats = NDArray[np.float64]

CLIENT_CHIPS = ("processor", "storage")
# How the setting of a heat step was entered. An unchanged preset says nothing of what was really set; a step that does
# not say how it was entered may be one.
TYPED, PRESET, HOW_UNKNOWN, NO_SETTING = "typed", "unchanged preset", "not recorded how", "not recorded"
MELTS = ("removal", "residue", "reball", "ball_reset", "install", "touch_up")
PREPARING = ("removal", "residue", "reball", "ball_reset")  # of a chip off the donor, before its install
STEPS_AT_MOST = 1000  # more steps than a chip can have
PADS_LOST_BANDS = ("none", "1 to 3", "4 or more")


@dataclass(frozen=True)
class Undated:
    """Work that cannot be placed before or after a boot test, left out and counted.

    Parameters
    ----------
    sides, steps : int
        Rows of chip_sides and heat_steps without ``before_test_no`` on jobs with two or more boot tests.
    jobs : frozenset of str
        Those jobs. They failed test 1, so that "not recorded" would give their outcome away: no model of work may
        hold them.
    """

    sides: int
    steps: int
    jobs: frozenset[str] = frozenset()


def _with_several_tests(log: Log) -> pd.Index:
    """Jobs with more than one boot test.

    In a log cut at a day (:func:`analysis.cohort.as_of.as_of`) also those that were to have several, so that their
    undated work stays as undatable as it is in the whole log.
    """
    jobs = log.tables["boot_tests"]["job_id"].dropna()
    return pd.Index(jobs[jobs.duplicated()].unique()).union(sorted(log.several_tests))


def dated(rows: pd.DataFrame, log: Log) -> tuple[pd.DataFrame, list[str]]:
    """Give every row of work the boot test it came before, or leave it out.

    A blank stands for 1 where the job had at most one boot test.

    Parameters
    ----------
    rows : DataFrame
        chip_sides or heat_steps, typed.
    log : Log
        The log they are of: it knows how many boot tests a job had.

    Returns
    -------
    DataFrame, list of str
        The rows that can be dated, with ``before`` (float), and the job of each row left out.
    """
    known = rows["before_test_no"].astype("Float64").to_numpy(float, na_value=np.nan)
    blank = np.isnan(known)
    several = rows.loc[blank, "job_id"].isin(_with_several_tests(log)).to_numpy(bool)
    before = known.copy()
    before[blank] = np.where(several, np.nan, 1.0)
    keep = ~np.isnan(before)
    return rows.loc[keep].assign(before=before[keep]), [str(job) for job in rows.loc[~keep, "job_id"]]


def entered(steps: pd.DataFrame, log: Log) -> tuple[pd.Series, pd.Series]:
    """How each step's settings were entered, and whether they may speak of heat.

    Typed settings may. Where a log keeps for no step before boot test 1 how it was entered, all are used, and whoever
    uses them must say so and never call an effect of them clear; where it keeps it for some, the others are left out.

    Parameters
    ----------
    steps : DataFrame
        Heat steps.
    log : Log
        The log they are of.

    Returns
    -------
    Series of str, Series of bool
        :data:`TYPED`, :data:`PRESET` or :data:`HOW_UNKNOWN`; and whether the step is used.
    """
    every, _ = dated(log.tables["heat_steps"], log)
    kept = bool(every.loc[every["before"].eq(1), "entry_kind"].notna().any())
    kind = steps["entry_kind"].astype(object)
    how = pd.Series(HOW_UNKNOWN, index=steps.index, dtype=object).mask(kind.eq("typed"), TYPED)
    how = how.mask(kind.eq("preset"), PRESET)
    return how, how.eq(TYPED) | (how.eq(HOW_UNKNOWN) & (not kept))


def _asked(rows: pd.DataFrame, wanted: pd.DataFrame) -> pd.DataFrame:
    """Rows of work joined to every wanted (job, test) they came before."""
    joined = rows.merge(wanted, on="job_id", how="inner")
    return joined[joined["before"] <= joined["test_no"]]


def _number(column: pd.Series) -> pd.Series:
    return pd.Series(column.astype("Float64").to_numpy(float, na_value=np.nan), index=column.index)


def _sides_features(sides: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    sides = sides.assign(
        passes=_number(sides["clean_passes_n"]),
        lost=_number(sides["pads_lost_n"]),
        tries=_number(sides["reball_tries_n"]),
        grade=_number(sides["pad_grade_found"]).where(sides["chip_role"].isin(CLIENT_CHIPS)),
        blade=_number(sides["blade_used"].astype("Int64")),
    )
    by_test = sides.groupby(keys, observed=True)
    out = pd.DataFrame(
        {
            "clean_passes_per_side": by_test["passes"].mean(),
            "pad_grade_found_worst": by_test["grade"].max(),
            "pads_lost_n": by_test["lost"].sum(min_count=1),
            "reball_tries_n": by_test["tries"].max(),
            "blade_used": by_test["blade"].max(),
        }
    )
    main = sides[sides["chip_role"].eq("processor") & sides["side"].eq("lower")].sort_values("before", kind="stable")
    last = main.groupby(keys, observed=True)[["ball_alloy", "ball_reset"]].last()
    out["ball_alloy"] = last["ball_alloy"].astype(object)
    out["ball_reset"] = _number(last["ball_reset"].astype("Int64"))
    return out


def centre_by_station(steps: pd.DataFrame, column: str) -> pd.Series:
    """Set temperatures with each station's own median moved to the median of all, where several stations are used.

    Parameters
    ----------
    steps : DataFrame
        Heat steps of one kind, with ``station_id``.
    column : str
        Column to centre (°C).

    Returns
    -------
    Series of float
        Centred values (°C); unchanged when one station or none is named.
    """
    values = steps[column].astype(float)
    station = steps["station_id"]
    if station.nunique() < 2:
        return values
    own = values.groupby(station).transform("median")
    return values.where(own.isna(), values - own + values.median())


def _yes_or_no(preheat_c: pd.Series) -> Floats:
    """1 where a preheat was set, 0 where the log says none, NaN where it says nothing."""
    degrees = preheat_c.to_numpy(float)
    return np.where(np.isnan(degrees), np.nan, (degrees > 0).astype(float))


def _install_features(steps: pd.DataFrame, keys: list[str], log: Log) -> pd.DataFrame:
    """Last processor install before the test: set temperature where typed, time, preheat."""
    processor = steps[steps["chip_role"].eq("processor")]
    installs = processor[processor["step_type"].eq("install")]
    installs = installs.sort_values(["before", "step_no"], kind="stable").drop_duplicates(keys, keep="last")
    how, used = entered(installs, log)
    temperature = pd.Series(np.nan, index=installs.index)
    usable = installs[used]
    temperature.loc[usable.index] = centre_by_station(usable, "set_temp_c")
    out = pd.DataFrame(
        {
            "install_set_temp_c": temperature.to_numpy(),
            "install_temp_entry": how.mask(installs["set_temp_c"].isna(), NO_SETTING).to_numpy(),
            "install_s": installs["step_s"].to_numpy(float),
            "preheat_at_install": _yes_or_no(installs["preheat_c"]),
        },
        index=_index(installs, keys),
    )
    own_step = _preheats_for_installs(processor, installs, keys)
    cold = own_step["preheat_c"].eq(0)  # a preheat step at 0 says that there was none
    warm, none = (_index(own_step[which], keys) for which in (~cold, cold))
    noted = out.pop("preheat_at_install").mask(out.index.isin(warm), 1.0)
    noted = noted.mask(noted.isna() & out.index.isin(none), 0.0)
    out["install_preheat"] = noted.fillna(0.0) if blank_is_no_preheat(log) else noted
    return out


def _preheats_for_installs(processor: pd.DataFrame, installs: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Preheat steps of the processor, but for those after which it was removed or prepared before its install.

    Such a step warmed the client's board, or nothing at all, and not the donor at the install.
    """
    place = processor["before"].to_numpy(float) * STEPS_AT_MOST + processor["step_no"].to_numpy(float)
    processor = processor.assign(place=place)
    of_install = processor.loc[installs.index].set_index(keys)["place"]
    prepared = processor[processor["step_type"].isin(PREPARING)]
    prepared = prepared[prepared["place"].to_numpy() < of_install.reindex(_index(prepared, keys)).to_numpy()]
    ready = prepared.groupby(keys, observed=True)["place"].max()
    own_step = processor[processor["step_type"].eq("preheat")]
    return own_step[~(own_step["place"].to_numpy() < ready.reindex(_index(own_step, keys)).to_numpy())]


def _index(rows: pd.DataFrame, keys: list[str]) -> pd.MultiIndex:
    return pd.MultiIndex.from_frame(rows[keys])


def blank_is_no_preheat(log: Log) -> bool:
    """Whether an install without a word on preheat counts as cold.

    Only in a log that keeps preheats and never says that there was none. Where no preheat is ever kept, one was not
    written down; where 0 stands on any install (or preheat) before boot test 1, a blank is not recorded.
    """
    steps = log.tables["heat_steps"]
    kept = (steps["step_type"].eq("preheat") & steps["preheat_c"].ne(0)) | steps["preheat_c"].gt(0)
    spoken_of, _ = dated(steps[steps["step_type"].isin(["install", "preheat"])], log)
    none_said = spoken_of.loc[spoken_of["before"].eq(1), "preheat_c"].eq(0)
    return bool(kept.any() and not none_said.any())


def work_before(log: Log, wanted: pd.DataFrame) -> tuple[pd.DataFrame, Undated]:
    """Features of the work done before each wanted boot test.

    Parameters
    ----------
    log : Log
        The validated log.
    wanted : DataFrame, shape (m, >=2)
        ``job_id`` and ``test_no``: the boot tests asked about, without repeats.

    Returns
    -------
    DataFrame, shape (m, features)
        In the order of ``wanted``: ``clean_passes_per_side`` (passes, mean over the sides with a count),
        ``pad_grade_found_worst`` (0–4, client's chips), ``pads_lost_n`` (pads), ``pads_lost_band``,
        ``reball_tries_n``, ``blade_used``, ``ball_alloy`` and ``ball_reset`` (processor, lower side),
        ``install_set_temp_c`` (°C; NaN unless used, see :func:`entered`), ``install_temp_entry``, ``install_s`` (s),
        ``install_preheat`` and ``melts_n`` (melts the processor has seen). NaN where nothing was recorded.
    Undated
        Rows of work left out because they carry no boot test on a job with several.
    """
    keys = ["job_id", "test_no"]
    wanted = wanted[keys].astype({"test_no": float})
    sides, undated_sides = dated(log.tables["chip_sides"], log)
    steps, undated_steps = dated(log.tables["heat_steps"], log)
    sides, steps = _asked(sides, wanted), _asked(steps, wanted)
    index = pd.MultiIndex.from_frame(wanted)
    out = pd.concat(
        [_sides_features(sides, keys).reindex(index), _install_features(steps, keys, log).reindex(index)], axis=1
    )
    melted = steps[steps["chip_role"].eq("processor") & steps["step_type"].isin(MELTS)]
    melts = melted.groupby(keys, observed=True).size().astype(float)
    out["melts_n"] = melts.reindex(index)
    out["install_temp_entry"] = out["install_temp_entry"].fillna(NO_SETTING)
    lost = out["pads_lost_n"]
    band = pd.cut(lost, [-0.5, 0.5, 3.5, np.inf], labels=list(PADS_LOST_BANDS)).astype(object)
    out.insert(3, "pads_lost_band", band)
    jobs = frozenset(undated_sides) | frozenset(undated_steps)
    return out.reset_index(drop=True), Undated(len(undated_sides), len(undated_steps), jobs)
