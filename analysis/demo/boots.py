"""Boot tests: the first by the planted truth, later ones by frailty and what was changed."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.demo.intake import pick
from analysis.demo.shop import Shop

Rng = np.random.Generator

FAILED = {
    "restart_loop": 0.26,
    "service_mode_only": 0.14,
    "current_no_start": 0.3,
    "no_current": 0.14,
    "short": 0.12,
    "data_partial": 0.04,
}
CHANGES = {
    "touch_up": 0.3,
    "reinstall": 0.25,
    "reball_again": 0.2,
    "pad_repair": 0.13,
    "memory_replaced": 0.07,
    "donor_changed": 0.05,
}
GAIN = {
    "touch_up": -0.2,
    "reinstall": 0.15,
    "reball_again": 0.2,
    "pad_repair": 0.1,
    "memory_replaced": 0.1,
    "donor_changed": 0.6,
}
MOST_TESTS = 5


def draw_tests(jobs: pd.DataFrame, shop: Shop, rng: Rng) -> tuple[pd.DataFrame, pd.DataFrame]:
    """All boot tests of jobs that reached one, and how each job ended.

    Parameters
    ----------
    jobs : DataFrame
        With ``lp`` (true log odds at test 1), ``untested`` (lost or stopped before a test) and ``first`` (success
        at test 1).

    Returns
    -------
    tests : DataFrame
        ``row``, ``test_no``, ``boot_result``, ``change_made``.
    ends : DataFrame, one row a job
        ``tests_n``, ``won`` (booted), ``read`` (data readable at last), ``lost_for_good``.
    """
    n = len(jobs)
    lp = jobs["lp"].to_numpy()
    alive = ~jobs["untested"].to_numpy()
    won, lost, tests_n = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool), np.zeros(n)
    locked, read = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    parts = []
    for k in range(1, MOST_TESTS + 1):
        here = np.flatnonzero(alive)
        if not len(here):
            break
        m = len(here)
        change = np.full(m, "first_install", dtype=object) if k == 1 else pick(rng, CHANGES, m)
        if k == 1:
            success = jobs["first"].to_numpy()[here]
        else:
            gain = pd.Series(change).map(GAIN).to_numpy(float)
            success = rng.random(m) < expit(0.55 * lp[here] - 1.15 - 0.9 * (k - 2) + gain)
        result = np.where(
            success, np.where(rng.random(m) < 0.07, "starts_locked", "data_readable"), pick(rng, FAILED, m)
        )
        parts.append(pd.DataFrame({"row": here, "test_no": float(k), "boot_result": result, "change_made": change}))
        tests_n[here] = k
        won[here] |= success
        locked[here] = result == "starts_locked"
        read[here] = result == "data_readable"
        gone = ~success & (rng.random(m) < 0.19)
        lost[here] |= gone
        odds = (-1.0 - 0.55 * lp[here] if shop.informative_giving_up else -0.4) + 0.5 * (k - 1)
        gives_up = ~success & ~gone & (rng.random(m) < expit(odds))
        alive[here[success | gone | gives_up]] = False
    tests = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    # A locked start is often opened with the client's code at a further test.
    opened = np.flatnonzero(locked & (rng.random(n) < 0.6))
    tests_n[opened] += 1
    read[opened] = True
    extra = {"row": opened, "test_no": tests_n[opened], "boot_result": "data_readable", "change_made": None}
    tests = pd.concat([tests.astype(object), pd.DataFrame(extra).astype(object)], ignore_index=True)
    ends = pd.DataFrame({"tests_n": tests_n, "won": won, "read": read, "locked": locked & ~read, "lost_for_good": lost})
    return tests.sort_values(["row", "test_no"], kind="stable").reset_index(drop=True), ends
