"""Standardisation, overlap weights, Rubin's rules, E-value, count models and stratified tables against R."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.damage_counts import fit_counts
from analysis.models.e_value import e_value
from analysis.models.overlap_weights import Arms, averaged, compare, effective_n, models_of, propensity
from analysis.models.rubin import pool
from analysis.models.strata_difference import strata_difference
from tests.reference.check import Check, Source, intercept

SEEN, MEMORY, SOFTWARE = "published value seen", "published value from memory", "reference software only"
BIRTHWT = "Hosmer and Lemeshow, birth weight (189 rows); R glm, formulas by hand in R"


def _birthwt() -> Arms:
    d = Source("", "logistic").data("birthwt")
    race = [d["race"].eq(name) for name in ("other", "white")]
    x = intercept([d["age"], d["lwt"], *race, d["ptl"], d["ht"], d["ui"]])
    return Arms(d["low"].to_numpy(float), d["smoke"].to_numpy(float), x, np.inf)


def _standardised(s: Source) -> None:
    arms, e = _birthwt(), s.expected["birthwt"]
    models = models_of(arms)
    once = np.ones((1, len(arms.y)))
    found = compare(arms, models, once, overlap=False)
    got = (found.with_it[0], found.without[0], found.difference[0], found.with_it[0] / found.without[0])
    s.add(BIRTHWT, SOFTWARE, "both risks, difference and ratio", [e[k] for k in ("risk1", "risk0", "RD", "RR")], got, 6)
    o = s.expected["overlap"]
    s.add(BIRTHWT, SOFTWARE, "augmented difference, all rows", o["robust_all"], found.robust, 6)
    found = compare(arms, models, once)
    got = (found.with_it[0], found.without[0], found.difference[0], found.robust[0])
    s.add(
        BIRTHWT,
        SOFTWARE,
        "the same in the overlap population",
        [o[k] for k in ("risk1", "risk0", "RD", "robust")],
        got,
        6,
    )
    chance = propensity(arms, models)
    h = np.where(arms.arm == 1, 1 - chance, chance)
    sizes = [effective_n(h[arms.arm == a]) for a in (1, 0)]
    s.add(BIRTHWT, SOFTWARE, "effective numbers", [o["effective1"], o["effective0"]], sizes, 6)


def _nhefs_columns(d: pd.DataFrame) -> list[pd.Series]:
    squares = [d[name] ** 2 for name in ("age", "smokeintensity", "smokeyrs", "wt71")]
    plain = [d[name] for name in ("sex", "race", "age", "smokeintensity", "smokeyrs", "wt71")]
    levels = [
        d[name].eq(level) for name in ("education", "exercise", "active") for level in sorted(d[name].unique())[1:]
    ]
    return [*plain, *squares, *levels]


def _nhefs_weight(s: Source) -> None:
    """The worked example has a weight as outcome: its linear fit is numpy's, the averaging ours."""
    d = s.data("nhefs").dropna(subset=["wt82_71"])
    arm = d["qsmk"].to_numpy(float)
    x = intercept([*_nhefs_columns(d), arm, arm * d["smokeintensity"]])
    beta = np.linalg.lstsq(x, d["wt82_71"].to_numpy(float), rcond=None)[0]
    told = []
    for value in (0.0, 1.0):
        moved = x.copy()
        moved[:, -2], moved[:, -1] = value, value * d["smokeintensity"]
        told.append(averaged(np.ones((1, len(d))), (moved @ beta)[None])[0])
    e = s.expected["nhefs_weight"]
    where = "Hernán and Robins, What If, chapter 13: weight gained after giving up smoking, 3.5 kg (NHEFS, 1,566 rows)"
    expected = [e["EY0"], e["EY1"], e["EY1"] - e["EY0"]]
    s.add(where, MEMORY, "both means and their difference", expected, [*told, told[1] - told[0]], 8)


