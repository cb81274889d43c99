"""Dates, hours, outcomes, causes and money."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.demo.intake import pick
from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

Rng = np.random.Generator

FEES = {"no_result_no_fee": 0.6, "flat": 0.15, "staged": 0.25}
EVIDENCE = {
    "pads_lost": (0.6, 0.3, 0.1),
    "chip_cracked": (0.8, 0.15, 0.05),
    "chip_dead_on_arrival": (0.2, 0.5, 0.3),
    "storage_unreadable": (0.3, 0.4, 0.3),
    "short_after_install": (0.6, 0.3, 0.1),
    "poor_joint": (0.25, 0.4, 0.35),
    "misplaced": (0.6, 0.3, 0.1),
    "donor_faulty_or_wrong": (0.15, 0.35, 0.5),
    "original_damage": (0.2, 0.4, 0.4),
    "credential_missing": (1.0, 0.0, 0.0),
}


def time_tests(tests: pd.DataFrame, jobs: pd.DataFrame, passes: np.ndarray, rng: Rng) -> pd.DataFrame:
    """Date each test and add up bench hours; more passes take more hours."""
    row = tests["row"].to_numpy(int)
    first = tests["test_no"].astype(float).to_numpy() == 1
    days = np.where(first, rng.integers(3, 26, len(row)), rng.integers(1, 9, len(row)))
    hours = np.where(
        first, 2.0 + 0.9 * passes[row] + rng.gamma(3.0, 0.6, len(row)), 0.7 + rng.gamma(2.0, 0.7, len(row))
    )
    grouped = pd.DataFrame({"row": row, "days": days, "hours": np.round(hours * 4) / 4}).groupby("row")
    received = jobs["received_date"].to_numpy()[row]
    return tests.assign(
        test_date=received + grouped["days"].cumsum().to_numpy().astype("timedelta64[D]"),
        bench_hours_so_far=grouped["hours"].cumsum().to_numpy(),
    )


def causes(jobs: pd.DataFrame, ends: pd.DataFrame, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Cause and evidence of every job that was not recovered, as the bench would write them."""
    n = len(jobs)
    weights = pd.DataFrame(
        {
            "pads_lost": 0.25
            + 2.2 * jobs["pads_lost_band"].eq("4 or more")
            + 0.8 * jobs["pads_lost_band"].eq("1 to 3"),
            "chip_cracked": 0.3 + 1.2 * ends["lost_for_good"],
            "chip_dead_on_arrival": 0.35 + 0.3 * jobs["intake_damage"].isin(["power_fault", "liquid"]),
            "storage_unreadable": 0.2,
            "short_after_install": 0.4,
            "poor_joint": 0.9,
            "misplaced": 0.15,
            "donor_faulty_or_wrong": 0.15 + 1.1 * jobs["bad"],
            "original_damage": 0.3 + 0.4 * jobs["intake_damage"].eq("bend_or_snap"),
            "not_found": 0.9 + 0.9 * jobs["bad"],
            "other": 0.08,
        }
    ).astype(float)
    score = np.log(weights.to_numpy()) + rng.gumbel(size=weights.shape)
    cause = weights.columns.to_numpy()[score.argmax(axis=1)].astype(object)
    cause[ends["locked"].to_numpy()] = "credential_missing"
    cause[rng.random(n) < 0.08] = None
    roll = rng.random(n)
    cut = pd.Series(cause).map(EVIDENCE).map(np.cumsum, na_action="ignore")
    evidence = [
        None
        if limits is None or not isinstance(limits, np.ndarray)
        else ("confirmed", "probable", "suspected")[int(np.searchsorted(limits[:2], r, side="right"))]
        for limits, r in zip(cut, roll, strict=True)
    ]
    return cause, np.array(evidence, dtype=object)


def guesses(jobs: pd.DataFrame, truth: Truth, rng: Rng) -> np.ndarray:
    """The technician's guess of recovery, in percent: informative, optimistic, and too sure of itself."""
    known = jobs["intake_lp"] - jobs["intake_lp"].mean() + 0.9 + rng.normal(0, 0.5, len(jobs))
    said = expit(known / truth.guess_calibration_slope + 0.3)
    return np.asarray(np.clip(np.round(said * 20) * 5, 5, 95))


def close_jobs(jobs: pd.DataFrame, tests: pd.DataFrame, ends: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """Outcome, closing date, hours, cause, evidence and money of accepted jobs, as if nothing were cut off."""
    n = len(jobs)
    by_row = tests.groupby("row")
    last_date = by_row["test_date"].max().reindex(range(n))
    hours = by_row["bench_hours_so_far"].max().reindex(range(n))
    untested_date = jobs["received_date"] + pd.to_timedelta(rng.integers(3, 20, n), unit="D")
    tail = pd.to_timedelta(rng.integers(0, 7, n), unit="D")
    stopped = jobs["stopped"].to_numpy()
    outcome = np.where(ends["read"], "recovered", np.where(stopped, "stopped_by_client", "not_recovered")).astype(
        object
    )
    failed = outcome == "not_recovered"
    cause, evidence = causes(jobs, ends, rng)
    lost = ends["lost_for_good"].to_numpy() | (failed & (ends["tests_n"] == 0).to_numpy())
    basis = pick(rng, FEES, n)
    return pd.DataFrame(
        {
            "closed_date": last_date.fillna(untested_date) + tail,
            "bench_hours": np.round((hours.fillna(pd.Series(2 + rng.gamma(2, 1, n))) + rng.gamma(2, 0.3, n)) * 4) / 4,
            "outcome": outcome,
            "failure_cause": np.where(failed, cause, None),
            "cause_evidence": np.where(failed, evidence, None),
            "loss_reversible": pd.array(np.where(failed, ~lost, None), dtype="boolean"),
            "first_boot_result": np.where(ends["tests_n"].to_numpy() == 0, "not_tested", None),
            "fee_basis": basis,
            "fee_amount": np.round(rng.normal(620, 120, n) / 10) * 10,
            "donor_cost": np.round(np.clip(rng.normal(140, 50, n), 30, 400) / 5) * 5,
        }
    )


def decide(jobs: pd.DataFrame, guess: np.ndarray, shop: Shop, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Accepted, declined or withdrawn, with the reason for declining."""
    n = len(jobs)
    if not shop.selection:
        return np.full(n, "accepted", dtype=object), np.full(n, None, dtype=object)
    declined = rng.random(n) < expit(1.45 - 0.045 * guess)
    withdrawn = ~declined & (rng.random(n) < 0.025)
    reason = pick(
        rng, {"chance_too_low": 0.5, "no_donor": 0.15, "price": 0.15, "no_time": 0.1, "outside_experience": 0.1}, n
    )
    decision = np.where(declined, "declined", np.where(withdrawn, "withdrawn", "accepted")).astype(object)
    return decision, np.where(declined, reason, None)
