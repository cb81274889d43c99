"""What someone who knew the planted truth would say of an intake: its chance given the facts recorded at intake.

Whatever is not recorded then (technician, donor, lot, the bench's work, and facts left blank) is averaged over, by
running the simulator's own functions on many copies of each intake.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.demo import bench, intake
from analysis.demo.gaps import BLANK, UNKNOWN
from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

Rng = np.random.Generator

# Facts that a busy bench leaves blank, and how often.
OFTEN_BLANK = {name: BLANK["jobs"][name] for name in ("device_age_years", "board_family")} | UNKNOWN
COPIES_AT_ONCE = 40


@dataclass(frozen=True)
class Intakes:
    """New intakes.

    Parameters
    ----------
    recorded : DataFrame
        As the log would hold them, blanks included, with ``second_damage_seen``.
    chance : ndarray
        True chance of first boot given what is recorded.
    spread : ndarray
        Monte Carlo error of each chance.
    """

    recorded: pd.DataFrame
    chance: np.ndarray
    spread: np.ndarray


def intake_log_odds(devices: pd.DataFrame, truth: Truth) -> np.ndarray:
    """Share of the planted log odds that belongs to intake facts."""
    return (
        intake.look_up(truth.intake_damage, devices["intake_damage"].to_numpy())
        + truth.second_damage_seen * devices["second_damage"].notna().to_numpy()
        + truth.device_age_years * devices["device_age_years"].to_numpy(float)
        + truth.prior_rework_elsewhere * devices["prior_rework"].eq("elsewhere").to_numpy()
        + intake.look_up(truth.underfill, devices["underfill"].to_numpy())
        + truth.tablet * devices["device_class"].eq("tablet").to_numpy()
        + intake.look_up(truth.board_family, devices["board_family"].to_numpy())
    )


def _chances(devices: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> np.ndarray:
    """Chance of each device once everything else has been drawn."""
    jobs = intake.learn(intake.assign_technicians(devices, shop, truth, rng), shop, truth)
    donors = intake.draw_donors(jobs, shop, truth, rng)
    sides = bench.draw_sides(jobs, shop, truth, rng)
    features = bench.bench_features(jobs, sides, bench.draw_installs(jobs, shop, truth, rng), truth)
    lp = truth.intercept + jobs["intake_lp"] + donors["donor_lp"] + features["bench_lp"] + jobs["technician_lp"]
    lp += truth.bad_lot_log_odds * donors["bad"] + rng.normal(0, shop.noise_sd, len(jobs))
    return np.asarray(expit(lp.to_numpy()))


def new_intakes(shop: Shop, truth: Truth, n: int, copies: int, rng_seed: int) -> Intakes:
    """Draw intakes and average everything unrecorded over many copies of each."""
    rng = np.random.default_rng(rng_seed)
    many = replace(shop, jobs=n)
    devices = intake.draw_devices(many, truth, rng)
    blank = {name: rng.random(n) < share * shop.gaps for name, share in OFTEN_BLANK.items()}
    total, squares, done = np.zeros(n), np.zeros(n), 0
    while done < copies:
        parts = []
        for _ in range(COPIES_AT_ONCE):
            copy, other = devices.copy(), intake.draw_devices(many, truth, rng)
            # Received on any day: the day is no fact the model sees, and a bad lot has its days.
            copy["received_date"] = rng.permutation(copy["received_date"].to_numpy())
            for name, gone in blank.items():
                copy[name] = copy[name].where(~gone, other[name])
            parts.append(copy)
        whole = pd.concat(parts, ignore_index=True)
        whole["intake_lp"] = intake_log_odds(whole, truth)
        drawn = _chances(whole, shop, truth, rng).reshape(COPIES_AT_ONCE, n)
        total, squares, done = total + drawn.sum(axis=0), squares + (drawn**2).sum(axis=0), done + COPIES_AT_ONCE
    recorded = devices.assign(second_damage_seen=np.where(devices["second_damage"].notna(), "yes", "no"))
    for name, gone in blank.items():
        recorded[name] = recorded[name].mask(gone, np.nan if name == "device_age_years" else None)
    mean = total / done
    return Intakes(recorded, mean, np.sqrt(np.maximum(squares / done - mean**2, 0) / done))
