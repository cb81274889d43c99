"""Cleaning and pads between boot tests: failed jobs get more passes, and lose a few more pads."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.demo.tables import stack

Rng = np.random.Generator

LANDINGS = (("processor", "landing"), ("storage", "landing"))
# Sides worked on again for each change; a touch-up cleans nothing.
SIDES_OF_CHANGE: dict[str, tuple[tuple[str, str], ...]] = {
    "reinstall": (("processor", "lower"),),
    "reball_again": (("processor", "lower"),),
    "pad_repair": (("processor", "lower"),),
    "memory_replaced": (("memory", "lower"),),
    "donor_changed": (("processor", "lower"), ("storage", "lower"), *LANDINGS),
}
# Where the part comes from, chance that pads are lost on it, passes at least (common practice, no source).
SPOTS: dict[tuple[str, str], tuple[str, float, float]] = {
    ("processor", "lower"): ("client", 0.2, 3.0),
    ("memory", "lower"): ("new", 0.0, 1.0),
    ("storage", "lower"): ("client", 0.2, 3.0),
    ("processor", "landing"): ("donor", 0.04, 1.0),
    ("storage", "landing"): ("donor", 0.04, 1.0),
}


def _before(sides: pd.DataFrame, n: int) -> dict[tuple[str, str], dict[str, np.ndarray]]:
    """Each side before boot test 1, one value a job; 0 where a job has no such row."""
    out = {}
    chip, side = sides["chip_role"].to_numpy(), sides["side"].to_numpy()
    for spot in (spot for spot, (source, _, _) in SPOTS.items() if source == "client"):
        mine = (chip == spot[0]) & (side == spot[1])
        out[spot] = {name: np.zeros(n) for name in ("pads_lost_n", "pad_grade_left")}
        for name, dense in out[spot].items():
            dense[sides["row"].to_numpy()[mine]] = sides[name].to_numpy()[mine]
    return out


def _pads(
    first: dict[str, np.ndarray] | None, rows: np.ndarray, risk: float, rng: Rng
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grade found, grade left and pads lost of a side worked on again; ``first`` is None for another part."""
    m = len(rows)
    lost = np.where(rng.random(m) < risk, rng.geometric(0.5, m), 0).astype(float)
    if first is None:
        found = np.zeros(m)
    else:
        gone = first["pads_lost_n"][rows] + pd.Series(lost).groupby(rows).cumsum().to_numpy() - lost
        # Where pads are known to be gone already, the side is not graded anew.
        found = np.where(gone > 0, np.nan, first["pad_grade_left"][rows])
    cleaned = (found == 1) & (rng.random(m) < 0.7)
    worst = np.where(rng.random(m) < 0.5, 4.0, 3.0)
    return found, np.where(lost > 0, worst, np.where(cleaned, 0.0, found)), lost


def later_sides(later: pd.DataFrame, sides: pd.DataFrame, alloy: np.ndarray, rng: Rng) -> pd.DataFrame:
    """Every side worked on between boot tests.

    Parameters
    ----------
    later : DataFrame
        ``row``, ``test_no`` and ``change_made`` of every test after the first that followed a change.
    sides : DataFrame
        Sides worked on before boot test 1, as they truly were.
    alloy : ndarray
        Solder of the balls of each job.
    """
    parts, before = [], _before(sides, len(alloy))
    for (chip, side), (source, risk, passes) in SPOTS.items():
        wanted = [code for code, spots in SIDES_OF_CHANGE.items() if (chip, side) in spots]
        mine = later[later["change_made"].isin(wanted).to_numpy()]
        rows, m = mine["row"].to_numpy(), len(mine)
        found, left, lost = _pads(before.get((chip, side)), rows, risk, rng)
        at = np.where(rng.random(m) < 0.5, "removal", "cleaning").astype(object)
        balls = side == "lower"
        known = {
            "row": rows,
            "chip_role": np.full(m, chip, dtype=object),
            "side": np.full(m, side, dtype=object),
            "chip_source": np.full(m, source, dtype=object),
            "before_test_no": mine["test_no"].to_numpy(float),
            "clean_passes_n": np.clip(passes + rng.poisson(1.2, m), 1, 8),
            "pad_grade_found": found,
            "pad_grade_left": left,
            "pads_lost_n": lost,
            "pads_lost_at": np.where(lost > 0, at, None),
            "blade_used": np.zeros(m, dtype=bool),
            "clean_alloy": np.full(m, "sn63pb37", dtype=object),
            "ball_alloy": alloy[rows] if balls else np.full(m, None, dtype=object),
            "reball_tries_n": 1.0 + np.minimum(rng.poisson(0.3, m), 4) if balls else np.full(m, np.nan),
            "ball_reset": np.zeros(m) if balls else np.full(m, np.nan),
        }
        parts.append(known)
    return stack(parts)
