"""Charts over time and Holm's correction, against a handbook, a published table, R and a Markov chain in R."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import logit

from analysis.models.control_chart import p_chart
from analysis.models.cusum import Uncertain, highest_points, scores, walk
from analysis.questions.description import holm
from tests.reference.check import Check, Source

SEEN, MEMORY, SOFTWARE = "published value seen", "published value from memory", "reference software only"
HANDBOOK = "NIST/SEMATECH e-Handbook 6.3.3.2, 30 wafers of 50 chips"
STEINER = "Steiner et al. 2000, p. 446"
RNG_SEED = 20


def _p_charts(s: Source) -> None:
    wafers = s.data("nist_pchart")
    for name, without in (("nist", []), ("revised", s.expected["nist"]["out"])):
        rows, e = wafers[~wafers["wafer"].isin(without)], s.expected[name]
        chart = p_chart(rows["defective"], rows["n"])
        where = HANDBOOK if name == "nist" else f"{HANDBOOK}, without wafers 15 and 23"
        s.add(where, SEEN if name == "nist" else SOFTWARE, "centre", e["centre"], chart.centre, 12)
        limits = (chart.sigma_low[0], chart.sigma_high[0])
        s.add(where, MEMORY, "textbook limits", (e["lower"], e["upper"]), limits, 12)
        s.add(where, MEMORY, "wafers out", e["out"], rows["wafer"][chart.sigma_outside], 12)
        exact = (chart.low[0], chart.high[0])
        s.add(f"R qbinom, {where}", SOFTWARE, "exact limits", (e["exact_low"], e["exact_high"]), exact, 12)


def _weights(s: Source) -> None:
    e = s.expected["weights"]
    doubled = scores(e["p"], e["y"], 2.0)
    printed = (-0.024, 0.67, -0.43, 0.26)
    s.add(STEINER, SEEN, "weights, as printed", printed, [float(f"{w:.2g}") for w in doubled], 8)
    s.add(f"{STEINER}, formula in R", SOFTWARE, "weights, odds doubled", e["doubled"], doubled, 12)
    s.add(f"{STEINER}, formula in R", SOFTWARE, "weights, odds halved", e["halved"], scores(e["p"], e["y"], 0.5), 12)


def run_length(chances: Any, share: Any, limit: float, factor: float, change: float, jobs: int) -> float:
    """Mean number of jobs from one signal to the next along one long row of jobs."""
    rng = np.random.default_rng(RNG_SEED)
    p = rng.choice(np.asarray(chances), jobs, p=share)
    y = rng.random(jobs) < change * p / (1 - p + change * p)
    _, signals = walk(scores(p, y, factor), limit)
    return (signals[-1] + 1) / len(signals)


def _run_lengths(s: Source) -> None:
    for name, mix in s.expected["run_length"].items():
        where = "Markov chain in R, " + ("three risks of a surgical mix" if name == "mix" else "chances of a bench")
        given = (mix["p"], mix["share"], mix["limit"], mix["factor"])
        for text, change, jobs, want in zip(
            ("no change", "the change looked for"),
            (1.0, mix["factor"]),
            (1_500_000, 150_000),
            mix["length"],
            strict=True,
        ):
            got = run_length(*given, change, jobs)
            s.add(where, SOFTWARE, f"run length, {text}, as a share, within 10 %", 1.0, got / want, 1)
    ours, e = s.expected["run_length"]["ours"], s.expected["within"]
    x = np.repeat(logit(ours["p"]), np.round(20 * np.asarray(ours["share"])).astype(int))[:, None]
    model = Uncertain(x, np.array([1.0]), np.zeros((1, 1)))
    share = np.mean(highest_points(model, ours["factor"], e["jobs"], RNG_SEED, 20_000) >= ours["limit"])
    where = "Markov chain in R, chances of a bench"
    s.add(
        where, SOFTWARE, f"chance of a signal in {e['jobs']} jobs, as a share, within 10 %", 1.0, share / e["chance"], 1
    )


def _holm(s: Source) -> None:
    from statsmodels.stats.multitest import multipletests  # slow to import

    e = s.expected["holm"]
    got = holm(np.array(e["p"]))
    s.add("R p.adjust", SOFTWARE, "Holm, eight P values with a tie", e["adjusted"], got, 12)
    s.add("statsmodels multipletests", SOFTWARE, "Holm, the same", multipletests(e["p"], method="holm")[1], got, 12)


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("watching", "watching")
    _p_charts(s)
    _weights(s)
    _run_lengths(s)
    _holm(s)
    return s.checks
