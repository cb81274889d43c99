"""Cumulative incidence, Gray's test and cause-specific Cox regression, against R."""

from __future__ import annotations

import numpy as np

from analysis.models.cox import fit_cox
from analysis.models.gray import gray_test
from analysis.models.incidence import cumulative_incidence
from analysis.models.timed import Timed, timed
from tests.reference.check import Check, Source

SOFTWARE = "reference software only"


def _incidence(s: Source, data: Timed, expected: dict, where: str) -> None:
    for cause in (1, 2):
        curve = cumulative_incidence(data, minimum=1, cause=cause)
        at = np.searchsorted(curve.times, expected["time"], side="right") - 1
        s.add(where, SOFTWARE, f"cumulative incidence, end {cause}", expected[f"est{cause}"], curve.estimate[at], 9)
        s.add(where, SOFTWARE, f"its standard error (as survfit), end {cause}", expected[f"se{cause}"], curve.se[at])


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("competing ends", "competing")
    d, e = s.data("bmt_scrucca"), s.expected["bmt"]
    where = "Scrucca, Santucci and Aversa 2007: bone-marrow transplants (35 rows, ties, time 0)"
    data = timed(d["ftime"], d["status"])
    for group in (0, 1):
        _incidence(s, data.part(d["dis"].eq(group).to_numpy()), e[f"group{group}"], f"{where}, group {group}")
    got = [gray_test(data, d["dis"], cause).statistic for cause in (1, 2)]
    s.add(where, SOFTWARE, "Gray's test, both ends (cmprsk)", e["gray"]["stat"], got, 9)
    last = s.expected["last"]
    _incidence(s, timed(last["t"], last["end"]), last, "six rows by hand, the last three end at once")
    d, e = s.data("melanoma"), s.expected["melanoma"]
    where = "Andersen, Borgan, Gill and Keiding 1993: melanoma (205 rows)"
    data = timed(d["time"], d["status"].map({1: 1, 2: 0, 3: 2}))
    _incidence(s, data, e["all"], where)
    for ulcer in (0, 1):
        _incidence(s, data.part(d["ulcer"].eq(ulcer).to_numpy()), e[f"ulcer{ulcer}"], f"{where}, ulcer {ulcer}")
    for cause in (1, 2):
        curve = cumulative_incidence(data, minimum=1, cause=cause)
        at = np.searchsorted(curve.times, e["cmprsk"]["time"], side="right") - 1
        s.add(
            where,
            SOFTWARE,
            f"cumulative incidence (cmprsk), end {cause}",
            e["cmprsk"][f"est{cause}"],
            curve.estimate[at],
            9,
        )
    found = [gray_test(data, d["ulcer"], cause) for cause in (1, 2)]
    s.add(
        where, SOFTWARE, "Gray's test by ulcer, both ends (cmprsk)", e["gray"]["stat"], [t.statistic for t in found], 9
    )
    s.add(where, SOFTWARE, "its P", e["gray"]["p"], [t.p for t in found], 9)
    third = np.digitize(d["thickness"], [1.0, 3.0], right=True)
    tests = [gray_test(data, third, cause) for cause in (1, 2)]
    s.add(
        where, SOFTWARE, "Gray's test by three groups of thickness", e["gray3"]["stat"], [t.statistic for t in tests], 9
    )
    s.add(where, SOFTWARE, "its degrees of freedom", e["gray3"]["df"], [t.df for t in tests], 9)
    fit = fit_cox(d[e["cox"]["term"]].to_numpy(float), data, tuple(e["cox"]["term"]))
    s.columns(fit, e["cox"], ("coef", "se"), f"{where}, cause-specific Cox", SOFTWARE)
    s.add(where, SOFTWARE, "log likelihoods", e["cox"]["loglik"], [fit.loglik_null, fit.loglik])
    return s.checks
