"""Scores of chances, net benefit and optimism, against R, rms, dcurves and the published formula."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.models.logit import fit_logit
from analysis.models.net_benefit import net_benefit
from analysis.models.optimism import MEASURES, optimism
from analysis.models.scores import auc, score
from tests.reference.check import Check, Source, intercept

SOFTWARE, PUBLISHED = "reference software only", "published formula, no published value"
COLUMNS = ("npreg", "glu", "bp", "skin", "bmi", "ped", "age")
PIMA = "Pima women (Smith et al. 1988; R MASS), fitted to 200 and judged on 332"


def _x(frame: pd.DataFrame) -> np.ndarray:
    return intercept([frame[name] for name in COLUMNS])


def _plain_logistic(frame: pd.DataFrame, y: np.ndarray):
    """Ordinary maximum likelihood by Newton's method, quick enough for a thousand draws."""
    x, beta = _x(frame), np.zeros(len(COLUMNS) + 1)
    for _ in range(25):
        p = expit(x @ beta)
        beta = beta + np.linalg.solve((x.T * (p * (1 - p))) @ x, x.T @ (y - p))
    return lambda rows: expit(_x(rows) @ beta)


def _calibration(s: Source) -> None:
    e = s.expected["calibration"]
    train, test = s.data("pima_tr"), s.data("pima_te")
    fit = fit_logit(_x(train), train["y"], ("intercept", *COLUMNS))
    p = expit(_x(test) @ fit.coefficients)
    s.add(PIMA, SOFTWARE, "chances of 332 women", e["p"], p)
    found = score(p, test["y"])
    s.add(PIMA + ", R", SOFTWARE, "Brier score", e["brier"], found.brier)
    s.add(PIMA + ", R", SOFTWARE, "log score", e["log_score"], found.log_score)
    # Each figure with its standard error.
    for name in ("intercept", "slope", "in_the_large", "auc"):
        got = getattr(found, name)
        s.add(PIMA + ", R", SOFTWARE, f"calibration: {name}", [e[name], e[f"{name}_se"]], [got.value, got.se])
    s.add(
        PIMA + ", pROC",
        SOFTWARE,
        "AUC interval, DeLong",
        [e["auc_low"], e["auc_high"]],
        [found.auc.low, found.auc.high],
    )
    tied = auc(np.round(p, 1), test["y"])
    s.add(PIMA + ", pROC", SOFTWARE, "AUC and error with ties", [e["tied_auc"], e["tied_se"]], [tied.value, tied.se])
    got = [found.brier, found.slope.value, found.intercept.value]
    s.add(PIMA + ", rms val.prob", SOFTWARE, "Brier, slope, intercept", e["val_prob"][:3], got)
    # rms counts chances closer than 0.001 as tied.
    s.add(PIMA + ", rms val.prob", SOFTWARE, "C index", e["val_prob"][3], found.auc.value, 3)


def _net_benefit(s: Source) -> None:
    e = s.expected["net_benefit"]
    library = json.loads((s.folder / "expected_dcurves.json").read_text(encoding="utf-8"))
    data, test = s.data("dcurves_binary"), s.data("pima_te")
    y = data["cancer"].astype(float)
    found = net_benefit(data["cancerpredmarker"], y, e["threshold"])
    formula = "Vickers and Elkin 2006, formula counted job by job in R"
    s.add(formula + ": dcurves example", PUBLISHED, "accept all", e["all"], found.accept_all, 12)
    s.add(formula + ": dcurves example", PUBLISHED, "by the marker", e["marker"], found.by_chance, 12)
    history = net_benefit(data["famhistory"], y, e["threshold"])
    s.add(formula + ": dcurves example", PUBLISHED, "by family history", e["family_history"], history.by_chance, 12)
    s.add("Python package dcurves, its example", SOFTWARE, "accept all", library["all"], found.accept_all, 12)
    marker = library["cancerpredmarker"]
    s.add("Python package dcurves, its example", SOFTWARE, "by the marker", marker, found.by_chance, 12)
    pima = net_benefit(s.expected["calibration"]["p"], test["y"], e["threshold"])
    s.add(formula + ": " + PIMA, PUBLISHED, "accept all", e["pima_all"], pima.accept_all, 12)
    s.add(formula + ": " + PIMA, PUBLISHED, "by chance", e["pima_model"], pima.by_chance, 12)


def _optimism(s: Source) -> None:
    e = s.expected["optimism"]
    train = s.data("pima_tr")
    y = train["y"].to_numpy(float)
    exact = optimism(train, y, _plain_logistic, rng_seed=0, draws=e["rows"])
    where = "Harrell, Lee and Mark 1996, by hand in R over 40 stored draws"
    s.add(where, SOFTWARE, ", ".join(MEASURES) + ": apparent", e["apparent"], exact.apparent)
    s.add(where, SOFTWARE, ", ".join(MEASURES) + ": optimism", e["optimism"], exact.optimism)
    many = optimism(train, y, _plain_logistic, rng_seed=5, draws=600)
    found = dict(zip(MEASURES, zip(many.optimism, many.corrected, strict=True), strict=True))
    # Monte Carlo errors of the slope's optimism: 0.006 here, 0.003 in rms.
    where = "rms validate, 2,000 draws of its own (stochastic)"
    for name, digits in (("brier", 3), ("slope", 2)):
        want = (e["rms"][name], e["rms"][f"{name}_corrected"])
        s.add(where, SOFTWARE, f"{name}: optimism and corrected", want, found[name], digits)
    s.add(where, SOFTWARE, "auc: optimism", e["rms"]["auc"], found["auc"][0], 3)


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("prediction", "prediction")
    _calibration(s)
    _net_benefit(s)
    _optimism(s)
    return s.checks
