"""Heat steps: one row each, about ten a job before the first boot test.

Settings are those usual at such benches (common practice, no source): residue softened at about 230 °C air, leaded
balls melted at about 300 °C set and chips installed at about 330 °C set, airflow 40.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

Rng = np.random.Generator

# step: preset (°C), spread (°C), airflow, usual time (s)
STEPS = {
    "preheat": (150.0, 8.0, 0.0, 120.0),
    "removal": (360.0, 10.0, 50.0, 60.0),
    "residue": (230.0, 7.0, 40.0, 45.0),
    "reball": (300.0, 8.0, 40.0, 40.0),
    "ball_reset": (300.0, 7.0, 40.0, 30.0),
    "install": (330.0, 12.0, 40.0, 70.0),
    "touch_up": (325.0, 10.0, 40.0, 35.0),
}
ORDER = {
    "processor": ("removal", "residue", "reball", "ball_reset", "preheat", "install"),
    "storage": ("removal", "residue", "reball", "install"),
    "memory": ("removal", "install"),
}
PRESET_SHARE = 0.35


def _rows(step: str, chip: str, rows: np.ndarray, station: np.ndarray, truth: Truth, rng: Rng) -> pd.DataFrame:
    usual, spread, airflow, seconds = STEPS[step]
    m = len(rows)
    shown = usual + rng.normal(0, spread, m) + truth.station_2_offset_c * (station == "S2")
    return pd.DataFrame(
        {
            "row": rows,
            "chip_role": chip,
            "step_type": step,
            "set_temp_c": np.round(shown),
            "airflow_setting": airflow if airflow else np.nan,
            "station_id": station,
            "step_s": np.clip(np.round(rng.normal(seconds, seconds / 5, m) / 5) * 5, 10, 600),
            "before_test_no": 1.0,
        }
    )


def draw_steps(
    jobs: pd.DataFrame, features: pd.DataFrame, installs: pd.DataFrame, truth: Truth, rng: Rng
) -> pd.DataFrame:
    """Every step before boot test 1, with true settings."""
    n = len(jobs)
    station = installs["station_id"].to_numpy()
    preheat = installs["preheat"].to_numpy()
    separate = preheat & (rng.random(n) < 0.35)  # preheat noted as a step of its own, else on the install step
    memory = rng.random(n) < 0.6
    parts = []
    for chip, steps in ORDER.items():
        for number, step in enumerate(steps):
            here = np.ones(n, dtype=bool)
            if step == "preheat":
                here = separate
            elif step == "ball_reset":
                here = features["ball_reset"].eq(1).to_numpy()
            elif chip == "memory":
                here = memory
            part = _rows(step, chip, np.flatnonzero(here), station[here], truth, rng)
            part["place"] = number
            if step == "install":
                part["preheat_c"] = np.where(
                    preheat[here] & ~separate[here], np.round(rng.normal(150, 6, len(part))), np.nan
                )
                if chip == "processor":
                    part["set_temp_c"] = installs["install_set_temp_c"].to_numpy()[here]
                    part["step_s"] = installs["install_s"].to_numpy()[here]
            parts.append(part)
    steps_frame = pd.concat(parts, ignore_index=True)
    return measure(steps_frame, rng)


def measure(steps: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """A thermocouple on every eighth install."""
    install = steps["step_type"].eq("install").to_numpy() & (rng.random(len(steps)) < 0.12)
    peak = np.clip(np.round(232 + 0.12 * (steps["set_temp_c"] - 330) + rng.normal(0, 4, len(steps))), 222, 250)
    above = np.clip(np.round(rng.normal(45, 10, len(steps))), 15, 90)
    return steps.assign(
        measured_peak_c=np.where(install, peak, np.nan), above_liquidus_s=np.where(install, above, np.nan)
    )


def later_steps(later: pd.DataFrame, station: np.ndarray, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Steps between boot tests: a touch-up, or lifting and setting down again.

    Parameters
    ----------
    later : DataFrame
        ``row``, ``test_no`` and ``change_made`` of every test after the first.
    station : ndarray
        Station of each job.
    """
    parts = []
    for change, steps in {"touch_up": ("touch_up",), "reinstall": ("removal", "residue", "reball", "install")}.items():
        mine = (
            later[later["change_made"].eq(change)]
            if change == "touch_up"
            else later[later["change_made"].ne("touch_up")]
        )
        rows = mine["row"].to_numpy(int)
        for number, step in enumerate(steps):
            part = _rows(step, "processor", rows, station[rows], truth, rng)
            part["before_test_no"] = mine["test_no"].to_numpy(float)
            part["place"] = 100 * part["before_test_no"] + number
            parts.append(part)
    return pd.concat(parts, ignore_index=True)


def number_and_enter(steps: pd.DataFrame, shop: Shop, rng: Rng) -> pd.DataFrame:
    """Number the steps of each chip, and leave a third of the settings at the form's preset."""
    steps = steps.sort_values(["row", "chip_role", "before_test_no", "place"], kind="stable").reset_index(drop=True)
    steps["step_no"] = steps.groupby(["row", "chip_role"]).cumcount() + 1.0
    preset = (rng.random(len(steps)) < PRESET_SHARE) if shop.presets else np.zeros(len(steps), dtype=bool)
    usual = steps["step_type"].map({name: values[0] for name, values in STEPS.items()}).to_numpy(float)
    steps["set_temp_c"] = np.where(preset, usual, steps["set_temp_c"])
    steps["entry_kind"] = np.where(preset, "preset", "typed").astype(object)
    return steps
