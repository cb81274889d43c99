"""What comes in: devices, damage, technicians, donors."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.demo.crew import habit
from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

Rng = np.random.Generator

DAMAGE = {"drop": 0.38, "liquid": 0.24, "bend_or_snap": 0.14, "power_fault": 0.1, "heat": 0.07, "none_seen": 0.07}
UNDERFILL = {"none": 0.38, "partial": 0.38, "full": 0.24}
KNOWN_GOOD = {"full_boot": 0.55, "current_only": 0.3, "untested": 0.15}
FEES = {"no_result_no_fee": 0.6, "flat": 0.15, "staged": 0.25}


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
    families = np.array(list(truth.board_family), dtype=object)
    share = 1 / np.arange(2, len(families) + 2)
    frame = pd.DataFrame(
        {
            "job_id": [f"J-{i:04d}" for i in range(1, n + 1)],
            "received_date": received.astype("datetime64[ns]"),
            "device_class": np.where(rng.random(n) < 0.12, "tablet", "phone").astype(object),
            "board_family": rng.choice(families, n, p=share / share.sum()),
            "device_age_years": np.round(np.clip(rng.gamma(3.0, 1.2, n), 0.5, 12) * 2) / 2,
            "intake_damage": pick(rng, DAMAGE, n),
            "prior_rework": np.where(rng.random(n) < 0.18, "elsewhere", "none").astype(object),
            "underfill": pick(rng, UNDERFILL, n),
            "fee_basis": pick(rng, FEES, n),
        }
    )
    first, second = frame["intake_damage"].to_numpy(), pick(rng, DAMAGE, n)
    told = (first != "none_seen") & (second != "none_seen") & (second != first)
    has_second = told & (rng.random(n) < 0.2)
    frame["second_damage"] = np.where(has_second, second, None)
    frame["intake_lp"] = (
        look_up(truth.intake_damage, first)
        + truth.second_damage_seen * has_second
        + truth.device_age_years * frame["device_age_years"].to_numpy()
        + truth.prior_rework_elsewhere * frame["prior_rework"].eq("elsewhere").to_numpy()
        + look_up(truth.underfill, frame["underfill"].to_numpy())
        + truth.tablet * frame["device_class"].eq("tablet").to_numpy()
        + look_up(truth.board_family, frame["board_family"].to_numpy())
    )
    return frame


def assign_technicians(devices: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """Give each job a technician; hard boards go to the best one."""
    n, names = len(devices), tuple(truth.technician)
    ease = devices["intake_lp"].to_numpy()
    hardness = -(ease - ease.mean()) / max(float(ease.std()), 1e-9)
    everyone = np.arange(len(names))
    pull = habit("hard_boards", everyone, names, habits=shop.technician_effects)
    person = (hardness[:, None] * pull + rng.gumbel(size=(n, len(names)))).argmax(axis=1)
    effect = np.array(list(truth.technician.values()))[person] * shop.technician_effects
    technician = np.array(names, dtype=object)[person]
    return devices.assign(technician_id=technician, person=person, technician_lp=effect, hardness=hardness)


def learn(jobs: pd.DataFrame, shop: Shop, truth: Truth) -> pd.DataFrame:
    """Add what technicians have learned on their earlier accepted jobs of this log (``earlier_jobs_n``)."""
    earlier = jobs.groupby("person").cumcount().to_numpy(float)
    gain = truth.learning_per_100_jobs * np.minimum(earlier, truth.learning_ends_at_jobs) / 100
    return jobs.assign(earlier_jobs_n=earlier, technician_lp=jobs["technician_lp"].to_numpy() + gain * shop.learning)


def draw_donors(jobs: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> pd.DataFrame:
    """One donor a job, bought in lots; one lot is bad."""
    n = len(jobs)
    received = jobs["received_date"]
    months = ((received - pd.Timestamp(shop.first_day)).dt.days // 45).to_numpy()
    names = np.array([f"LOT-{i:02d}" for i in range(int(months.max(initial=0)) + 5)], dtype=object)
    lot = names[1 + months + rng.integers(0, 3, n)]
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
        truth.donor_age_years * donors["donor_age_years"].to_numpy()
        + look_up(truth.known_good, donors["known_good"].to_numpy())
        + truth.prior_installs_n * donors["prior_installs_n"].to_numpy()
    )
    return donors


def second_donors(tests: pd.DataFrame, donors: pd.DataFrame, truth: Truth, rng: Rng) -> tuple[pd.DataFrame, np.ndarray]:
    """Donors fetched for a further try, and the donor of each boot test where it is not the job's own.

    Parameters
    ----------
    tests : DataFrame
        Sorted by ``row`` and ``test_no``.
    donors : DataFrame, one row a job
        First donors.
    """
    changed = tests["change_made"].eq("donor_changed").to_numpy()
    rows, m = tests["row"].to_numpy()[changed], int(changed.sum())
    lot = donors["lot"].to_numpy()[rows].copy()
    lot[lot == truth.bad_lot] = "LOT-18"
    more = pd.DataFrame(
        {
            "donor_id": [f"D-{i:04d}" for i in range(len(donors) + 1, len(donors) + m + 1)],
            "donor_age_years": np.round(np.clip(rng.gamma(2.5, 1.2, m), 0.5, 10) * 2) / 2,
            "known_good": np.where(rng.random(m) < 0.8, "full_boot", "current_only").astype(object),
            "prior_installs_n": np.zeros(m),
            "lot": lot,
        }
    )
    used = np.full(len(tests), None, dtype=object)
    used[changed] = more["donor_id"].to_numpy()
    # The donor stays for the tests that follow.
    return more, pd.Series(used).groupby(tests["row"].to_numpy()).ffill().to_numpy(object)
