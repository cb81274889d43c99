"""Intervals of a proportion and the Poisson-binomial, against published tables and R."""

from __future__ import annotations

import numpy as np

from analysis.models import poisson_binomial
from analysis.models.intervals import proportion_interval
from tests.reference.check import Check, Source

SEEN, MEMORY, SOFTWARE = "published value seen", "published value from memory", "reference software only"


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("intervals", "intervals")
    e = s.expected
    for method in ("wilson", "exact", "jeffreys"):
        low, high = proportion_interval(e["x"], e["n"], method=method)
        s.add("R stats, eleven cases with small n and edges", SOFTWARE, f"{method}, low", e[method]["low"], low, 9)
        s.add("R stats, eleven cases with small n and edges", SOFTWARE, f"{method}, high", e[method]["high"], high, 9)
    # Newcombe, Statistics in Medicine 17 (1998) 857–872, Table I: 81/263, 15/148, 0/20, 1/29 to four decimals.
    published = {
        "wilson": ((0.2553, 0.3662), (0.0624, 0.1605), (0.0, 0.1611), (0.0061, 0.1718)),
        "exact": ((0.2527, 0.3676), (0.0578, 0.1617), (0.0, 0.1684), (0.0009, 0.1776)),
    }
    for method, want in published.items():
        got = np.column_stack(proportion_interval([81, 15, 0, 1], [263, 148, 20, 29], method=method))
        status = SEEN if method == "wilson" else MEMORY
        s.add("Newcombe 1998, Table I", status, f"{method}, as printed", want, np.round(got, 4), 8)
    p = e["poisson_binomial"]
    s.add(
        "R, all 256 outcomes enumerated",
        SOFTWARE,
        "Poisson-binomial of 8 chances",
        p["pmf"],
        poisson_binomial.pmf(p["p"]),
        12,
    )
    return s.checks
