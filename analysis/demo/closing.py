"""Dates, hours, outcomes, causes and money."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.demo.intake import pick
from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

Rng = np.random.Generator

# Share confirmed, probable, suspected. A bad donor is rarely proved while nobody knows of the lot.
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
# With it the log odds of recovery of accepted jobs rise by ``guess_calibration_slope`` for each log odds of the guess
# (found by simulation, held by a test): a guess sees intake only, and an accepted job has further chances.
GUESS_GAIN = 0.41
DECLINED = {"chance_too_low": 0.5, "no_donor": 0.15, "price": 0.15, "no_time": 0.1, "outside_experience": 0.1}


def time_tests(tests: pd.DataFrame, jobs: pd.DataFrame, passes: np.ndarray, rng: Rng) -> pd.DataFrame:
    """Date each test and add up bench hours; more passes take more hours."""
    row, m = tests["row"].to_numpy(), len(tests)
    first = tests["test_no"].to_numpy() == 1
    days = np.where(first, rng.integers(3, 26, m), rng.integers(1, 9, m))
    hours = np.where(first, 2.0 + 0.9 * passes[row] + rng.gamma(3.0, 0.6, m), 0.7 + rng.gamma(2.0, 0.7, m))
    grouped = pd.DataFrame({"row": row, "days": days, "hours": np.round(hours * 4) / 4}).groupby("row").cumsum()
    received = jobs["received_date"].to_numpy()[row]
    return tests.assign(
        test_date=received + grouped["days"].to_numpy().astype("timedelta64[D]"),
        bench_hours_so_far=grouped["hours"].to_numpy(),
    )


def _cause_weights(jobs: pd.DataFrame, ends: pd.DataFrame, lost_pads: np.ndarray) -> dict[str, np.ndarray]:
    """How likely the bench is to write each cause of a job that failed, given what happened on it.

    A chip that is cracked or dead belongs to a loss for good, a poor joint to one that could be tried again.
    """
    n = len(jobs)
    gone, last = ends["lost_for_good"].to_numpy(), ends["last_result"]
    bad, damage = jobs["bad"].to_numpy(), jobs["intake_damage"]
    surge = damage.isin(["power_fault", "liquid"]).to_numpy()
    return {
        "pads_lost": 0.9 * ((lost_pads > 0) & (lost_pads < 4)) + 2.2 * (lost_pads >= 4),
        "chip_cracked": 1.0 * gone,
        "chip_dead_on_arrival": gone * (0.5 + 0.5 * surge),
        "storage_unreadable": 0.4 * gone + 2.0 * last.eq("data_partial").to_numpy(),
        "short_after_install": 3.0 * last.eq("short").to_numpy(),
        "poor_joint": 1.1 * ~gone,
        "misplaced": 0.2 * ~gone,
        "donor_faulty_or_wrong": ~gone * (0.12 + 1.1 * bad),
        "original_damage": 0.2 + 0.4 * damage.eq("bend_or_snap").to_numpy(),
        "not_found": 0.7 + 0.9 * (bad & ~gone),
        "other": np.full(n, 0.06),
    }


def causes(jobs: pd.DataFrame, ends: pd.DataFrame, lost_pads: np.ndarray, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Cause and evidence of every job that was not recovered, as the bench would write them."""
    n = len(jobs)
    weights = _cause_weights(jobs, ends, lost_pads)
    with np.errstate(divide="ignore"):
        score = np.log(np.column_stack(list(weights.values()))) + rng.gumbel(size=(n, len(weights)))
    cause = np.array(list(weights), dtype=object)[score.argmax(axis=1)]
    cause[ends["locked"].to_numpy()] = "credential_missing"
    cause[rng.random(n) < 0.08] = None
    names = pd.Index(EVIDENCE)
    shares = np.vstack([np.cumsum(list(EVIDENCE.values()), axis=1), np.full(3, np.nan)])
    of_cause = shares[names.get_indexer(cause)]  # a cause without evidence is the last row: no comparison holds
    roll = rng.random(n)
    evidence = np.full(n, None, dtype=object)
    for level, code in reversed(list(enumerate(("confirmed", "probable", "suspected")))):
        evidence[roll < of_cause[:, level]] = code
    return cause, evidence


def guesses(jobs: pd.DataFrame, truth: Truth, rng: Rng) -> np.ndarray:
    """The technician's guess of recovery, in percent: informative, optimistic, and too sure of itself.

    ``guess_optimism`` is added, in log odds, to about what a fair guess would say.
    """
    known = jobs["intake_lp"] - jobs["intake_lp"].mean() + rng.normal(0, 0.4, len(jobs))
    said = expit(1.1 + truth.guess_optimism + GUESS_GAIN * known / truth.guess_calibration_slope)
    return np.asarray(np.clip(np.round(said * 20) * 5, 5, 95))


def close_jobs(
    jobs: pd.DataFrame, tests: pd.DataFrame, ends: pd.DataFrame, lost_pads: np.ndarray, rng: Rng
) -> pd.DataFrame:
    """Outcome, closing date, hours, cause, evidence and money of accepted jobs, as if nothing were cut off."""
    n, row = len(jobs), tests["row"].to_numpy()
    last = np.append(row[1:] != row[:-1], True)[: len(row)]
    tested = ends["tests_n"].to_numpy() > 0
    closed = jobs["received_date"].to_numpy() + rng.integers(3, 20, n).astype("timedelta64[D]")
    hours = 2 + rng.gamma(2, 1, n)
    closed[row[last]] = tests["test_date"].to_numpy()[last]
    hours[row[last]] = tests["bench_hours_so_far"].to_numpy()[last]
    stopped = jobs["stopped"].to_numpy() | ends["stopped_late"].to_numpy()
    outcome = np.where(ends["read"], "recovered", np.where(stopped, "stopped_by_client", "not_recovered"))
    failed = outcome == "not_recovered"
    ends = ends.assign(lost_for_good=ends["lost_for_good"].to_numpy() | (failed & ~tested))
    cause, evidence = causes(jobs, ends, lost_pads, rng)
    total = np.round((hours + rng.gamma(2, 0.3, n)) * 4) / 4
    return pd.DataFrame(
        {
            "closed_date": closed + rng.integers(0, 7, n).astype("timedelta64[D]"),
            "bench_hours": np.where(jobs["before_work"], 0.0, total),
            "outcome": outcome.astype(object),
            "failure_cause": np.where(failed, cause, None),
            "cause_evidence": np.where(failed, evidence, None),
            "loss_reversible": np.where(failed, ~ends["lost_for_good"], None),
            "first_boot_result": np.where(tested, None, "not_tested"),
            "fee_amount": np.round(rng.normal(620, 120, n) / 10) * 10,
            "donor_cost": np.round(np.clip(rng.normal(140, 50, n), 30, 400) / 5) * 5,
        }
    )


def decide(jobs: pd.DataFrame, guess: np.ndarray, shop: Shop, rng: Rng) -> tuple[np.ndarray, np.ndarray]:
    """Accepted, declined or withdrawn, with the reason for declining."""
    n = len(jobs)
    if not shop.selection:
        return np.full(n, "accepted", dtype=object), np.full(n, None, dtype=object)
    declined = rng.random(n) < expit(2.55 - 0.06 * guess)
    withdrawn = ~declined & (rng.random(n) < 0.025)
    decision = np.where(declined, "declined", np.where(withdrawn, "withdrawn", "accepted")).astype(object)
    return decision, np.where(declined, pick(rng, DECLINED, n), None)
