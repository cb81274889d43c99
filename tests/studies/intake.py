"""Is the chance given to an intake calibrated, is its interval honest, and does following it pay?

``python -m tests.studies.intake --shops 200`` simulates shops, fits the pooled model to the first 150, 300 and 500 jobs
with a first-boot result (intake facts only), and asks it about new intakes of all comers. The answer is compared with
the chance that someone who knew the planted truth would give from the same recorded facts (``intake_oracle``).

Printed for each size, with Monte Carlo errors over shops:

- the calibration slope (true chances regressed on the log odds of the predicted): over all shops together with one
  intercept, where each shop's luck with its plain rate makes the predictions of shops differ too and so flattens the
  slope; within shops (one slope, each shop its own intercept); and the middle and the mean of the shops' own slopes;
- how often the 80 % interval holds the true chance;
- the log score lost a thousand jobs against the true chances (the smaller the better) by the model, the pooled rate of
  the damage class, plain shares of the classes (one job of the plain rate added) and the plain rate;
- at each break-even chance t, (model - best default) / (oracle - best default) of the expected utility: accepting an
  intake of chance p is worth p - t, declining 0; the best default is the better of accepting all and declining all,
  as the truth has it. What the oracle gains over it stands beside it: where that is next to nothing, so is the share.
  An intake that the model refuses is treated as the best default treats it.

The planted truth is one and the same for all shops, with weaker effects than the prior expects; ``pooled_prior`` is the
study where the model's own assumptions hold. ``--shop alike`` has technicians that do not differ, ``--shift`` moves the
planted intercept (log odds). ``--trust`` follows the rule for trusting the model: where its rolling log-score gain over
the damage-class rate is not convincing, the class rate takes its place (slower: every month is predicted from those
before; slope, coverage and width then mix both).
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import logit

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop, plain_shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import Truth
from analysis.models.class_rates import fit_class_rates
from analysis.models.pooled import fit_pooled, pooled_fitter
from analysis.models.rolling import log_score_gain, roll
from analysis.models.scores import recalibration
from analysis.questions.intake_columns import FAMILY_COLUMN, intake_terms
from analysis.records.log import Log
from tests.studies.intake_oracle import Intakes, new_intakes
from tests.studies.record import Finding, add_write, report

SIZES = (150, 300, 500)
BREAK_EVEN = (0.3, 0.4, 0.5, 0.6)
LOST = "score lost, "
NEW_INTAKES, COPIES, ORACLE_SEED = 1500, 400, 77
SHOPS = {"demo": Shop(), "alike": replace(Shop(), technician_effects=False), "plain": plain_shop()}


@dataclass(frozen=True)
class Answer:
    """What one shop's model says of the new intakes, NaN where it refuses, and what its simpler rivals say."""

    jobs: int
    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray
    rivals: dict[str, np.ndarray]


def rivals_of(used: pd.DataFrame, damage: pd.Series) -> dict[str, np.ndarray]:
    """Chances by the pooled rate of the damage class, by plain shares of the classes, and by the plain rate."""
    rates = fit_class_rates(used["intake_damage"], used["first_boot"])
    codes = damage.astype(object).astype(str)
    won, n = (codes.map(counts).fillna(0).to_numpy(float) for counts in (rates.won, rates.n))
    return {
        "pooled class rate": rates.means(damage).to_numpy(),
        "plain class share": (won + rates.plain) / (n + 1),
        "plain rate": np.full(len(damage), rates.plain),
    }


def first_boots(shop: Shop, truth: Truth, rng_seed: int) -> pd.DataFrame:
    """At least as many jobs with a first-boot result as the largest size needs, in the order they came in."""
    simulated = simulate(replace(shop, jobs=round(max(SIZES) * 1.6)), rng_seed, truth)
    rows = build_cohort(Log.from_tables(simulated.tables)).first_boots
    assert len(rows) >= max(SIZES)
    # A shop that takes this many jobs at once does not exist; any stretch of them is as good as another.
    return rows.sample(frac=1, random_state=rng_seed).reset_index(drop=True)


def trusted(used: pd.DataFrame) -> bool:
    """Whether the rule for trusting the model holds in this shop."""
    rolled = roll(used, pooled_fitter(intake_terms(), FAMILY_COLUMN))
    return log_score_gain(rolled, rng_seed=1).convincing


