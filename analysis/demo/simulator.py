"""The invented workshop, from intake to closed job. Every number it makes is invented."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.demo import bench, boots, closing, heat, intake
from analysis.demo.gaps import open_gaps
from analysis.demo.shop import Shop
from analysis.demo.tables import table_of
from analysis.demo.truth import TECHNICIANS, Truth

Rng = np.random.Generator

EXPERIENCE = {"T1": "3_to_10", "T2": "over_10", "T3": "1_to_3", "T4": "under_1", "T5": "3_to_10"}


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
        ``job_id``, the features as they truly are, ``chance`` (true chance at boot test 1).
    """

    tables: Mapping[str, pd.DataFrame]
    truth: Truth
    latent: pd.DataFrame


def _accepted(devices: pd.DataFrame, guess: np.ndarray, shop: Shop, rng: Rng) -> pd.DataFrame:
    decision, reason = closing.decide(devices, guess, shop, rng)
    return devices.assign(guess=guess, decision=decision, decline_reason=reason)


def _first_boots(jobs: pd.DataFrame, shop: Shop, rng: Rng) -> pd.DataFrame:
    """Success at test 1, and the jobs that never reach a test."""
    n = len(jobs)
    first = rng.random(n) < expit(jobs["lp"].to_numpy())
    lost_before = ~first & (rng.random(n) < 0.09)
    stops = (rng.random(n) < 0.035) if shop.selection else np.zeros(n, dtype=bool)
    before_work = stops & (rng.random(n) < 0.4)
    return jobs.assign(first=first, untested=lost_before | stops, stopped=stops, before_work=before_work)


