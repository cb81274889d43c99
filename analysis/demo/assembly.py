"""What happened, as the tables of a log that ends on its last day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.demo.chains import link_chains
from analysis.demo.crew import crew_of
from analysis.demo.gaps import open_gaps
from analysis.demo.shop import Shop
from analysis.demo.tables import table_of
from analysis.demo.truth import Truth

Rng = np.random.Generator

AT_INTAKE = (
    "job_id",
    "received_date",
    "device_class",
    "board_family",
    "device_age_years",
    "intake_damage",
    "second_damage",
    "prior_rework",
    "underfill",
    "decision",
    "decline_reason",
    "fee_basis",
)
AT_CLOSE = ("closed_date", "outcome", "failure_cause", "cause_evidence", "first_boot_result", "loss_reversible")
WORK_STARTS_DAYS = 3  # before boot test 1


@dataclass(frozen=True)
class Work:
    """What was done on accepted jobs, as if nothing were cut off; ``row`` is the place of the job.

    Parameters
    ----------
    sides, steps, tests : DataFrame
        Sides worked on, heat steps, boot tests.
    donors, fetched : DataFrame
        First donors, one a job, and those fetched for a further try.
    closed : DataFrame, one row a job
        How it ended.
    """

    sides: pd.DataFrame
    steps: pd.DataFrame
    tests: pd.DataFrame
    donors: pd.DataFrame
    fetched: pd.DataFrame
    closed: pd.DataFrame


def _spread(values: pd.Series, taken: np.ndarray, n: int) -> np.ndarray:
    """Values of accepted jobs among all jobs received; blank elsewhere."""
    if values.dtype.kind == "M":
        out = np.full(n, np.datetime64("NaT", "ns"))
    else:
        out = np.full(n, np.nan) if values.dtype.kind == "f" else np.full(n, None, dtype=object)
    out[taken] = values.to_numpy()
    return out


def _closed_by(cut: pd.Timestamp, closed: pd.DataFrame, hours_so_far: np.ndarray) -> pd.DataFrame:
    """Jobs not yet closed on the last day of the log are open; their hours are those of the last test."""
    late = (closed["closed_date"] > cut).to_numpy()
    out = closed.assign(bench_hours=np.where(late, hours_so_far, closed["bench_hours"].to_numpy()))
    for name in AT_CLOSE:
        out[name] = out[name].mask(late, pd.NaT if name == "closed_date" else None)
    return out


def _job_table(devices: pd.DataFrame, taken: np.ndarray, accepted: pd.DataFrame) -> pd.DataFrame:
    columns = {name: devices[name].to_numpy() for name in AT_INTAKE}
    columns["guessed_success_pct"] = devices["guess"].to_numpy(float)
    columns |= {name: _spread(accepted[name], taken, len(devices)) for name in accepted}
    return table_of("jobs", columns)


def _begun(frame: pd.DataFrame, ids: np.ndarray, idle: np.ndarray, tests_n: np.ndarray, name: str) -> pd.DataFrame:
    """Work that was done by the last day, with the job's code."""
    row = frame["row"].to_numpy()
    before = frame["before_test_no"].to_numpy()
    kept = np.flatnonzero(~idle[row] & (before <= tests_n[row] + 1))
    kept = kept[np.lexsort((before[kept], row[kept]))]
    columns = {c: frame[c].to_numpy()[kept] for c in frame if c not in ("row", "place")}
    return table_of(name, {"job_id": ids[row[kept]]} | columns)


def tables_of(
    shop: Shop, truth: Truth, devices: pd.DataFrame, taken: np.ndarray, jobs: pd.DataFrame, work: Work, rng: Rng
) -> dict[str, pd.DataFrame]:
    """Typed tables of the log, cut at its last day, with the gaps of a busy bench where the shop has them.

    Parameters
    ----------
    shop, truth : Shop, Truth
        Options and planted truth.
    devices : DataFrame
        Every job received.
    taken : ndarray of int
        Places of the accepted jobs in ``devices``.
    jobs : DataFrame
        Accepted jobs.
    work : Work
        What was done on them.
    rng : Generator
        Source of randomness.
    """
    cut, ids, n = pd.Timestamp(shop.cut), jobs["job_id"].to_numpy(object), len(jobs)
    first_test = np.full(n, np.datetime64("NaT", "ns"))
    is_first = work.tests["test_no"].to_numpy() == 1
    first_test[work.tests["row"].to_numpy()[is_first]] = work.tests["test_date"].to_numpy()[is_first]
    tests = work.tests[(work.tests["test_date"] <= cut).to_numpy()]
    row = tests["row"].to_numpy()
    hours_so_far = np.full(n, np.nan)
    hours_so_far[row] = tests["bench_hours_so_far"].to_numpy()  # sorted by test: the last one stays
    not_begun = first_test > np.datetime64(cut) + np.timedelta64(WORK_STARTS_DAYS, "D")
    idle = jobs["before_work"].to_numpy() | not_begun
    closed = _closed_by(cut, work.closed, hours_so_far)
    accepted = closed.assign(technician_id=jobs["technician_id"], donor_id=work.donors["donor_id"])
    job_table = _job_table(devices, taken, accepted)
    if shop.chains:
        job_table = link_chains(job_table, rng)
    fetched = work.fetched[work.fetched["donor_id"].isin(tests["donor_id"]).to_numpy()]
    donors = pd.concat([work.donors[list(work.fetched.columns)], fetched], ignore_index=True)
    names = tuple(truth.technician)
    tests_n = np.bincount(row, minlength=n)
    tables = {
        "jobs": job_table,
        "chip_sides": _begun(work.sides, ids, idle, tests_n, "chip_sides"),
        "heat_steps": _begun(work.steps, ids, idle, tests_n, "heat_steps"),
        "boot_tests": table_of(
            "boot_tests", {"job_id": ids[row]} | {c: tests[c].to_numpy() for c in tests if c != "row"}
        ),
        "donors": table_of("donors", {c: donors[c].to_numpy() for c in donors}),
        "technicians": table_of(
            "technicians", {"technician_id": names, "bga_experience_band": [p.band for p in crew_of(names)]}
        ),
    }
    return open_gaps(tables, shop.first_day, rng) if shop.gaps else tables
