"""Work before boot test 1: sides, pads, passes and heat, with the features the planted truth acts on."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from analysis.demo.crew import habit
from analysis.demo.shop import Shop
from analysis.demo.tables import stack
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


def _choices(jobs: pd.DataFrame, badness: np.ndarray, shop: Shop, truth: Truth, rng: Rng) -> dict[str, np.ndarray]:
    """Techniques of each job: by habit, and some by how bad the board is."""
    n, names = len(jobs), tuple(truth.technician)
    person = jobs["person"].to_numpy()
    hard = jobs["hardness"].to_numpy() if shop.habits else np.zeros(n)
    blade_odds = logit(habit("blade", person, names, shop.habits)) + 0.4 * badness - 0.4
    alloy_odds = logit(habit("sac305", person, names, shop.habits)) + 0.5 * hard
    return {
        "blade": rng.random(n) < expit(blade_odds),
        "alloy": np.where(rng.random(n) < expit(alloy_odds), "sac305", "sn63pb37").astype(object),
        "reset": rng.random(n) < habit("ball_reset", person, names, shop.habits),
        "extra": habit("extra_passes", person, names, shop.habits),
    }


def draw_sides(jobs: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Every side worked on before boot test 1, as it truly was."""
    n = len(jobs)
    badness = (
        0.9 * jobs["intake_damage"].isin(["liquid", "heat"]).to_numpy()
        + 0.8 * jobs["prior_rework"].eq("elsewhere").to_numpy()
        + 0.4 * jobs["underfill"].eq("full").to_numpy()
    )
    chosen = _choices(jobs, badness, shop, truth, rng)
    parts = []
    for chip, side, shift, share in SIDES:
        here = np.flatnonzero(rng.random(n) < share)
        m, lower = len(here), side == "lower"
        grade = np.searchsorted([1.1, 3.2, 4.6, 5.6], shift + badness[here] + rng.logistic(size=m)).astype(float)
        wanted = chosen["extra"][here] + 0.7 * np.minimum(grade, 3) + rng.normal(0, 0.5, m)
        passes = 2 + (rng.random(m) < 0.45) + np.round(wanted)
        blade = chosen["blade"][here] & lower
        loss_odds = -2.7 + 0.55 * grade + 0.7 * blade + 0.35 * badness[here] - (1.4 if side == "landing" else 0)
        loses = (rng.random(m) < expit(loss_odds)) | (grade >= 3)
        balls = {
            "ball_alloy": chosen["alloy"][here] if lower else np.full(m, None, dtype=object),
            "reball_tries_n": 1.0 + np.minimum(rng.poisson(0.3, m), 4) if lower else np.full(m, np.nan),
            "ball_reset": chosen["reset"][here].astype(float) if lower else np.full(m, np.nan),
        }
        known = {
            "row": here,
            "chip_role": np.full(m, chip, dtype=object),
            "side": np.full(m, side, dtype=object),
            "clean_passes_n": np.clip(passes, 1, 8),
            "pad_grade_found": grade,
            "pads_lost_n": np.where(loses, rng.geometric(0.45, m), 0).astype(float),
            "blade_used": blade,
        }
        parts.append(known | balls)
    return _finish_sides(stack(parts), rng)


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
    person, names = jobs["person"].to_numpy(), tuple(truth.technician)
    second = (rng.random(n) < 0.35) if shop.stations == 2 else np.zeros(n, dtype=bool)
    heat = np.clip(habit("install_c", person, names, shop.habits) + rng.normal(0, 13, n), 285, 385)
    return pd.DataFrame(
        {
            "station_id": np.where(second, "S2", "S1").astype(object),
            "heat_c": heat,
            "install_set_temp_c": np.round(heat + truth.station_2_offset_c * second),
            "preheat": rng.random(n) < habit("preheat", person, names, shop.habits),
            "install_s": np.clip(np.round(rng.normal(70, 14, n) / 5) * 5, 30, 150),
        }
    )


def most(row: np.ndarray, values: np.ndarray, n: int) -> np.ndarray:
    """Largest value of each of ``n`` jobs; 0 where it has none."""
    out = np.zeros(n)
    np.maximum.at(out, row, values)
    return out


def bench_features(jobs: pd.DataFrame, sides: pd.DataFrame, installs: pd.DataFrame, truth: Truth) -> pd.DataFrame:
    """The job-level features as they truly are, and their share of the log odds (``bench_lp``)."""
    n, row = len(jobs), sides["row"].to_numpy()
    client = sides["chip_role"].isin(["processor", "storage"]).to_numpy()
    lost = np.bincount(row, sides["pads_lost_n"].to_numpy(), n)
    main = (sides["chip_role"].eq("processor") & sides["side"].eq("lower")).to_numpy()  # every job has this row
    features = pd.DataFrame(
        {
            "clean_passes_per_side": np.bincount(row, sides["clean_passes_n"].to_numpy(), n)
            / np.bincount(row, None, n),
            "pad_grade_found_worst": most(row[client], sides["pad_grade_found"].to_numpy()[client], n),
            "pads_lost_n": lost,
            "pads_lost_band": np.array(list(truth.pads_lost_band), dtype=object)[np.searchsorted([0.5, 3.5], lost)],
            "reball_tries_n": most(row, np.nan_to_num(sides["reball_tries_n"].to_numpy()), n),
            "blade_used": most(row, sides["blade_used"].to_numpy(float), n),
            "ball_alloy": sides["ball_alloy"].to_numpy()[main],
            "ball_reset": sides["ball_reset"].to_numpy()[main],
        }
    )
    features["install_set_temp_c"] = installs["install_set_temp_c"]
    features["install_preheat"] = installs["preheat"].astype(float)
    off = (np.round(installs["heat_c"]) - truth.best_install_c) / 25
    features["bench_lp"] = (
        truth.clean_passes_per_side * features["clean_passes_per_side"]
        + truth.pad_grade_found_worst * features["pad_grade_found_worst"]
        + np.array(list(truth.pads_lost_band.values()))[np.searchsorted([0.5, 3.5], lost)]
        + truth.install_preheat * features["install_preheat"]
        + truth.reball_tries_n * (features["reball_tries_n"] - 1)
        + truth.blade_used * features["blade_used"]
        + truth.ball_alloy_sac305 * features["ball_alloy"].eq("sac305")
        + truth.ball_reset * features["ball_reset"]
        - truth.temperature_loss_at_25 * off**2
    )
    return features