def _later_sides(tests: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """Cleaning between tests: failed jobs get more passes, and lose a few more pads."""
    redone = tests[tests["change_made"].isin(["reinstall", "reball_again", "pad_repair", "donor_changed"])]
    m = len(redone)
    lost = np.where(rng.random(m) < 0.2, rng.geometric(0.5, m), 0).astype(float)
    grade = np.where(lost > 0, np.where(rng.random(m) < 0.5, 4.0, 3.0), 0.0)
    at = rng.choice(np.array(["removal", "cleaning"], dtype=object), m)
    return pd.DataFrame(
        {
            "row": redone["row"].to_numpy(int),
            "chip_role": "processor",
            "side": "lower",
            "chip_source": "client",
            "before_test_no": redone["test_no"].to_numpy(float),
            "clean_passes_n": np.clip(3 + rng.poisson(1.2, m), 1, 8).astype(float),
            "pad_grade_found": np.zeros(m),
            "pad_grade_left": grade,
            "pads_lost_n": lost,
            "pads_lost_at": np.where(lost > 0, at, None),
            "blade_used": np.zeros(m, dtype=bool),
            "clean_alloy": "sn63pb37",
            "ball_alloy": "sn63pb37",
            "reball_tries_n": 1.0,
            "ball_reset": pd.array(np.zeros(m, dtype=bool), dtype="boolean"),
        }
    )


def _cut(frame: pd.DataFrame, cut: pd.Timestamp) -> pd.DataFrame:
    """Jobs not yet closed on the last day of the log are open."""
    late = frame["closed_date"] > cut
    blanked = ["closed_date", "outcome", "failure_cause", "cause_evidence", "first_boot_result"]
    out = frame.copy()
    for column in blanked:
        out[column] = out[column].mask(late)
    out["loss_reversible"] = out["loss_reversible"].mask(late, pd.NA)
    return out


def _job_table(devices: pd.DataFrame, accepted: pd.DataFrame, closed: pd.DataFrame) -> pd.DataFrame:
    columns = {name: devices[name].to_numpy() for name in intake_columns()}
    columns["guessed_success_pct"] = devices["guess"].to_numpy(float)
    place = devices.index.get_indexer(accepted.index)
    for name in ("technician_id", "donor_id"):
        values = np.full(len(devices), None, dtype=object)
        values[place] = accepted[name].to_numpy()
        columns[name] = values
    for name in closed.columns:
        series = closed[name].set_axis(accepted.index).reindex(devices.index)
        columns[name] = series.to_numpy()
    columns["fee_basis"] = pd.Series(columns["fee_basis"]).astype(object).to_numpy()
    return table_of("jobs", columns)


def intake_columns() -> tuple[str, ...]:
    """Columns of jobs.csv that are drawn at intake."""
    return (
        "job_id",
        "received_date",
        "device_class",
        "board_family",
        "device_age_years",
        "intake_damage",
        "second_damage",
        "prior_rework",
        "previous_job_id",
        "underfill",
        "decision",
        "decline_reason",
    )


def _make_chains(devices: pd.DataFrame, shop: Shop) -> pd.DataFrame:
    """Leave room for boards that come back: filled in once it is known which jobs failed."""
    return devices.assign(previous_job_id=np.full(len(devices), None, dtype=object))


def _link_chains(jobs: pd.DataFrame, tests: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """Turn a few accepted jobs into second tries on boards that failed before."""
    failed = jobs[jobs["outcome"].eq("not_recovered") & jobs["loss_reversible"].fillna(False)]
    out = jobs.copy()
    taken: set[int] = set()
    for at in rng.permutation(failed.index.to_numpy())[:8]:
        old = jobs.loc[at]
        after = jobs["received_date"].gt(old["closed_date"] + pd.Timedelta(days=20))
        same = jobs["decision"].eq("accepted") & after & jobs["intake_damage"].eq(old["intake_damage"])
        choices = [i for i in jobs.index[same & jobs["board_family"].eq(old["board_family"])] if i not in taken]
        if choices and at not in taken:
            new = choices[0]
            out.loc[new, ["prior_rework", "previous_job_id"]] = ["here", old["job_id"]]
            out.loc[new, ["device_class", "device_age_years"]] = [old["device_class"], old["device_age_years"]]
            taken |= {new, at}
    return out


def simulate(shop: Shop, rng_seed: int, truth: Truth | None = None) -> Simulated:
    """Simulate a log.

    Parameters
    ----------
    shop : Shop
        Options.
    rng_seed : int
        Random seed; the same seed gives the same log.
    truth : Truth, optional
        Planted coefficients.
    """
    truth, rng = truth or Truth(), np.random.default_rng(rng_seed)
    devices = _make_chains(intake.draw_devices(shop, truth, rng), shop)
    devices = intake.assign_technicians(devices, shop, truth, rng)
    devices = _accepted(devices, closing.guesses(devices, truth, rng), shop, rng)
    jobs = devices[devices["decision"].eq("accepted")]
    index, jobs = jobs.index, jobs.reset_index(drop=True)
    donors = intake.draw_donors(jobs, shop, truth, rng)
    sides = bench.draw_sides(jobs, shop, rng)
    installs = bench.draw_installs(jobs, shop, truth, rng)
    features = bench.bench_features(jobs, sides, installs, truth)
    steps = heat.draw_steps(jobs, features, installs, truth, rng)
    jobs = jobs.assign(donor_id=donors["donor_id"], bad=donors["bad"], pads_lost_band=features["pads_lost_band"])
    lp = truth.intercept + jobs["intake_lp"] + donors["donor_lp"] + features["bench_lp"] + jobs["technician_lp"]
    jobs["lp"] = lp + truth.bad_lot_log_odds * jobs["bad"]
    jobs = _first_boots(jobs, shop, rng)
    tests, ends = boots.draw_tests(jobs, shop, rng)
    tests = closing.time_tests(tests, jobs, features["clean_passes_per_side"].to_numpy(), rng)
    closed = closing.close_jobs(jobs, tests, ends, rng)
    closed.loc[jobs["before_work"], "bench_hours"] = 0.0
    latent = _latent(jobs, donors, features)
    return Simulated(
        _tables(shop, truth, rng, devices, jobs.set_index(index), donors, sides, steps, tests, closed, installs),
        truth,
        latent,
    )


def _latent(jobs: pd.DataFrame, donors: pd.DataFrame, features: pd.DataFrame) -> pd.DataFrame:
    intake_facts = jobs[["job_id", "device_class", "board_family", "device_age_years", "intake_damage", "prior_rework"]]
    second = np.where(jobs["second_damage"].notna(), "yes", "no")
    more = jobs[["underfill", "technician_id", "first", "untested"]].assign(second_damage_seen=second)
    chance = pd.Series(expit(jobs["lp"].to_numpy()), name="chance")
    donor = donors[["donor_age_years", "known_good", "prior_installs_n", "lot", "bad"]]
    return pd.concat([intake_facts, more, donor, features.drop(columns="bench_lp"), chance], axis=1)


def _tables(
    shop: Shop,
    truth: Truth,
    rng: Rng,
    devices: pd.DataFrame,
    jobs: pd.DataFrame,
    donors: pd.DataFrame,
    sides: pd.DataFrame,
    steps: pd.DataFrame,
    tests: pd.DataFrame,
    closed: pd.DataFrame,
    installs: pd.DataFrame,
) -> dict[str, pd.DataFrame]:
    """Typed tables of the log, cut at its last day."""
    cut = pd.Timestamp(shop.cut)
    later = tests[tests["test_no"].astype(float).gt(1) & tests["change_made"].notna()]
    sides = pd.concat([sides, _later_sides(later, rng)], ignore_index=True)
    steps = pd.concat(
        [steps, heat.later_steps(later, installs["station_id"].to_numpy(), truth, rng)], ignore_index=True
    )
    steps = heat.number_and_enter(steps, shop, rng)
    ids = jobs["job_id"].to_numpy()
    idle = set(np.flatnonzero(jobs["before_work"].to_numpy()))
    tests = tests[pd.to_datetime(tests["test_date"]) <= cut]
    reached = tests.groupby("row")["test_no"].max()
    parts = {}
    for name, frame in (("chip_sides", sides), ("heat_steps", steps)):
        most = frame["row"].map(reached.astype(float)).fillna(0) + 1
        kept = frame[~frame["row"].isin(idle) & frame["before_test_no"].le(most)].copy()
        kept = kept.sort_values(["row", "before_test_no"], kind="stable")
        kept["job_id"] = ids[kept["row"].to_numpy(int)]
        parts[name] = kept.drop(columns=[c for c in ("row", "place") if c in kept])
    tests = tests.assign(job_id=ids[tests["row"].to_numpy(int)]).drop(columns="row")
    last_hours = tests.groupby("job_id")["bench_hours_so_far"].max().reindex(ids).to_numpy(float)
    still_open = (closed["closed_date"] > cut).to_numpy()
    closed = _cut(closed, cut)
    closed["bench_hours"] = np.where(still_open, last_hours, closed["bench_hours"])
    job_table = _job_table(devices, jobs, closed)
    if shop.chains:
        job_table = _link_chains(job_table, tests, rng)
    donor_columns = [c for c in donors.columns if c not in ("bad", "donor_lp")]
    tables = {
        "jobs": job_table,
        "chip_sides": table_of("chip_sides", {c: parts["chip_sides"][c].to_numpy() for c in parts["chip_sides"]}),
        "heat_steps": table_of("heat_steps", {c: parts["heat_steps"][c].to_numpy() for c in parts["heat_steps"]}),
        "boot_tests": table_of("boot_tests", {c: tests[c].to_numpy() for c in tests}),
        "donors": table_of("donors", {c: donors[c].to_numpy() for c in donor_columns}),
        "technicians": table_of(
            "technicians",
            {"technician_id": list(TECHNICIANS), "bga_experience_band": [EXPERIENCE[t] for t in TECHNICIANS]},
        ),
    }
    return open_gaps(tables, shop.first_day, rng) if shop.gaps else tables
