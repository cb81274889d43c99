"""Work before boot test 1: sides, pads, passes and heat, with the features the planted truth acts on."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

Rng = np.random.Generator

# chip, side, shift of the pad grade (log odds of a worse grade), share of jobs that have the row
SIDES = (
    ("processor", "lower", 0.6, 1.0),
    ("processor", "upper", -2.0, 1.0),
    ("storage", "lower", -0.7, 1.0),
    ("memory", "lower", -1.2, 0.6),
    ("processor", "landing", -2.2, 1.0),
    ("storage", "landing", -2.4, 1.0),
)
LOST_AT = {"removal": 0.45, "cleaning": 0.37, "residue": 0.08, "reball": 0.06, "install": 0.04}
# Habits by technician: passes over the base, blade, SAC305 balls, preheat, ball reset, install set temperature (°C).
HABITS = {
    "T1": (0.0, 0.2, 0.15, 0.55, 0.45, 330.0),
    "T2": (0.5, 0.3, 0.55, 0.6, 0.5, 334.0),
    "T3": (0.2, 0.35, 0.2, 0.45, 0.4, 338.0),
    "T4": (-0.2, 0.4, 0.15, 0.5, 0.5, 324.0),
    "T5": (0.1, 0.25, 0.2, 0.65, 0.45, 331.0),
}
NO_HABIT = (0.0, 0.3, 0.3, 0.55, 0.45, 331.0)


def habits_of(technician: pd.Series, shop: Shop) -> np.ndarray:
    """Habits of each job's technician, shape (n, 6)."""
    table = {name: HABITS[name] if shop.habits else NO_HABIT for name in HABITS}
    return np.array([table[name] for name in HABITS])[technician.map({t: i for i, t in enumerate(HABITS)}).to_numpy()]


def draw_sides(jobs: pd.DataFrame, shop: Shop, rng: Rng) -> pd.DataFrame:
    """Every side worked on before boot test 1, as it truly was."""
    n = len(jobs)
    habit = habits_of(jobs["technician_id"], shop)
    badness = (
        0.9 * jobs["intake_damage"].isin(["liquid", "heat"]).to_numpy()
        + 0.8 * jobs["prior_rework"].eq("elsewhere").to_numpy()
        + 0.4 * jobs["underfill"].eq("full").to_numpy()
    )
    hard = jobs["hardness"].to_numpy() if shop.habits else np.zeros(n)
    blade_job = rng.random(n) < 1 / (1 + np.exp(-(np.log(habit[:, 1] / (1 - habit[:, 1])) + 0.4 * badness - 0.4)))
    alloy_odds = np.log(habit[:, 2] / (1 - habit[:, 2])) + (0.5 * hard if shop.habits else 0)
    alloy = np.where(rng.random(n) < 1 / (1 + np.exp(-alloy_odds)), "sac305", "sn63pb37").astype(object)
    reset = rng.random(n) < habit[:, 4]
    parts = []
    for chip, side, shift, share in SIDES:
        here = np.flatnonzero(rng.random(n) < share)
        m = len(here)
        liability = shift + badness[here] + rng.logistic(size=m)
        grade = np.searchsorted([1.1, 3.2, 4.6, 5.6], liability).astype(float)
        passes = (
            2 + (rng.random(m) < 0.45) + np.round(habit[here, 0] + 0.7 * np.minimum(grade, 3) + rng.normal(0, 0.5, m))
        )
        blade = blade_job[here] & (side == "lower")
        loss_odds = -2.7 + 0.55 * grade + 0.7 * blade + 0.35 * badness[here] - (1.4 if side == "landing" else 0)
        loses = (rng.random(m) < 1 / (1 + np.exp(-loss_odds))) | (grade >= 3)
        lost = np.where(loses, 1 + rng.geometric(0.45, m) - 1, 0).astype(float)
        lower = side == "lower"
        parts.append(
            pd.DataFrame(
                {
                    "row": here,
                    "chip_role": chip,
                    "side": side,
                    "clean_passes_n": np.clip(passes, 1, 8),
                    "pad_grade_found": grade,
                    "pads_lost_n": lost,
                    "blade_used": blade,
                    "ball_alloy": alloy[here] if lower else np.full(m, None, dtype=object),
                    "reball_tries_n": 1.0 + np.minimum(rng.poisson(0.3, m), 4) if lower else np.full(m, np.nan),
                    "ball_reset": pd.array(reset[here] if lower else [None] * m, dtype="boolean"),
                }
            )
        )
    sides = pd.concat(parts, ignore_index=True)
    return _finish_sides(sides, rng)


