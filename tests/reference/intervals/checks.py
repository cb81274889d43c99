"""Intervals of a proportion and the Poisson-binomial, against published tables and R."""

from __future__ import annotations

import numpy as np

from analysis.models import poisson_binomial
from analysis.models.intervals import proportion_interval
from tests.reference.check import Check, Source

SEEN, MEMORY, SOFTWARE = "published value seen", "published value from memory", "reference software only"
HAND = "worked by hand"


def _binomial(s: Source) -> None:
    """Equal chances must give R's binomial, in a small and in a large number of jobs; tails as shares of R's."""
    e = s.expected["tails"]
    sizes = list(zip(e["n"], e["chance"], e["at"], strict=True))
    masses = [poisson_binomial.pmf(np.full(n, chance)) for n, chance, _ in sizes]
    where = "R pbinom, 31 of 215 at 7.4 % and 3,400 of 10,000 at 30 %"
    for name, tail in (("at_least", poisson_binomial.at_least), ("at_most", poisson_binomial.at_most)):
        got = [tail(mass, at) for mass, (_, _, at) in zip(masses, sizes, strict=True)]
        share = np.divide(got, e[name])
        s.add(where, SOFTWARE, f"{name.replace('_', ' ')}, as a share of R's", [1.0, 1.0], share, 9)
    want = (e["central_low"], e["central_high"])
    got = poisson_binomial.central_range(masses[1], 0.95)
    s.add("R qbinom, 10,000 at 30 %", SOFTWARE, "range that holds 95 %", want, got, 12)


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
    mass = poisson_binomial.pmf(p["p"])
    k = np.arange(len(mass))
    where = "R, all 256 outcomes enumerated"
    s.add(where, SOFTWARE, "at most 0, 1, … 8", p["cdf"], poisson_binomial.cdf(mass), 12)
    s.add(where, HAND, "mean, the sum of the chances", p["mean"], mass @ k, 12)
    s.add(where, HAND, "variance, the sum of p (1 - p)", p["variance"], mass @ (k - mass @ k) ** 2, 12)
    _binomial(s)
    return s.checks