def answers(rows: pd.DataFrame, intakes: Intakes, trust: bool = False) -> list[Answer]:
    """The models of one shop at each size; with ``trust`` the class rate where the model is not trusted."""
    out = []
    for jobs in SIZES:
        used = rows.head(jobs)
        fit = fit_pooled(used, used["first_boot"], intake_terms(), FAMILY_COLUMN)
        seen = fit.design.seen(intakes.recorded)
        chances = fit.chances(intakes.recorded[seen])
        mean, low, high = (np.full(len(seen), np.nan) for _ in range(3))
        mean[seen], low[seen], high[seen] = chances.mean, chances.low, chances.high
        rivals = rivals_of(used, intakes.recorded["intake_damage"])
        if trust and not trusted(used):
            mean = np.where(seen, rivals["pooled class rate"], np.nan)
        out.append(Answer(jobs, mean, low, high, rivals))
    return out


def score_lost(truth: np.ndarray, told: np.ndarray) -> np.ndarray:
    """Expected log score of the true chances less that of the chances told (the Kullback-Leibler divergence)."""
    return truth * np.log(truth / told) + (1 - truth) * np.log((1 - truth) / (1 - told))


def judged(answer: Answer, truth: np.ndarray) -> dict[str, float]:
    """One shop's measures at one size."""
    seen = ~np.isnan(answer.mean)
    coefficients, _, _ = recalibration(answer.mean[seen], truth[seen])
    out = {
        "jobs": answer.jobs,
        "refused": 1 - seen.mean(),
        "slope": coefficients[1],
        "covered": np.mean((answer.low[seen] <= truth[seen]) & (truth[seen] <= answer.high[seen])),
        "width": np.mean(answer.high[seen] - answer.low[seen]),
        "off": np.sqrt(np.mean((answer.mean[seen] - truth[seen]) ** 2)),
    }
    for name, chances in {"model": answer.mean, **answer.rivals}.items():
        out[f"{LOST}{name}"] = 1000 * float(np.mean(score_lost(truth[seen], chances[seen])))
    for t in BREAK_EVEN:
        take_all = bool(truth.mean() > t)
        accepts = np.where(seen, answer.mean >= t, take_all)
        out[f"gain {t}"] = np.mean(accepts * (truth - t)) - max(truth.mean() - t, 0.0)
    return out


def pooled_slope(parts: list[Answer], truth: np.ndarray) -> tuple[float, float]:
    """Calibration slope over all shops together, with its error by leaving out one shop at a time."""
    log_odds = [logit(a.mean[~np.isnan(a.mean)]) for a in parts]
    real = [truth[~np.isnan(a.mean)] for a in parts]

    def slope(keep: list[int]) -> float:
        x = np.concatenate([log_odds[i] for i in keep])
        return float(recalibration(1 / (1 + np.exp(-x)), np.concatenate([real[i] for i in keep]))[0][1])

    return jackknifed(slope, len(parts))


def slope_within(parts: list[Answer], truth: np.ndarray) -> float:
    """One slope for all shops around each shop's own intercept, by least squares of true on predicted log odds."""
    shared = spread = 0.0
    for part in parts:
        seen = ~np.isnan(part.mean)
        predicted = logit(part.mean[seen])
        predicted -= predicted.mean()
        shared += float(predicted @ logit(truth[seen]))
        spread += float(predicted @ predicted)
    return shared / spread


def jackknifed(statistic: Callable[[list[int]], float], shops: int) -> tuple[float, float]:
    """A statistic of all shops, given by their places, and its error by leaving out blocks of shops."""
    everyone = list(range(shops))
    blocks = np.array_split(np.array(everyone), min(20, shops))
    left_out = np.array([statistic(sorted(set(everyone) - set(block.tolist()))) for block in blocks])
    m = len(blocks)
    return statistic(everyone), float(np.sqrt((m - 1) / m * ((left_out - left_out.mean()) ** 2).sum()))


