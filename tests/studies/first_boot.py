"""Are the planted first-boot coefficients found again? Bias and coverage over many simulated shops.

``python -m tests.studies.first_boot --shops 200`` simulates plain shops (``analysis.demo.shop.plain_shop``: first boots
follow the planted logistic model and nothing else), runs them through the same path as a log (tables, one row a job,
design, penalised fit, profile intervals), and compares every coefficient with the truth.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import build_cohort
from analysis.demo.shop import plain_shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import Truth
from analysis.models.terms import FittedCategory, FittedCurve
from analysis.questions.description import Description, describe
from analysis.questions.terms import FAMILY, TEMPERATURE
from analysis.records.log import Log
from tests.studies.record import Finding, add_write, report, share_error, unbiased

LAST = pd.Period("2027-12")


@dataclass(frozen=True)
class Found:
    """One coefficient of one shop."""

    name: str
    truth: float
    estimate: float
    low: float
    high: float


def planted(truth: Truth) -> dict[str, float]:
    """Planted log odds ratios by the names the model gives its columns."""
    damage = {"liquid": "liquid", "bend_or_snap": "bend or snap", "power_fault": "power fault", "heat": "heat"}
    out = {f"damage at intake: {text}": truth.intake_damage[code] for code, text in damage.items()}
    out["damage at intake: none seen"] = truth.intake_damage["none_seen"]
    out |= {f"underfill: {level}": truth.underfill[level] for level in ("partial", "full")}
    out |= {f"pads lost: {band}": truth.pads_lost_band[band] for band in ("1 to 3", "4 or more")}
    return out | {
        "earlier rework: elsewhere": truth.prior_rework_elsewhere,
        "each year of device age": truth.device_age_years,
        "second damage: seen": truth.second_damage_seen,
        "device: tablet": truth.tablet,
        "each cleaning pass a side": truth.clean_passes_per_side,
        "each pad grade found worse": truth.pad_grade_found_worst,
        "preheat at install: used": truth.install_preheat,
        "each further reball try": truth.reball_tries_n,
        "blade: used": truth.blade_used,
        "ball alloy: SAC305": truth.ball_alloy_sac305,
        "ball reset: done": truth.ball_reset,
        "each year of donor age": truth.donor_age_years,
        "donor test: current only": truth.known_good["current_only"],
        "donor test: none": truth.known_good["untested"],
        "each earlier install on the donor": truth.prior_installs_n,
    }


def _temperature(model: Description, truth: Truth) -> list[Found]:
    """The curve between two settings and the best one, with a Wald interval."""
    term = next((t for t in model.design.terms if t.label == TEMPERATURE.label), None)
    if not isinstance(term, FittedCurve):
        return []
    columns = list(model.design.term_columns(term.label))
    out = []
    for setting in (310.0, 350.0):
        step = (term.at(np.array([setting])) - term.at(np.array([truth.best_install_c])))[0]
        value = float(step @ model.fit.coefficients[columns])
        spread = 1.959964 * float(np.sqrt(step @ model.fit.covariance[np.ix_(columns, columns)] @ step))
        real = -truth.temperature_loss_at_25 * ((setting - truth.best_install_c) / 25) ** 2
        out.append(Found(f"install {setting:.0f} against 330 °C", real, value, value - spread, value + spread))
    return out


def one_shop(rng_seed: int, jobs: int) -> list[Found]:
    """Simulate one shop and fit it."""
    simulated = simulate(plain_shop(jobs), rng_seed)
    model = describe(build_cohort(Log.from_tables(simulated.tables)), LAST)
    assert isinstance(model, Description)
    assert model.fit.converged
    truth = simulated.truth
    real = planted(truth)
    family = next((t for t in model.design.terms if t.label == FAMILY.label), None)
    if isinstance(family, FittedCategory):
        first = truth.board_family[family.reference]
        real |= {f"board family: {k}": v - first for k, v in truth.board_family.items()}
    found = [
        Found(name, real[name], model.fit.coefficients[i], model.fit.low[i], model.fit.high[i])
        for i, name in enumerate(model.design.names)
        if name in real
    ]
    return found + _temperature(model, truth)


def study(shops: int, jobs: int = 650, first_seed: int = 1000) -> pd.DataFrame:
    """Bias, its Monte Carlo error, and coverage of every coefficient.

    Coefficients of board families are told as one row, since their reference differs between shops.
    """
    rows = [vars(f) | {"shop": k} for k in range(shops) for f in one_shop(first_seed + k, jobs)]
    frame = pd.DataFrame(rows)
    frame["name"] = frame["name"].where(~frame["name"].str.startswith("board family"), "board families together")
    frame["error"] = frame["estimate"] - frame["truth"]
    frame["covered"] = frame["low"].le(frame["truth"]) & frame["high"].ge(frame["truth"])
    by_shop = frame.groupby(["name", "shop"], sort=False).agg(error=("error", "mean"), covered=("covered", "mean"))
    table = by_shop.groupby("name", sort=False).agg(
        shops=("error", "size"), bias=("error", "mean"), sd=("error", "std"), coverage=("covered", "mean")
    )
    table.insert(0, "truth", frame.groupby("name", sort=False)["truth"].mean())
    table["mc_error"] = table["sd"] / np.sqrt(table["shops"])
    table["bias_in_mc_errors"] = table["bias"] / table["mc_error"]
    return table


def findings(table: pd.DataFrame) -> list[Finding]:
    """Bias and coverage of every planted coefficient, and coverage of all together."""
    shops = int(table["shops"].max())
    overall = float(np.average(table["coverage"], weights=table["shops"]))
    # Coefficients of one shop go together, so that the error of one alone is the most that all together can have.
    most = share_error(overall, shops)
    out = [Finding("coverage of the 95 % intervals of all planted coefficients", overall, most, shops, 0.93, 0.97)]
    for name, row in table.iterrows():
        n = int(row["shops"])
        out.append(unbiased(f"log odds ratio less the planted: {name}", row["bias"], row["mc_error"], n))
        # Each coefficient alone wanders by chance: three Monte Carlo errors of a true 95 %.
        wander, covered = 3 * share_error(0.95, n), row["coverage"]
        claim, error = "0.95 within three Monte Carlo errors", share_error(covered, n)
        what = f"coverage of its 95 % interval: {name}"
        out.append(Finding(what, covered, error, n, 0.95 - wander, 0.95 + wander, claim))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shops", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=650)
    add_write(parser)
    args = parser.parse_args()

    def run() -> list[Finding]:
        table = study(args.shops, args.jobs)
        print(table.round(3).to_string())
        print(f"Largest bias in Monte Carlo errors: {table['bias_in_mc_errors'].abs().max():.2f}")
        print(f"Coverage over all coefficients: {np.average(table['coverage'], weights=table['shops']):.3f}")
        return findings(table)

    report(__file__, args.write, run)


if __name__ == "__main__":
    main()
