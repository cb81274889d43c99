"""What comes in: devices, damage, technicians, donors."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.demo.shop import Shop
from analysis.demo.truth import FAMILIES, TECHNICIANS, Truth

Rng = np.random.Generator

DAMAGE = {"drop": 0.38, "liquid": 0.24, "bend_or_snap": 0.14, "power_fault": 0.1, "heat": 0.07, "none_seen": 0.07}
UNDERFILL = {"none": 0.38, "partial": 0.38, "full": 0.24}
KNOWN_GOOD = {"full_boot": 0.55, "current_only": 0.3, "untested": 0.15}
# How strongly a technician's share grows with the hardness of a board.
HARD_BOARDS = {"T1": 0.0, "T2": 2.6, "T3": -0.8, "T4": -1.3, "T5": -0.4}


def pick(rng: Rng, shares: dict[str, float], n: int) -> np.ndarray:
    """Draw codes with given shares."""
    return rng.choice(np.array(list(shares), dtype=object), n, p=np.array(list(shares.values())))


def look_up(table: dict[str, float], codes: np.ndarray) -> np.ndarray:
    """Coefficient of each code."""
    return pd.Series(codes).map(table).to_numpy(float)


def draw_devices(shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Intake facts, as they truly are, with their share of the log odds (``intake_lp``)."""
    n = shop.jobs
    days = (np.datetime64(shop.last_day) - np.datetime64(shop.first_day)).astype(int)
    received = np.datetime64(shop.first_day) + np.sort(rng.integers(0, days + 1, n)).astype("timedelta64[D]")
    share = 1 / np.arange(2, len(FAMILIES) + 2)
    frame = pd.DataFrame(
        {
            "job_id": [f"J-{i:04d}" for i in range(1, n + 1)],
            "received_date": received.astype("datetime64[ns]"),
            "device_class": np.where(rng.random(n) < 0.12, "tablet", "phone").astype(object),
            "board_family": rng.choice(np.array(FAMILIES, dtype=object), n, p=share / share.sum()),
            "device_age_years": np.round(np.clip(rng.gamma(3.0, 1.2, n), 0.5, 12) * 2) / 2,
            "intake_damage": pick(rng, DAMAGE, n),
            "prior_rework": np.where(rng.random(n) < 0.18, "elsewhere", "none").astype(object),
            "underfill": pick(rng, UNDERFILL, n),
        }
    )
    second = pick(rng, DAMAGE, n)
    has_second = (rng.random(n) < 0.18) & (second != "none_seen") & (second != frame["intake_damage"])
    frame["second_damage"] = np.where(has_second, second, None)
    frame["intake_lp"] = (
        look_up(truth.intake_damage, frame["intake_damage"].to_numpy())
        + truth.second_damage_seen * has_second
        + truth.device_age_years * frame["device_age_years"]
        + truth.prior_rework_elsewhere * frame["prior_rework"].eq("elsewhere")
        + look_up(truth.underfill, frame["underfill"].to_numpy())
        + truth.tablet * frame["device_class"].eq("tablet")
        + look_up(truth.board_family, frame["board_family"].to_numpy())
    )
    return frame


def assign_technicians(devices: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Give each job a technician; hard boards go to the best one."""
    n = len(devices)
    hardness = -(devices["intake_lp"] - devices["intake_lp"].mean()) / max(devices["intake_lp"].std(), 1e-9)
    pull = np.array([HARD_BOARDS[name] if shop.technician_effects else 0.0 for name in TECHNICIANS])
    score = hardness.to_numpy()[:, None] * pull + rng.gumbel(size=(n, len(TECHNICIANS)))
    chosen = np.array(TECHNICIANS, dtype=object)[score.argmax(axis=1)]
    effect = look_up(truth.technician, chosen) if shop.technician_effects else np.zeros(n)
    return devices.assign(technician_id=chosen, technician_lp=effect, hardness=hardness)


def draw_donors(jobs: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """One donor a job, bought in lots; one lot is bad."""
    n = len(jobs)
    received = jobs["received_date"]
    months = (received - pd.Timestamp(shop.first_day)).dt.days // 45
    lot = np.array([f"LOT-{i:02d}" for i in 1 + (months + rng.integers(0, 3, n))], dtype=object)
    lot[lot == truth.bad_lot] = "LOT-18"
    window = received.ge(truth.bad_lot_received_from) & received.le(truth.bad_lot_received_to)
    bad = window.to_numpy() & (rng.random(n) < truth.bad_lot_share) & shop.bad_lot
    lot[bad] = truth.bad_lot
    donors = pd.DataFrame(
        {
            "donor_id": [f"D-{i:04d}" for i in range(1, n + 1)],
            "donor_age_years": np.round(np.clip(rng.gamma(2.5, 1.2, n), 0.5, 10) * 2) / 2,
            "known_good": pick(rng, KNOWN_GOOD, n),
            "prior_installs_n": np.minimum(rng.poisson(0.3, n), 3).astype(float),
            "lot": lot,
            "bad": bad,
        }
    )
    donors["donor_lp"] = (
        truth.donor_age_years * donors["donor_age_years"]
        + look_up(truth.known_good, donors["known_good"].to_numpy())
        + truth.prior_installs_n * donors["prior_installs_n"]
    )
    return donors
