"""Does the range of the expected number hold? Months of shops without a bad lot or a change of any kind.

``python -m tests.studies.expected --shops 200`` takes the last complete month of each simulated shop and counts how
often the number of first boots lies in the 95 % range, and how often each verdict word is said without a reason.
"""

from __future__ import annotations

import argparse
import dataclasses

import numpy as np
import pandas as pd

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.questions.expected import MonthExpected, trailing_expected
from analysis.questions.watch import watch
from analysis.records.log import Log
from analysis.report.watch_expected import QUIET_CLEAR, QUIET_LEANING
from tests.studies.record import Finding, add_write, as_stated, report, unbiased

MONTH = pd.Period("2024-09")
DRAWS = 4000


def months(rng_seed: int) -> tuple[MonthExpected, ...]:
    """The last six months of one quiet shop."""
    tables = simulate(dataclasses.replace(Shop(), bad_lot=False), rng_seed).tables
    log = Log.from_tables(tables)
    cohort = build_cohort(log)
    charts = watch(cohort, MONTH, log.settings.minimum_class_n, DRAWS)
    return trailing_expected(cohort, MONTH, charts.model_on, months=6)


def study(shops: int, first_seed: int = 5000) -> pd.DataFrame:
    """One row a month: whether the range held, and the verdict."""
    rows = [
        {
            "shop": k,
            "n": each.n,
            "inside": each.low <= each.observed <= each.high,
            "surplus": each.observed - each.expected,
            "verdict": str(each.verdict),
        }
        for k in range(shops)
        for each in months(first_seed + k)
    ]
    return pd.DataFrame(rows)


def findings(frame: pd.DataFrame) -> list[Finding]:
    """The range holds, the expected number has no bias, and the words are said as often as the page states."""
    by_shop = frame.groupby("shop").agg(inside=("inside", "mean"), surplus=("surplus", "mean"))
    shops = len(by_shop)

    def error(values: pd.Series) -> float:
        return float(values.std() / np.sqrt(shops))

    inside = error(by_shop["inside"])
    claim = "not under 0.95 by more than three Monte Carlo errors; counts are whole jobs, so that it may be up to 0.99"
    what = "share of quiet months inside the 95 % range of the expected number"
    out = [Finding(what, float(by_shop["inside"].mean()), inside, shops, 0.95 - 3 * inside, 0.99, claim)]
    surplus = by_shop["surplus"]
    out.append(unbiased("first boots seen less expected, a month", float(surplus.mean()), error(surplus), shops))
    for word, stated in (("clear", QUIET_CLEAR), ("leaning", QUIET_LEANING)):
        called = frame["verdict"].eq(word).groupby(frame["shop"]).mean()
        said = f"share of quiet months called '{word}' without a reason"
        out.append(as_stated(said, float(called.mean()), error(called), shops, stated))
    return out


def _printed(frame: pd.DataFrame) -> None:
    by_shop = frame.groupby("shop")["inside"].mean()
    error = by_shop.std() / np.sqrt(len(by_shop))
    print(f"{len(frame)} quiet months of {len(by_shop)} shops, {frame['n'].mean():.1f} jobs a month")
    print(f"Inside the 95 % range: {frame['inside'].mean():.3f} (Monte Carlo error {error:.3f})")
    bias = frame.groupby("shop")["surplus"].mean()
    print(f"Seen less expected a month: {bias.mean():+.3f} (Monte Carlo error {bias.std() / np.sqrt(len(bias)):.3f})")
    print(frame["verdict"].value_counts(normalize=True).round(3).to_string())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=200)
    add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        frame = study(args.shops)
        _printed(frame)
        return findings(frame)

    report(__file__, args.write, run)


if __name__ == "__main__":
    main()