def study(
    shops: int,
    shop: Shop = SHOPS["demo"],
    shift: float = 0.0,
    first_seed: int = 9000,
    intakes_n: int = NEW_INTAKES,
    trust: bool = False,
) -> pd.DataFrame:
    """One row a size: slope, coverage and shares of the oracle's gain, each with its Monte Carlo error."""
    base = Truth.sized(shop.technicians, shop.families)
    truth = replace(base, intercept=base.intercept + shift)
    intakes = new_intakes(shop, truth, intakes_n, COPIES, ORACLE_SEED)
    found = [answers(first_boots(shop, truth, first_seed + k), intakes, trust) for k in range(shops)]
    real = intakes.chance
    rows = []
    for at, jobs in enumerate(SIZES):
        parts = [each[at] for each in found]
        frame = pd.DataFrame([judged(part, real) for part in parts])
        row: dict[str, float] = {"jobs": jobs}
        row["slope, all shops"], row["slope, all shops: error"] = pooled_slope(parts, real)
        row["slope, within shops"], row["slope, within shops: error"] = jackknifed(
            lambda keep, parts=parts: slope_within([parts[at] for at in keep], real), shops
        )
        row["slope, middle shop"] = frame["slope"].median()
        lost = [name for name in frame.columns if name.startswith(LOST)]
        for name in ("slope", "covered", "width", "off", "refused", *lost):
            row[name], row[f"{name}: error"] = frame[name].mean(), frame[name].std() / np.sqrt(shops)
        for t in BREAK_EVEN:
            most = float(np.mean(np.maximum(real - t, 0)) - max(real.mean() - t, 0.0))
            row[f"oracle gains at {t}"] = most
            row[f"share at {t}"] = frame[f"gain {t}"].mean() / most if most > 0 else float("nan")
            row[f"share at {t}: error"] = frame[f"gain {t}"].std() / np.sqrt(shops) / most if most > 0 else float("nan")
        rows.append(row)
    return pd.DataFrame(rows)


def told(table: pd.DataFrame) -> str:
    """The table as text: a measure a line, a size a column, errors in brackets."""
    lines = ["measure".ljust(24) + "".join(f"{int(jobs):>10} jobs  " for jobs in table["jobs"])]
    for name in table.columns:
        if name == "jobs" or name.endswith(": error"):
            continue
        errors = table.get(f"{name}: error")
        cells = [
            f"{value:9.4f}" + (f" ({errors[i]:.3f})" if errors is not None else " " * 8)
            for i, value in enumerate(table[name])
        ]
        lines.append(name.ljust(24) + "".join(cells))
    return "\n".join(lines)


WORTH = 0.4  # least share of the oracle's gain at the largest size, where declining is a live question
ASKED = ("alike", -0.6)  # the shop and shift that the claim is about


def findings(table: pd.DataFrame, shops: int, asked: bool) -> list[Finding]:
    """Worth is claimed where there is something to gain; slope and coverage, of a truth unlike the prior, are shown."""
    out = []
    for _, row in table.iterrows():
        jobs, last = int(row["jobs"]), row["jobs"] == max(SIZES)
        slope, covered = "slope, all shops", "covered"
        what = f"calibration slope over all shops, {jobs} jobs"
        out.append(Finding(what, row[slope], row[f"{slope}: error"], shops))
        what = f"coverage of the 80 % interval, {jobs} jobs"
        out.append(Finding(what, row[covered], row[f"{covered}: error"], shops))
        for t in BREAK_EVEN[1:]:
            what = f"share of the gain of one who knows the truth, break-even {t:.0%}, {jobs} jobs"
            low = WORTH if asked and last else None
            out.append(Finding(what, row[f"share at {t}"], row[f"share at {t}: error"], shops, low))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shops", type=int, default=200)
    parser.add_argument("--shop", choices=list(SHOPS), default="demo")
    parser.add_argument("--shift", type=float, default=0.0, help="moves the planted intercept, in log odds")
    parser.add_argument("--trust", action="store_true", help="the class rate where the model is not trusted")
    add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        table = study(args.shops, SHOPS[args.shop], args.shift, trust=args.trust)
        print(f"{args.shops} shops of the kind '{args.shop}', intercept moved by {args.shift:g}; errors in brackets")
        print(told(table))
        return findings(table, args.shops, (args.shop, args.shift) == ASKED and not args.trust)

    report(__file__, args.write, run)


if __name__ == "__main__":
    main()
