"""Is a bad donor lot signalled, is it ranked first, and how often is a quiet shop alarmed?

``python -m tests.studies.watch --shops 200`` simulates each shop twice with the same random seed: with a lot that
divides the odds of success by eight in the half of the jobs it touches (received from the middle of January 2024 on),
and without it. The model of 2024 is estimated from about 300 first boots, by the same path as a review. Counted are
signals of 2024 only, for the lot from its first tested job on.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort, build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import BAD_LOT, Truth
from analysis.questions.process_measures import process_measures
from analysis.questions.recovery_watch import recovery_watch
from analysis.questions.watch import PRIMARY_RATE, SHARED_RATE, Chart, Watch, watch
from analysis.questions.watching import rate_chart
from analysis.questions.what_changed import period_of, what_changed
from analysis.records.log import Log
from analysis.report.review_changed import TRUE_ONE_AMONG_THREE, TRUE_ONE_FIRST
from analysis.report.review_closing import MEASURED_PRIMARY, MEASURED_SHARED
from tests.studies import record
from tests.studies.record import Finding, as_stated, share_error

YEAR, MONTH = pd.Timestamp(2024, 1, 1), pd.Period("2024-12")
YEAR_OF = YEAR.to_period("M")
WITHIN = 50
DRAWS = 4000
TRUTH = replace(Truth.sized(5, 12), bad_lot_received_from="2024-01-15", bad_lot_received_to="2024-12-31")


def shop_of(rng_seed: int, *, lot: bool) -> tuple[Log, Cohort]:
    """One shop that receives jobs from April 2022 to December 2024, with about 300 first boots before 2024."""
    options = Shop(jobs=610, last_day="2024-12-31", cut="2025-01-31", bad_lot=lot)
    log = Log.from_tables(simulate(options, rng_seed, TRUTH).tables)
    return log, build_cohort(log)


def of_the_year(chart: Chart) -> pd.DataFrame:
    """Jobs of 2024 on a chart."""
    return chart.points[chart.points["day"].ge(YEAR)].reset_index(drop=True)


def with_lot(rng_seed: int) -> dict[str, Any]:
    """Whether and when the lot is signalled, and where it ranks."""
    log, cohort = shop_of(rng_seed, lot=True)
    seen = watch(cohort, MONTH, log.settings.minimum_class_n, DRAWS)
    assert seen.primary is not None
    points = of_the_year(seen.primary)
    bad = set(cohort.first_boots.loc[cohort.first_boots["donor_lot"].eq(BAD_LOT), "job_id"])
    touched = points["job_id"].isin(bad).to_numpy()
    first = int(np.argmax(touched))
    signals = np.flatnonzero(points["signal"].to_numpy() & (np.arange(len(points)) >= first))
    out: dict[str, Any] = {
        **dict.fromkeys(("began_days_off", "first", "among_three", "verdict", "explained"), np.nan),
        "model_n": int(seen.frozen[-1].model.fit.n),
        "limit": seen.primary.limits[-1][1].value,
        "touched": float(touched[first : first + WITHIN].mean()),
        "waited": float(signals[0] - first + 1) if len(signals) else np.inf,
    }
    if len(signals):
        signal = next(s for s in seen.primary.signals if s.job_id == points["job_id"].iloc[signals[0]])
        began = points["day"].iloc[first]
        out["began_days_off"] = (signal.began - began).days
        found = what_changed(log, cohort, seen.model_on(signal.day), period_of(seen.primary, signal))
        codes = [each.code for each in found.listed]
        out |= {
            "first": bool(codes) and codes[0] == BAD_LOT,
            "among_three": BAD_LOT in codes[:3],
            "verdict": next((str(c.verdict) for c in found.candidates if c.code == BAD_LOT), "not compared"),
            "explained": found.explained,
        }
    return out


def _monthly_alarm(log: Log, cohort: Cohort, seen: Watch) -> bool:
    charts = process_measures(log, cohort, MONTH, seen.each_rate)
    measures = any(each.outside for chart in charts for each in chart.months)
    months = recovery_watch(cohort, MONTH, log.settings.month_complete_share, seen.each_rate)
    rate = rate_chart(cohort, MONTH, seen)
    plain = rate is not None and any(
        out for m, out in zip(rate.months, rate.chart.outside, strict=True) if m >= YEAR_OF
    )
    return measures or plain or any(each.outside for each in months if each.counted >= YEAR)


def without_lot(rng_seed: int) -> dict[str, Any]:
    """Whether the quiet year 2024 gives a false alarm, and whether one is then explained away."""
    log, cohort = shop_of(rng_seed, lot=False)
    seen = watch(cohort, MONTH, log.settings.minimum_class_n, DRAWS)
    assert seen.primary is not None
    points = of_the_year(seen.primary)
    _, limit = seen.primary.limits[-1]
    others = any(of_the_year(chart)["signal"].any() for chart in seen.others)
    out: dict[str, Any] = {
        "alarm": bool(points["signal"].iloc[: limit.jobs].any()),
        "others": others or _monthly_alarm(log, cohort, seen),
        "others_first_boot": others,
        "earlier": any(s.day < YEAR for s in seen.primary.signals),
        "explained": np.nan,
    }
    late = [s for s in seen.primary.signals if s.day >= YEAR]
    if late:
        found = what_changed(log, cohort, seen.model_on(late[0].day), period_of(seen.primary, late[0]))
        out["explained"] = found.explained
    return out


def study(shops: int, first_seed: int = 40_000) -> tuple[pd.DataFrame, pd.DataFrame]:
    """One row a shop: with the lot, and without it."""
    seeds = range(first_seed, first_seed + shops)
    return pd.DataFrame([with_lot(k) for k in seeds]), pd.DataFrame([without_lot(k) for k in seeds])


def share(values: pd.Series) -> str:
    """A share with its Monte Carlo error and n."""
    known = values.dropna().astype(float)
    if known.empty:
        return "no shop to tell from"
    rate = known.mean()
    return f"{rate:.3f} (Monte Carlo error {np.sqrt(rate * (1 - rate) / len(known)):.3f}, n = {len(known)})"


def report(lot: pd.DataFrame, quiet: pd.DataFrame) -> str:
    """The table, in words."""
    found = lot[lot["waited"].le(WITHIN)]
    waited = lot["waited"].quantile([0.25, 0.5, 0.75], interpolation="lower").tolist()
    return "\n".join(
        [
            f"Shops: {len(lot)}; model of 2024 from {lot['model_n'].mean():.0f} first boots on average;"
            f" mean limit {lot['limit'].mean():.2f}; lot in {lot['touched'].mean():.2f} of the first {WITHIN} jobs",
            f"Lot signalled within {WITHIN} tested jobs: {share(lot['waited'].le(WITHIN))}",
            f"Tested jobs until the signal, quartiles: {waited}",
            f"Ranked first, where signalled within {WITHIN}: {share(found['first'])}",
            f"Among the first three: {share(found['among_three'])}",
            f"Named leaning or clear: {share(found['verdict'].isin(['leaning', 'clear']))}",
            f"Beginning found, days off (median): {found['began_days_off'].median():+.0f}",
            f"False alarm of the primary chart in the quiet year, stated {PRIMARY_RATE:.2f}: {share(quiet['alarm'])}",
            f"  the same, shops without an earlier signal: {share(quiet.loc[~quiet['earlier'], 'alarm'])}",
            f"False alarm of any other chart, stated {SHARED_RATE:.2f} together: {share(quiet['others'])}",
            f"  of these by charts of first boots: {share(quiet['others_first_boot'])}",
            f"False alarm explained by something logged: {share(quiet['explained'])}",
        ]
    )


SIGNALLED = 0.80  # least share of bad lots that must be signalled within so many tested jobs


def findings(lot: pd.DataFrame, quiet: pd.DataFrame) -> list[Finding]:
    """The lot is signalled, ranked as the page says, and quiet shops keep the stated and the measured rates."""

    def of(values: pd.Series) -> tuple[float, float, int]:
        rate, n = float(values.mean()), len(values)
        return rate, share_error(rate, n), n

    seen = lot["waited"].le(WITHIN)
    least = SIGNALLED - 3 * share_error(SIGNALLED, len(lot))
    claim = f"at least {SIGNALLED:g}, less three Monte Carlo errors"
    out = [Finding(f"share of bad lots signalled within {WITHIN} tested jobs", *of(seen), least, None, claim)]
    told = (
        ("where signalled, share with the lot first on the list", lot.loc[seen, "first"], TRUE_ONE_FIRST),
        ("where signalled, share with it among the first three", lot.loc[seen, "among_three"], TRUE_ONE_AMONG_THREE),
        ("share of quiet years with an alarm of the primary chart", quiet["alarm"], MEASURED_PRIMARY),
        ("share of quiet years with an alarm of any other chart", quiet["others"], MEASURED_SHARED),
    )
    for what, values, stated in told:
        rate, _, n = of(values.astype(float))
        out.append(as_stated(what, rate, share_error(stated, n), n, stated))
    for what, values, stated in (
        ("the same, primary chart, against its stated budget", quiet["alarm"], PRIMARY_RATE),
        ("the same, all other charts, against their stated budget", quiet["others"], SHARED_RATE),
    ):
        rate, error, n = of(values.astype(float))
        claim = f"at most {stated:g}, plus three Monte Carlo errors"
        out.append(Finding(what, rate, error, n, None, stated + 3 * share_error(stated, n), claim))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=40_000)
    record.add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        lot, quiet = study(args.shops, args.first_seed)
        print(report(lot, quiet))
        return findings(lot, quiet)

    record.report(__file__, args.write, run)


if __name__ == "__main__":
    main()
