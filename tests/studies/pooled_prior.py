"""Is the pooled engine calibrated where its own assumptions hold? Truths drawn from its prior.

``python -m tests.studies.pooled_prior --shops 200`` draws for each shop an SD of the effects, an SD of the families and
all effects from the model's prior (the intercept from half its SD, so that most shops have both outcomes), simulates
150 jobs, fits, and compares the chances of new intakes (a fifth of them of a family never seen) with the true ones. The
slope must be 1 and the 80 % interval must hold 80 %: a miss in another study is then no fault of the engine but of a
truth unlike the prior. Shops with under ten of the rarer outcome get no model and are left out.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.models.design import too_few
from analysis.models.pooled import INTERCEPT_SD, SIGMA_SCALE, TAU_SCALE, fit_pooled
from analysis.models.scores import recalibration
from analysis.models.terms import Category, Number
from tests.studies.record import Finding, add_write, report

TERMS = (
    Category("damage", "damage"),
    Category("rework", "rework"),
    Category("underfill", "underfill"),
    Number("age", "age"),
    Category("family", "family"),
)
LEVELS = {"damage": 5, "rework": 2, "underfill": 3}
FAMILIES, JOBS, ASKED = 8, 150, 40


@dataclass(frozen=True)
class Shop:
    """New intakes of one shop: true chances, and what the model says."""

    truth: np.ndarray
    mean: np.ndarray
    low: np.ndarray
    high: np.ndarray


def _facts(n: int, families: int, rng: np.random.Generator) -> pd.DataFrame:
    facts = {name: rng.choice(np.array([f"{name}{k}" for k in range(m)], object), n) for name, m in LEVELS.items()}
    family = np.array([f"F{k}" for k in range(families)], object)
    return pd.DataFrame(facts | {"age": rng.integers(1, 12, n).astype(float), "family": rng.choice(family, n)})


def one_shop(rng_seed: int) -> Shop | None:
    """Draw a truth, simulate, fit and ask; None where there are too few of the rarer outcome."""
    rng = np.random.default_rng(rng_seed)
    sigma, tau = abs(rng.normal(0, SIGMA_SCALE)), abs(rng.normal(0, TAU_SCALE))
    effects = {f"{name}{k}": rng.normal(0, sigma) for name, m in LEVELS.items() for k in range(m)}
    effects |= {f"F{k}": rng.normal(0, tau) for k in range(FAMILIES + 2)}
    intercept, slope = rng.normal(0, INTERCEPT_SD / 2), rng.normal(0, sigma)
    jobs, asked = _facts(JOBS, FAMILIES, rng), _facts(ASKED, FAMILIES + 2, rng)
    steps = 2 * jobs["age"].std(ddof=0)

    def chance(facts: pd.DataFrame) -> np.ndarray:
        eta = intercept + slope * (facts["age"] - jobs["age"].median()) / steps
        return np.asarray(expit(eta + sum(facts[name].map(effects) for name in (*LEVELS, "family"))))

    y = (rng.random(JOBS) < chance(jobs)).astype(float)
    if too_few(y):
        return None
    fit = fit_pooled(jobs, y, TERMS, "family")
    asked = asked[fit.design.seen(asked)]
    found = fit.chances(asked)
    return Shop(chance(asked), found.mean, found.low, found.high)


def study(shops: int, first_seed: int = 100) -> dict[str, float]:
    """Slope over all shops and coverage, with Monte Carlo errors over shops."""
    found = [shop for k in range(shops) if (shop := one_shop(first_seed + k)) is not None]
    covered = np.array([np.mean((s.low <= s.truth) & (s.truth <= s.high)) for s in found])

    def slope(kept: list[Shop]) -> float:
        told, truth = (np.concatenate([getattr(s, name) for s in kept]) for name in ("mean", "truth"))
        return float(recalibration(told, truth)[0][1])

    m = len(found)
    without = np.array([slope(found[:k] + found[k + 1 :]) for k in range(m)])
    return {
        "shops": m,
        "slope": slope(found),
        "slope: error": float(np.sqrt((m - 1) / m * ((without - without.mean()) ** 2).sum())),
        "covered": float(covered.mean()),
        "covered: error": float(covered.std(ddof=1) / np.sqrt(m)),
    }


def findings(found: dict[str, float]) -> list[Finding]:
    """Slope and coverage as they must be, within three Monte Carlo errors."""
    out = []
    for name, what, true in (
        ("slope", "calibration slope over all shops", 1.0),
        ("covered", "coverage of the 80 % interval", 0.8),
    ):
        error = found[f"{name}: error"]
        claim = f"{true:g} within three Monte Carlo errors"
        out.append(Finding(what, found[name], error, int(found["shops"]), true - 3 * error, true + 3 * error, claim))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shops", type=int, default=200)
    add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        found = study(args.shops)
        for name, value in found.items():
            print(f"{name:16}{value:8.3f}")
        return findings(found)

    report(__file__, args.write, run)


if __name__ == "__main__":
    main()
