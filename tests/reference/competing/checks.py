"""Cumulative incidence, Gray's test and cause-specific Cox regression, against R."""

from __future__ import annotations

import numpy as np

from analysis.models.cox import fit_cox
from analysis.models.gray import gray_test
from analysis.models.incidence import cumulative_incidence, survival
from analysis.models.log_rank import log_rank
from analysis.models.timed import Timed, timed
from tests.reference.check import Check, Source

SOFTWARE = "reference software only"


def _incidence(s: Source, data: Timed, expected: dict, where: str) -> None:
    for cause in (1, 2):
        curve = cumulative_incidence(data, minimum=1, cause=cause)
        at = np.searchsorted(curve.times, expected["time"], side="right") - 1
        s.add(where, SOFTWARE, f"cumulative incidence, end {cause}", expected[f"est{cause}"], curve.estimate[at], 9)
        s.add(where, SOFTWARE, f"its standard error (as survfit), end {cause}", expected[f"se{cause}"], curve.se[at])


def _number(values: list) -> np.ndarray:
    return np.array([np.nan if v in ("NA", "NaN", None) else float(v) for v in values])


def _tiny(s: Source) -> None:
    """Samples of 1 to 8 rows, where ties, time 0 and a last row alone are the rule."""
    where = "80 invented samples of 1 to 8 rows with ties"
    samples = dict(iter(s.data("tiny").groupby("sample")))
    data = {number: timed(part["time"], part["end"]) for number, part in samples.items()}
    _tiny_curves(s, data, {name: _number(values) for name, values in s.expected["tiny"]["curves"].items()}, where)
    e = s.expected["tiny"]["cox"]
    fits = [fit_cox(samples[k][["group", "z"]].to_numpy(float), data[k], ("group", "z")) for k in e["sample"]]
    s.add(where, SOFTWARE, "whether a Cox fit has a maximum", e["found"], [fit.converged for fit in fits])
    found = np.array(e["found"])
    for name, pick in (
        ("b1", lambda fit: fit.coefficients[0]),
        ("b2", lambda fit: fit.coefficients[1]),
        ("se1", lambda fit: fit.se[0]),
        ("se2", lambda fit: fit.se[1]),
        ("null", lambda fit: fit.loglik_null),
        ("loglik", lambda fit: fit.loglik),
    ):
        got = [pick(fit) for fit in np.array(fits, dtype=object)[found]]
        s.add(where, SOFTWARE, f"Cox with Efron's ties, {name}", _number(e[name])[found], got, 6)
    e = s.expected["tiny"]["tests"]
    gray = np.array([gray_test(data[k], samples[k]["group"]).statistic for k in e["sample"]])
    want = np.array(e["gray"])
    s.add(where, SOFTWARE, "Gray's test: whether there is anything to compare", want >= 0, ~np.isnan(gray))
    s.add(where, SOFTWARE, "Gray's test (cmprsk)", want[want >= 0], gray[want >= 0], 9)
    ranks = [log_rank(timed(data[k].time, data[k].event == 1), samples[k]["group"]).statistic for k in e["sample"]]
    s.add(where, SOFTWARE, "log-rank (0 where nothing is to be compared)", e["log_rank"], np.nan_to_num(ranks), 9)


def _tiny_curves(s: Source, data: dict[int, Timed], e: dict[str, np.ndarray], where: str) -> None:
    got: dict[str, list[float]] = {name: [] for name in e}
    for number in dict.fromkeys(e["sample"]):
        times = e["time"][e["sample"] == number]
        for cause in (1, 2):
            curve = cumulative_incidence(data[number], minimum=1, cause=cause)
            at = np.searchsorted(curve.times, times, side="right") - 1
            got[f"est{cause}"].extend(curve.estimate[at])
            got[f"se{cause}"].extend(curve.se[at])
        curve = survival(timed(data[number].time, data[number].event > 0), minimum=1)
        at = np.searchsorted(curve.times, times, side="right") - 1
        for name, values in (
            ("left", curve.estimate),
            ("left_se", curve.se),
            ("left_low", curve.low),
            ("left_high", curve.high),
        ):
            got[name].extend(values[at])
    for name in ("est1", "est2", "se1", "se2"):
        s.add(where, SOFTWARE, f"cumulative incidence, {name}", e[name], got[name], 9)
    s.add(where, SOFTWARE, "Kaplan–Meier", e["left"], got["left"], 9)
    # At 0 and 1 R gives no interval; ours is the exact limit.
    inside = (e["left"] > 0) & (e["left"] < 1)
    for name in ("left_se", "left_low", "left_high"):
        s.add(where, SOFTWARE, f"Kaplan–Meier, {name}", e[name][inside], np.array(got[name])[inside], 9)


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("competing ends", "competing")
    _tiny(s)
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
