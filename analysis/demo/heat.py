"""Heat steps: one row each, about ten a job before the first boot test.

Settings are those usual at such benches (common practice, no source): residue softened at about 230 °C air, leaded
balls melted at about 300 °C set and chips installed at about 330 °C set, airflow 40.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.demo.shop import Shop
from analysis.demo.tables import stack
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


def _rows(
    step: str, chip: str, place: np.ndarray, rows: np.ndarray, station: np.ndarray, truth: Truth, rng: Rng
) -> dict[str, np.ndarray]:
    usual, spread, airflow, seconds = STEPS[step]
    m = len(rows)
    offset = 0.0 if step == "preheat" else truth.station_2_offset_c  # the preheater belongs to no station
    shown = usual + rng.normal(0, spread, m) + offset * (station == "S2")
    return {
        "row": rows,
        "chip_role": np.full(m, chip, dtype=object),
        "step_type": np.full(m, step, dtype=object),
        "set_temp_c": np.round(shown),
        "airflow_setting": np.full(m, airflow if airflow else np.nan),
        "station_id": station,
        "step_s": np.clip(np.round(rng.normal(seconds, seconds / 5, m) / 5) * 5, 10, 600),
        "before_test_no": np.ones(m),
        "place": place,
        "preheat_c": np.full(m, np.nan),
    }


def draw_steps(
    jobs: pd.DataFrame, features: pd.DataFrame, installs: pd.DataFrame, truth: Truth, rng: Rng
) -> pd.DataFrame:
    """Every step before boot test 1, with true settings."""
    n = len(jobs)
    station = installs["station_id"].to_numpy()
    preheat = installs["preheat"].to_numpy()
    reset = features["ball_reset"].to_numpy() == 1
    separate = preheat & (rng.random(n) < 0.35)  # preheat noted as a step of its own, else on the install step
    memory = rng.random(n) < 0.6
    parts = []
    for chip, steps in ORDER.items():
        for number, step in enumerate(steps):
            here = np.ones(n, dtype=bool)
            if step == "preheat":
                here = separate
            elif step == "ball_reset":
                here = reset
            elif chip == "memory":
                here = memory
            rows = np.flatnonzero(here)
            part = _rows(step, chip, np.full(len(rows), float(number)), rows, station[here], truth, rng)
            if step == "install":
                noted = preheat[here] & ~separate[here]
                degrees = np.where(noted, np.round(rng.normal(150, 6, len(rows))), np.nan)
                part["preheat_c"] = np.where(preheat[here], degrees, 0.0)
                if chip == "processor":
                    part["set_temp_c"] = installs["install_set_temp_c"].to_numpy()[here]
                    part["step_s"] = installs["install_s"].to_numpy()[here]
            parts.append(part)
    return measure(stack(parts), rng)


def measure(steps: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """A thermocouple on every eighth install."""
    install = steps["step_type"].eq("install").to_numpy() & (rng.random(len(steps)) < 0.12)
    peak = np.clip(np.round(232 + 0.12 * (steps["set_temp_c"] - 330) + rng.normal(0, 4, len(steps))), 222, 250)
    above = np.clip(np.round(rng.normal(45, 10, len(steps))), 15, 90)
    return steps.assign(
        measured_peak_c=np.where(install, peak, np.nan), above_liquidus_s=np.where(install, above, np.nan)
    )


AGAIN = ("removal", "residue", "reball", "install")
# Heat steps between boot tests, chip by chip, with the changes they belong to.
STEPS_OF_CHANGE: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("processor", ("touch_up",), ("touch_up",)),
    ("processor", AGAIN, ("reinstall", "reball_again", "pad_repair", "donor_changed")),
    ("storage", AGAIN, ("donor_changed",)),
    ("memory", ("removal", "install"), ("memory_replaced",)),
)


def later_steps(later: pd.DataFrame, installs: pd.DataFrame, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Steps between boot tests, by what was changed.

    Parameters
    ----------
    later : DataFrame
        ``row``, ``test_no`` and ``change_made`` of every test after the first.
    installs : DataFrame
        ``station_id`` and ``preheat`` of each job; who preheats does so again.
    """
    station, preheat = installs["station_id"].to_numpy(), installs["preheat"].to_numpy()
    parts = []
    for chip, steps, changes in STEPS_OF_CHANGE:
        mine = later[later["change_made"].isin(changes).to_numpy()]
        rows, before = mine["row"].to_numpy(), mine["test_no"].to_numpy(float)
        for number, step in enumerate(steps):
            part = _rows(step, chip, 100 * before + number, rows, station[rows], truth, rng)
            if step == "install":
                part["preheat_c"] = np.where(preheat[rows], STEPS["preheat"][0], 0.0)
            parts.append(part | {"before_test_no": before})
    return measure(stack(parts), rng)


def number_and_enter(steps: pd.DataFrame, shop: Shop, rng: Rng) -> pd.DataFrame:
    """Number the steps of each chip, and leave a third of the settings at the form's preset."""
    chip = np.searchsorted(("memory", "processor", "storage"), steps["chip_role"].to_numpy(str))
    order = np.lexsort((steps["place"].to_numpy(), chip, steps["row"].to_numpy()))
    steps, chip = steps.iloc[order].reset_index(drop=True), chip[order]
    key = steps["row"].to_numpy() * 3 + chip
    start = np.flatnonzero(np.append(True, key[1:] != key[:-1]))[: len(key)]
    steps["step_no"] = np.arange(1.0, len(key) + 1) - np.repeat(start, np.diff(np.append(start, len(key))))
    preset = (rng.random(len(steps)) < PRESET_SHARE) if shop.presets else np.zeros(len(steps), dtype=bool)
    usual = steps["step_type"].map({name: values[0] for name, values in STEPS.items()}).to_numpy(float)
    steps["set_temp_c"] = np.where(preset, usual, steps["set_temp_c"])
    steps["entry_kind"] = np.where(preset, "preset", "typed").astype(object)
    return steps
