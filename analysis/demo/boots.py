"""Boot tests: the first by the planted truth, later ones by frailty and what was changed."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.demo.intake import look_up, pick
from analysis.demo.shop import Shop
from analysis.demo.truth import Truth

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
# Work that is paid whatever happens is ended sooner (log odds of giving up after a failed test).
SOONER = {"no_result_no_fee": -0.1, "staged": 0.1, "flat": 0.5}
MOST_TESTS = 5
LOCKED_SHARE, OPENED_SHARE, STOPPED_SHARE = 0.07, 0.7, 0.03


def _after_a_failure(
    lp: np.ndarray, lost_pads: np.ndarray, basis: np.ndarray, k: int, shop: Shop, rng: Rng
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What happens after failing test ``k``: lost for good, given up, stopped by the client."""
    m = len(lp)
    gone = rng.random(m) < np.where(lost_pads >= 4, 0.27, np.where(lost_pads >= 1, 0.17, 0.11))
    odds = np.full(m, -0.7 + 0.5 * (k - 1))
    if shop.informative_giving_up:
        odds += -0.6 - 0.55 * lp + look_up(SOONER, basis)
    gives_up = ~gone & (rng.random(m) < expit(odds))
    stopped = ~gone & ~gives_up & (rng.random(m) < STOPPED_SHARE) & shop.selection
    return gone, gives_up, stopped


def draw_tests(jobs: pd.DataFrame, shop: Shop, truth: Truth, rng: Rng) -> tuple[pd.DataFrame, pd.DataFrame]:
    """All boot tests of jobs that reached one, and how each job ended.

    Parameters
    ----------
    jobs : DataFrame
        With ``lp`` (true log odds at test 1), ``untested`` (lost or stopped before a test) and ``first`` (success
        at test 1).

    Returns
    -------
    tests : DataFrame
        ``row``, ``test_no``, ``boot_result``, ``change_made``, sorted by job and test.
    ends : DataFrame, one row a job
        ``tests_n``, ``read`` (data readable at last), ``locked``, ``lost_for_good``, ``stopped_late`` (by the client
        after a failed test), ``last_result``.
    """
    n = len(jobs)
    # Later tests follow the same log odds, except that another donor ends the harm of a bad one.
    lp, bad = jobs["lp"].to_numpy().copy(), jobs["bad"].to_numpy().copy()
    lost_pads, basis = jobs["pads_lost_n"].to_numpy(), jobs["fee_basis"].to_numpy()
    alive = ~jobs["untested"].to_numpy()
    ends = {name: np.zeros(n, dtype=bool) for name in ("read", "locked", "lost_for_good", "stopped_late")}
    tests_n, last = np.zeros(n, dtype=int), np.full(n, None, dtype=object)
    parts = []
    for k in range(1, MOST_TESTS + 1):
        here = np.flatnonzero(alive)
        m = len(here)
        change = np.full(m, "first_install", dtype=object) if k == 1 else pick(rng, CHANGES, m)
        freed = here[(change == "donor_changed") & bad[here]]
        lp[freed] -= truth.bad_lot_log_odds
        bad[freed] = False
        if k == 1:
            success = jobs["first"].to_numpy()[here]
        else:
            success = rng.random(m) < expit(0.55 * lp[here] - 1.2 - 0.9 * (k - 2) + look_up(GAIN, change))
        booted = np.where(rng.random(m) < LOCKED_SHARE, "starts_locked", "data_readable")
        result = np.where(success, booted, pick(rng, FAILED, m)).astype(object)
        parts.append(pd.DataFrame({"row": here, "test_no": k, "boot_result": result, "change_made": change}))
        tests_n[here], last[here] = k, result
        ends["locked"][here], ends["read"][here] = result == "starts_locked", result == "data_readable"
        gone, gives_up, stopped = _after_a_failure(lp[here], lost_pads[here], basis[here], k, shop, rng)
        ends["lost_for_good"][here[gone & ~success]] = True
        ends["stopped_late"][here[stopped & ~success]] = True
        alive[here[success | gone | gives_up | stopped]] = False
    # A locked start is often opened with the client's code at a further test.
    opened = np.flatnonzero(ends["locked"] & (rng.random(n) < OPENED_SHARE))
    tests_n[opened] += 1
    ends["read"][opened], ends["locked"][opened], last[opened] = True, False, "data_readable"
    nothing = np.full(len(opened), None, dtype=object)
    readable = np.full(len(opened), "data_readable", dtype=object)
    parts.append(
        pd.DataFrame({"row": opened, "test_no": tests_n[opened], "boot_result": readable, "change_made": nothing})
    )
    tests = pd.concat(parts, ignore_index=True)
    order = np.lexsort((tests["test_no"].to_numpy(), tests["row"].to_numpy()))
    return tests.iloc[order].reset_index(drop=True), pd.DataFrame({"tests_n": tests_n, "last_result": last} | ends)
