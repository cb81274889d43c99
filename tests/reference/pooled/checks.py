"""The pooled posterior against an independent Monte Carlo sampler and against lme4."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.models.pooled import Chances, fit_pooled
from analysis.models.pooled_modes import modes, problem_of
from analysis.models.terms import Category
from analysis.questions.intake_columns import FAMILY_COLUMN, intake_terms
from tests.reference.check import Check, Source

SOFTWARE = "reference software only"
SURGICAL = "Surgical data of the BUGS examples, 12 hospitals"
SAMPLER = "elliptical slice sampling in R, 200,000 draws"


def _one_row_a_patient(s: Source) -> tuple[pd.DataFrame, np.ndarray]:
    data = s.data("surgical12")
    hospital = np.repeat(data["hospital"].to_numpy(object), data["n"])
    y = np.concatenate([np.arange(n) < r for n, r in zip(data["n"], data["r"], strict=True)])
    return pd.DataFrame({"hospital": hospital}), y.astype(float)


def _chances(s: Source, where: str, expected: dict[str, list[float]], found: Chances, ends: float) -> None:
    for name in ("mean", "low", "high"):
        what = {"mean": "mean chance", "low": "10 % of the chance", "high": "90 % of the chance"}[name]
        s.add(where, SOFTWARE, what, expected[name], asdict(found)[name], 2 if name == "mean" else ends)


def _surgical(s: Source) -> None:
    e = s.expected["surgical"]
    rows, y = _one_row_a_patient(s)
    fit = fit_pooled(rows, y, (Category("hospital", "hospital"),), "hospital")
    where = f"{SURGICAL}; {SAMPLER}"
    _chances(s, where, e["hospitals"], fit.chances(pd.DataFrame({"hospital": list("ABCDEFGHIJKL")})), 2)
    unseen = {name: [e["unseen"][name]] for name in ("mean", "low", "high")}
    _chances(s, f"{where}, a hospital not seen", unseen, fit.chances(pd.DataFrame({"hospital": ["Z"]})), 2)
    s.add(where, SOFTWARE, "mean SD of hospitals", e["tau"], fit.weight @ fit.tau, 2)
    s.add(where, SOFTWARE, "mean intercept", e["intercept"], fit.weight @ fit.location[:, 0], 2)


def _modes_given_the_sd(s: Source) -> None:
    """With the SD of lme4 and no prior on the intercept, the modes must be those of lme4."""
    e = s.expected["modes"]
    rows, y = _one_row_a_patient(s)
    x = np.column_stack([np.ones(len(y)), pd.get_dummies(rows["hospital"]).to_numpy(float)])
    precision = np.append(0.0, np.full(12, e["tau"] ** -2))[None, :]
    mode, _, _, settled = modes(problem_of(x, y, precision), np.zeros((1, 13)))
    assert settled
    where = f"{SURGICAL}; R lme4, nAGQ = 0"
    s.add(where, SOFTWARE, "modes of hospitals given the SD", e["modes"], mode[0, 1:], 6)
    s.add(where, SOFTWARE, "rate at the intercept", expit(e["intercept"]), expit(mode[0, 0]), 6)


def _intakes(s: Source) -> None:
    e = s.expected["intake"]
    jobs, asked = s.data("invented_jobs"), s.data("invented_intakes")
    fit = fit_pooled(jobs, jobs["first_boot"], intake_terms(), FAMILY_COLUMN)
    where = f"150 invented jobs, 12 intakes; {SAMPLER}"
    # Within 1.5 points at the ends: the sampler's own error is up to 0.5, the rest is what Laplace leaves at 150 jobs.
    _chances(s, where, e["intakes"], fit.chances(asked), 1.82)
    s.add(where, SOFTWARE, "mean SD of effects", e["sigma"], fit.weight @ fit.sigma, 1)
    s.add(where, SOFTWARE, "mean SD of families", e["tau"], fit.weight @ fit.tau, 1)


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("pooled", "pooled")
    _surgical(s)
    _modes_given_the_sd(s)
    _intakes(s)
    return s.checks