def _finish_sides(sides: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """Grade left, where pads were lost, alloys used for cleaning, where the chip comes from."""
    m = len(sides)
    grade, lost = sides["pad_grade_found"].to_numpy(), sides["pads_lost_n"].to_numpy()
    needed = rng.random(m) < 0.5
    left = np.where(lost > 0, np.where(needed, 4.0, 3.0), np.where((grade == 1) & (rng.random(m) < 0.7), 0.0, grade))
    left = np.where(lost > 0, np.maximum(left, grade), left)
    at = rng.choice(np.array(list(LOST_AT), dtype=object), m, p=list(LOST_AT.values()))
    at = np.where(grade >= 3, "found", at)
    clean = rng.choice(np.array(["sn63pb37", "low_melt_then_leaded", "none"], dtype=object), m, p=[0.68, 0.24, 0.08])
    landing, memory = sides["side"].eq("landing"), sides["chip_role"].eq("memory")
    source = np.where(landing, "donor", np.where(memory & (rng.random(m) < 0.3), "new", "client"))
    return sides.assign(
        pad_grade_left=left,
        pads_lost_at=np.where(lost > 0, at, None),
        clean_alloy=clean,
        chip_source=source.astype(object),
        before_test_no=1.0,
    )


def draw_installs(jobs: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Station, true install set temperature (°C, as the station shows it) and preheat of each job."""
    n = len(jobs)
    habit = habits_of(jobs["technician_id"], shop)
    second = (rng.random(n) < 0.35) if shop.stations == 2 else np.zeros(n, dtype=bool)
    heat = np.clip(habit[:, 5] + rng.normal(0, 13, n), 285, 385)
    return pd.DataFrame(
        {
            "station_id": np.where(second, "S2", "S1").astype(object),
            "heat_c": heat,
            "install_set_temp_c": np.round(heat + truth.station_2_offset_c * second),
            "preheat": rng.random(n) < habit[:, 3],
            "install_s": np.clip(np.round(rng.normal(70, 14, n) / 5) * 5, 30, 150),
        }
    )


def bench_features(jobs: pd.DataFrame, sides: pd.DataFrame, installs: pd.DataFrame, truth: Truth) -> pd.DataFrame:
    """The job-level features as they truly are, and their share of the log odds (``bench_lp``)."""
    client = sides["chip_role"].isin(["processor", "storage"])
    grouped = sides.groupby("row")
    lost = grouped["pads_lost_n"].sum().reindex(range(len(jobs)))
    main = sides[sides["chip_role"].eq("processor") & sides["side"].eq("lower")].set_index("row")
    features = pd.DataFrame(
        {
            "clean_passes_per_side": grouped["clean_passes_n"].mean(),
            "pad_grade_found_worst": sides[client].groupby("row")["pad_grade_found"].max(),
            "pads_lost_n": lost,
            "pads_lost_band": pd.cut(lost, [-0.5, 0.5, 3.5, np.inf], labels=list(truth.pads_lost_band)).astype(object),
            "reball_tries_n": grouped["reball_tries_n"].max(),
            "blade_used": grouped["blade_used"].max().astype(float),
            "ball_alloy": main["ball_alloy"],
            "ball_reset": main["ball_reset"].astype(float),
        }
    ).reset_index(drop=True)
    features["install_set_temp_c"] = installs["install_set_temp_c"]
    features["install_preheat"] = installs["preheat"].astype(float)
    off = (np.round(installs["heat_c"]) - truth.best_install_c) / 25
    features["bench_lp"] = (
        truth.clean_passes_per_side * features["clean_passes_per_side"]
        + truth.pad_grade_found_worst * features["pad_grade_found_worst"]
        + features["pads_lost_band"].map(truth.pads_lost_band).astype(float)
        + truth.install_preheat * features["install_preheat"]
        + truth.reball_tries_n * (features["reball_tries_n"] - 1)
        + truth.blade_used * features["blade_used"]
        + truth.ball_alloy_sac305 * features["ball_alloy"].eq("sac305")
        + truth.ball_reset * features["ball_reset"]
        - truth.temperature_loss_at_25 * off**2
    )
    return features
