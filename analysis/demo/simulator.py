"""The invented workshop, from intake to closed job. Every number it makes is invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.demo import bench, boots, closing, heat, intake
from analysis.demo.assembly import Work, tables_of
from analysis.demo.later import later_sides
from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

Rng = np.random.Generator

LOST_UNTESTED_SHARE = 0.09  # of the jobs that would have failed test 1: lost before it
STOPPED_UNTESTED_SHARE, BEFORE_WORK_SHARE = 0.028, 0.4


@dataclass(frozen=True)
class Simulated:
    """A simulated log with its answer key.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Typed tables of the log.
    truth : Truth
        Planted coefficients.
    latent : DataFrame, one row an accepted job
        ``job_id``, the features as they truly are, ``log_odds`` and ``chance`` (true, at boot test 1), ``first``
        (success at test 1), ``untested`` (lost or stopped before a test).
    """

    tables: Mapping[str, pd.DataFrame]
    truth: Truth
    latent: pd.DataFrame


def _received(shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Every job received, with the technician who looked at it, the guess and the decision."""
    devices = intake.assign_technicians(intake.draw_devices(shop, truth, rng), shop, truth, rng)
    guess = closing.guesses(devices, truth, rng)
    decision, reason = closing.decide(devices, guess, shop, rng)
    return devices.assign(guess=guess, decision=decision, decline_reason=reason)


def _first_boots(jobs: pd.DataFrame, shop: Shop, rng: Rng) -> pd.DataFrame:
    """Success at test 1, and the jobs that never reach a test."""
    n = len(jobs)
    first = rng.random(n) < expit(jobs["lp"].to_numpy())
    lost_before = ~first & (rng.random(n) < LOST_UNTESTED_SHARE)
    stops = (rng.random(n) < STOPPED_UNTESTED_SHARE) & shop.selection
    before_work = stops & (rng.random(n) < BEFORE_WORK_SHARE)
    return jobs.assign(first=first, untested=lost_before | stops, stopped=stops, before_work=before_work)


def simulate(shop: Shop, rng_seed: int, truth: Truth | None = None) -> Simulated:
    """Simulate a log.

    Parameters
    ----------
    shop : Shop
        Options.
    rng_seed : int
        Random seed; the same seed gives the same log.
    truth : Truth, optional
        Planted coefficients; by default those of a workshop of the given size.
    """
    truth, rng = truth or Truth.sized(shop.technicians, shop.families), np.random.default_rng(rng_seed)
    devices = _received(shop, truth, rng)
    taken = np.flatnonzero(devices["decision"].eq("accepted").to_numpy())
    jobs = intake.learn(devices.iloc[taken].reset_index(drop=True), shop, truth)
    donors = intake.draw_donors(jobs, shop, truth, rng)
    sides = bench.draw_sides(jobs, shop, truth, rng)
    installs = bench.draw_installs(jobs, shop, truth, rng)
    features = bench.bench_features(jobs, sides, installs, truth)
    steps = heat.draw_steps(jobs, features, installs, truth, rng)
    lp = truth.intercept + jobs["intake_lp"] + donors["donor_lp"] + features["bench_lp"] + jobs["technician_lp"]
    lp += truth.bad_lot_log_odds * donors["bad"] + rng.normal(0, shop.noise_sd, len(jobs))
    jobs = _first_boots(jobs.assign(bad=donors["bad"], pads_lost_n=features["pads_lost_n"], lp=lp), shop, rng)
    tests, ends = boots.draw_tests(jobs, shop, truth, rng)
    tests = closing.time_tests(tests, jobs, features["clean_passes_per_side"].to_numpy(), rng)
    fetched, tests["donor_id"] = intake.second_donors(tests, donors, truth, rng)
    later = tests[(tests["test_no"].gt(1) & tests["change_made"].notna()).to_numpy()]
    again = later_sides(later, sides, features["ball_alloy"].to_numpy(object), rng)
    heated_again = heat.later_steps(later, installs, truth, rng)
    lost_pads = features["pads_lost_n"].to_numpy() + np.bincount(again["row"], again["pads_lost_n"], len(jobs))
    closed = closing.close_jobs(jobs, tests, ends, lost_pads, rng)
    work = Work(
        sides=pd.concat([sides, again], ignore_index=True),
        steps=heat.number_and_enter(pd.concat([steps, heated_again], ignore_index=True), shop, rng),
        tests=tests,
        donors=donors,
        fetched=fetched,
        closed=closed,
    )
    return Simulated(tables_of(shop, truth, devices, taken, jobs, work, rng), truth, _latent(jobs, donors, features))


def _latent(jobs: pd.DataFrame, donors: pd.DataFrame, features: pd.DataFrame) -> pd.DataFrame:
    facts = ["job_id", "device_class", "board_family", "device_age_years", "intake_damage", "prior_rework"]
    facts += ["underfill", "technician_id", "earlier_jobs_n", "first", "untested"]
    donor = donors[["donor_age_years", "known_good", "prior_installs_n", "lot", "bad"]]
    out = pd.concat([jobs[facts], donor, features.drop(columns="bench_lp")], axis=1)
    lp = jobs["lp"].to_numpy()
    seen = np.where(jobs["second_damage"].notna(), "yes", "no")
    return out.assign(second_damage_seen=seen, log_odds=lp, chance=expit(lp))