def _nhefs(s: Source) -> None:
    where = "NHEFS, death (1,629 rows); R glm"
    d = s.data("nhefs")
    columns = intercept([(c - c.mean()) / c.std() for c in map(pd.Series.astype, _nhefs_columns(d), [float] * 40)])
    arms = Arms(d["death"].to_numpy(float), d["qsmk"].to_numpy(float), columns, np.inf)
    found = compare(arms, models_of(arms), np.ones((1, len(d))), overlap=False)
    e = s.expected["nhefs_death"]
    got = (found.with_it[0], found.without[0], found.difference[0], found.with_it[0] / found.without[0])
    s.add(
        where, SOFTWARE, "death: both risks, difference, ratio", [e[k] for k in ("risk1", "risk0", "RD", "RR")], got, 6
    )


def _rubin(s: Source) -> None:
    e = s.expected["rubin"]
    where = "Barnard and Rubin 1999, saved imputations of nhanes (25 rows); R mice"
    for j, term in enumerate(e["term"]):
        found = pool([row[j] for row in e["each"]], [row[j] for row in e["variance"]], e["dfcom"])
        got = (found.estimate, found.se**2, found.df, found.missing)
        s.add(
            where, SOFTWARE, f"{term}: estimate, T, df, fmi", [e[k][j] for k in ("estimate", "t", "df", "fmi")], got, 9
        )


def _e_values(s: Source) -> None:
    e = s.expected["evalue"]
    found = [e_value(*values) for values in zip(e["rr"], e["lo"], e["hi"], strict=True)]
    where = "VanderWeele and Ding 2017: 10.73 (8.02), 3.9 (1.8), 0.80 (0.91)"
    # The first was seen in a stored source; the others are known from memory.
    s.add(where, SEEN, "E-value of 10.73", e["estimate"][0], found[0].estimate, 9)
    s.add(where, MEMORY, "E-values", e["estimate"], [f.estimate for f in found], 9)
    s.add(where, MEMORY, "E-values of the interval", e["interval"], [f.interval for f in found], 9)


def _counts(s: Source) -> None:
    e = s.expected["quine"]
    d = s.data("quine")
    parts = [d["Eth"].eq("N"), d["Sex"].eq("M"), *(d["Age"].eq(a) for a in ("F1", "F2", "F3")), d["Lrn"].eq("SL")]
    y = d["Days"].to_numpy(float)
    found = fit_counts(intercept(parts), y, tuple(e["term"]), np.arange(len(d)))
    where = "Aitkin 1978, days absent from school (146 rows); R MASS glm.nb"
    assert found.kind == "negative binomial"
    s.add(where, SOFTWARE, "coefficients", e["nb"], found.coefficients, 5)
    s.add(where, SOFTWARE, "theta", e["theta"], 1 / found.alpha, 4)
    s.add(where, SOFTWARE, "log likelihood", e["loglik_nb"], found.loglik, 8)
    s.add(where, SOFTWARE, "log likelihood of Poisson", e["loglik_poisson"], found.loglik_poisson, 8)
    s.add(where, SOFTWARE, "dispersion of Poisson", e["pearson"], found.dispersion, 8)


def _strata(s: Source) -> None:
    e = s.expected["strata"]
    y, arm, stratum = [], [], []
    for k, (a, n1, c, n2) in enumerate(zip(e["ai"], e["n1"], e["ci"], e["n2"], strict=True)):
        y += [1] * a + [0] * (n1 - a) + [1] * c + [0] * (n2 - c)
        arm += [1] * n1 + [0] * n2
        stratum += [k] * (n1 + n2)
    found = strata_difference(np.array(y, float), np.array(arm, float), np.array(stratum))
    where = "four invented tables; R metafor rma.mh (Sato, Greenland and Robins 1989)"
    s.add(
        where, SOFTWARE, "pooled difference and its error", [e["difference"], e["se"]], [found.difference, found.se], 9
    )


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("techniques", "techniques")
    _standardised(s)
    _nhefs_weight(s)
    _nhefs(s)
    _rubin(s)
    _e_values(s)
    _counts(s)
    _strata(s)
    return s.checks
