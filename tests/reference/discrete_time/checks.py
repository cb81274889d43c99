"""Discrete time: life table, logit, complementary log-log, beta-geometric, against R."""

from __future__ import annotations

import numpy as np

from analysis.models.attempts import life_table
from analysis.models.beta_geometric import fit_beta_geometric
from analysis.models.logit import fit_logit
from tests.reference.check import Check, Source, intercept

SEEN, SOFTWARE = "published value seen", "reference software only"
WHERE = "Weinberg and Gladen 1986: cycles to pregnancy (586 women; table recalled, totals as published)"


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("discrete time", "discrete_time")
    d, e = s.data("weinberg_gladen_1986"), s.expected
    events = np.concatenate([d["smokers"][:12], d["nonsmokers"][:12]]).astype(float)
    hazards, risk, by_then = [], [], []
    for column in ("smokers", "nonsmokers"):
        first, beyond = d[column][:12].to_numpy(), int(d[column].iloc[12])
        ends = np.concatenate([np.repeat(np.arange(1, 13), first), np.full(beyond, 13)])
        cycle = np.concatenate([np.arange(1, min(end, 12) + 1) for end in ends])
        won = np.concatenate([np.arange(1, min(end, 12) + 1) == end for end in ends]).astype(float)
        then = np.where(won == 1, "success", np.where(cycle == 12, "open", "continued"))
        table = life_table(cycle, won, then, last=12)
        hazards += [row.chance.rate for row in table]
        risk += [row.tried for row in table]
        by_then += [row.within_continued[0] for row in table]
        fit = fit_beta_geometric(first, beyond)
        want = [e[column][name] for name in ("alpha", "beta", "mean", "loglik")]
        # The likelihood is flat: R's own optimiser and ours agree to six digits in the parameters.
        s.add(WHERE, SOFTWARE, f"beta-geometric, {column}", want, [fit.alpha, fit.beta, fit.mean, fit.loglik], 6)
    s.add(WHERE, SEEN, "at risk by cycle", e["table"]["atrisk"], risk)
    s.add(WHERE, SOFTWARE, "hazard by cycle", e["table"]["hazard"], hazards)
    s.add(WHERE, SOFTWARE, "share with a success by each cycle", e["table"]["by_then"], by_then)
    risk_array = np.asarray(risk, float)
    smoker = np.repeat([1.0, 0.0], 12)
    cycle = np.tile(np.arange(1, 13), 2)
    steps = [cycle == k for k in range(2, 13)]
    for name, columns, link in (
        ("logit", [*steps, smoker], "logit"),
        ("cloglog", [*steps, smoker], "cloglog"),
        ("linear", [cycle, smoker], "logit"),
    ):
        fit = fit_logit(intercept(columns), events / risk_array, tuple(e[name]["term"]), weights=risk_array, link=link)
        s.columns(fit, e[name], ("coef", "se", "deviance"), f"{WHERE}, {name}", SOFTWARE)
    return s.checks
