"""Do the intervals of the share booted by each test, and by bench hours, cover the truth as often as they say?

``python -m tests.studies.attempts --shops 1000`` simulates shops of 200 jobs with known chances. Of jobs that fail a
test some are lost for good, given up, stopped by the client, or still open; in the second half of the shops a part of
the closed jobs with one failed test has no record but its first result. The truth is the share that has booted by then
where no job is open. Hours come with open jobs too.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.models.attempts import life_table
from analysis.models.incidence import cumulative_incidence
from analysis.models.timed import timed
from tests.studies.record import Finding, add_write, report, unbiased

JOBS = 200
BOOTS = (0.65, 0.30, 0.15)  # chance of each test
ENDS = {"lost for good": 0.15, "given up": 0.22, "stopped by the client": 0.03, "open": 0.10}  # after a failed one
UNRECORDED = 0.5  # of the jobs closed after one failed test
HOURS = (4.0, 6.0, 8.0)


def truth() -> list[float]:
    """Share booted by each test where no job is open: those not open are continued as often as the rest."""
    ended = sum(share for kind, share in ENDS.items() if kind != "open") / (1 - ENDS["open"])
    left, share, out = 1.0, 0.0, []
    for chance in BOOTS:
        share += left * chance
        left *= (1 - chance) * (1 - ended)
        out.append(share)
    return out


def attempts_of(rng: np.random.Generator, unrecorded: float) -> tuple[list[int], list[int], list[str]]:
    """Test numbers, successes and what followed, of one shop."""
    number, success, then = [], [], []
    kinds, shares = list(ENDS), np.array(list(ENDS.values()))
    for _ in range(JOBS):
        for test, chance in enumerate(BOOTS, start=1):
            booted = rng.random() < chance
            what = "success" if booted else str(rng.choice([*kinds, "continued"], p=[*shares, 1 - shares.sum()]))
            if what == "continued" and test == len(BOOTS):
                what = "given up"
            if test == 1 and what in ("given up", "stopped by the client") and rng.random() < unrecorded:
                what = "later tests not recorded"
            number.append(test)
            success.append(int(booted))
            then.append(what)
            if what != "continued":
                break
    return number, success, then


def hours_of(rng: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Bench hours in half hours, so that many tie, and how each of a shop's jobs ended."""
    success = rng.random(JOBS) < 0.7
    end = np.ceil(2 * (2 + rng.gamma(3, np.where(success, 1.2, 1.6)))) / 2
    seen = np.ceil(2 * rng.uniform(2, 20, JOBS)) / 2
    return np.minimum(end, seen), np.where(seen < end, 0, np.where(success, 1, 2))


def hours_truth() -> list[float]:
    """Share booted by each time, from the distribution hours are drawn from."""
    from scipy.stats import gamma

    return [0.7 * float(gamma(3, scale=1.2).cdf(t - 2)) for t in HOURS]


def study(shops: int, first_seed: int = 9000) -> pd.DataFrame:
    """One row a shop and view: whether the interval holds the truth, and the estimate less the truth."""
    rows = []
    for k in range(shops):
        rng = np.random.default_rng(first_seed + k)
        for unrecorded in (0.0, UNRECORDED):
            table = life_table(*attempts_of(rng, unrecorded))
            for row, true in zip(table, truth(), strict=False):
                low, high = row.within_low, row.within_high
                where = f"by test {row.test_no}" + (", records missing" if unrecorded else "")
                rows.append((k, where, low[1] <= true <= high[2], low[0] - true, high[0] - true))
        curve = cumulative_incidence(timed(*hours_of(rng)), minimum=10)
        for at, true in zip(HOURS, hours_truth(), strict=True):
            estimate, low_end, high_end = curve.at(at)
            rows.append((k, f"by {at:g} bench hours", low_end <= true <= high_end, estimate - true, estimate - true))
    return pd.DataFrame(rows, columns=["shop", "where", "inside", "low_less_truth", "high_less_truth"])


def summary(frame: pd.DataFrame) -> pd.DataFrame:
    """Coverage with its Monte Carlo error, and the mean surplus over the truth in points."""
    by = frame.groupby("where", sort=False)
    out = by.agg(shops=("inside", "size"), coverage=("inside", "mean"))
    out["error"] = np.sqrt(out["coverage"] * (1 - out["coverage"]) / out["shops"])
    for end in ("low", "high"):
        out[f"{end}_bias"] = 100 * by[f"{end}_less_truth"].mean()
        out[f"{end}_bias_error"] = 100 * by[f"{end}_less_truth"].std() / np.sqrt(out["shops"])
    return out


def findings(table: pd.DataFrame) -> list[Finding]:
    """Coverage as stated everywhere; the low view is the truth here, and without the records the high one is not."""
    out = []
    for where, row in table.iterrows():
        n = int(row["shops"])
        out.append(Finding(f"coverage of the 95 % interval, {where}", row["coverage"], row["error"], n, 0.93, 0.97))
        out.append(unbiased(f"low view less the truth in points, {where}", row["low_bias"], row["low_bias_error"], n))
        if "missing" in str(where) and "test 1" not in str(where):
            error = row["high_bias_error"]
            claim = "above 0 by five Monte Carlo errors: the page must show both views"
            what = f"high view less the truth in points, {where}"
            out.append(Finding(what, row["high_bias"], error, n, 5 * error, None, claim))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=1000)
    add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        table = summary(study(args.shops))
        print(table.round(3).to_string())
        return findings(table)

    report(__file__, args.write, run)


if __name__ == "__main__":
    main()
