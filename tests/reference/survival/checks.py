"""Survival curves, log-rank tests, Cox regression and its proportionality table, against R."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.cox import CoxResult, fit_cox
from analysis.models.incidence import cumulative_incidence, survival
from analysis.models.log_rank import log_rank
from analysis.models.proportional_hazards import proportionality_table
from analysis.models.timed import Timed, timed
from tests.reference.check import Check, Source

SEEN, MEMORY, SOFTWARE = "published value seen", "published value from memory", "reference software only"


def _curves(s: Source, data: Timed, group: pd.Series, expected: dict, where: str, status: str) -> None:
    labels = np.array([name.split("=", 1)[1].strip() for name in expected["group"]])
    for label in dict.fromkeys(labels):
        mine = labels == label
        curve = survival(data.part(group.astype(str).eq(label).to_numpy()), minimum=1)
        at = np.searchsorted(curve.times, np.asarray(expected["time"])[mine], side="right") - 1
        reached = np.asarray(expected["surv"])[mine] > 0
        for name, got in (("surv", curve.estimate), ("se", curve.se), ("low", curve.low), ("high", curve.high)):
            keep = np.ones(len(at), bool) if name == "surv" else reached
            want = np.asarray([np.nan if v in ("NaN", "NA") else v for v in np.asarray(expected[name])[mine]], float)
            s.add(where, status, f"Kaplan–Meier {name}, {label}", want[keep], got[at][keep])


def _quartiles(s: Source, data: Timed, group: pd.Series, expected: dict, where: str) -> None:
    labels = [name.split("=", 1)[1] for name in expected["group"]]
    for name, level in (("q25", 0.75), ("q50", 0.5), ("q75", 0.25)):
        curves = [survival(data.part(group.astype(str).eq(label).to_numpy()), minimum=1) for label in labels]
        want, got = np.asarray([_number(v) for v in expected[name]]), np.asarray([c.reached(level) for c in curves])
        # R's default quantile takes the middle of a flat stretch; ours its beginning, the first time it is reached.
        s.add(where, SOFTWARE, f"reached or not, {name}", np.isfinite(want), np.isfinite(got))
        same = np.isfinite(want) & np.isfinite(got)
        s.add(where, SOFTWARE, f"time reached, {name}", want[same], got[same])


def _number(value: object) -> float:
    return float("nan") if value in ("NaN", "NA", None) else float(value)


def _test(s: Source, found: object, expected: dict, where: str, status: str, what: str) -> None:
    s.add(where, status, what, [expected["chisq"], expected["df"]], [found.statistic, found.df])


def _zph(
    s: Source,
    fit: CoxResult,
    x: np.ndarray,
    data: Timed,
    expected: dict,
    where: str,
    scale: str,
    status: str,
    strata: pd.Series | None = None,
) -> None:
    rows = proportionality_table(fit, x, data, scale=scale, strata=strata)
    s.add(where, status, f"proportionality, {scale} scale", expected["chisq"], [r.statistic for r in rows])


def _freireich(s: Source) -> None:
    d, e = s.data("freireich_6mp"), s.expected["freireich"]
    where = "Freireich 1963, Gehan 1965: 6-MP in leukaemia (42 rows)"
    data = timed(d["time"], d["cens"])
    _curves(s, data, d["treat"], e["km"], where, MEMORY)
    _quartiles(s, data, d["treat"], e["quartiles"], where)
    _test(s, log_rank(data, d["treat"]), e["logrank"], where, SEEN, "log-rank")
    _test(s, log_rank(data, d["treat"], d["pair"]), e["by_pair"], where, SOFTWARE, "log-rank by pair")
    x = d["treat"].eq("control").to_numpy(float)[:, None]
    for ties, status in (("efron", SEEN), ("breslow", MEMORY)):
        fit = fit_cox(x, data, ("control",), ties=ties)
        s.columns(fit, e[ties], ("coef", "se"), f"{where}, {ties}", status)
        s.add(
            where,
            status,
            f"log likelihoods and score, {ties}",
            [*e[ties]["loglik"], e[ties]["score"]],
            [fit.loglik_null, fit.loglik, fit.score_test],
        )
    _zph(s, fit_cox(x, data, ("control",)), x, data, e["zph"], where, "km", SOFTWARE)


def _aml(s: Source) -> None:
    d, e = s.data("aml"), s.expected["aml"]
    where = "Miller 1981: maintenance in leukaemia (23 rows)"
    data = timed(d["time"], d["status"])
    _curves(s, data, d["x"], e["km"], where, MEMORY)
    _quartiles(s, data, d["x"], e["quartiles"], where)
    _test(s, log_rank(data, d["x"]), e["logrank"], where, MEMORY, "log-rank")
    x = d["x"].eq("Nonmaintained").to_numpy(float)[:, None]
    fit = fit_cox(x, data, ("non",))
    s.columns(fit, e["efron"], ("coef", "se"), where, MEMORY)
    _zph(s, fit, x, data, e["zph"], where, "km", SOFTWARE)


def _veteran(s: Source) -> None:
    d, e = s.data("veteran"), s.expected["veteran"]
    where = "Kalbfleisch and Prentice: lung cancer (137 rows)"
    data = timed(d["time"], d["status"])
    _curves(s, data, d["trt"], e["km"], where, SOFTWARE)
    _test(s, log_rank(data, d["celltype"]), e["logrank"], where, MEMORY, "log-rank by cell type")
    cells = [d["celltype"].eq(cell) for cell in ("smallcell", "adeno", "large")]
    x = np.column_stack([d["trt"], *cells, d["karno"], d["diagtime"], d["age"], d["prior"]]).astype(float)
    fit = fit_cox(x, data, tuple(e["efron"]["term"]))
    s.columns(fit, e["efron"], ("coef", "se"), where, MEMORY)
    for scale, name in (("km", "zph"), ("identity", "zph_identity"), ("log", "zph_log"), ("rank", "zph_rank")):
        _zph(s, fit, x, data, e[name], where, scale, SOFTWARE)
    names = e["terms"]["term"][:-1]
    places = {"trt": (0,), "celltype": (1, 2, 3), "karno": (4,), "diagtime": (5,), "age": (6,), "prior": (7,)}
    rows = proportionality_table(fit, x, data, {name: places[name] for name in names})
    for name, got in (("chisq", [r.statistic for r in rows]), ("df", [r.df for r in rows]), ("p", [r.p for r in rows])):
        s.add(where, SOFTWARE, f"proportionality by term, {name}", e["terms"][name], got)
    two = d[["trt", "karno"]].to_numpy(float)
    fit = fit_cox(two, data, ("trt", "karno"), strata=d["celltype"])
    s.columns(fit, e["strata"], ("coef", "se"), f"{where}, stratified", SOFTWARE)
    late = timed(d["time"], d["status"], np.minimum(d["time"] / 2, 20))
    _zph(s, fit, two, data, e["zph_strata"], f"{where}, stratified", "km", SOFTWARE, strata=d["celltype"])
    s.columns(fit_cox(two, late, ("trt", "karno")), e["late_entry"], ("coef", "se"), f"{where}, late entry", SOFTWARE)
    _some_late(s, d, two, e, f"{where}, every other row late")


def _some_late(s: Source, d: pd.DataFrame, two: np.ndarray, e: dict, where: str) -> None:
    late = timed(d["time"], d["status"], np.where(np.arange(len(d)) % 2 == 1, np.minimum(d["time"] / 2, 20), 0))
    options = {"late_efron": {}, "late_breslow": {"ties": "breslow"}, "late_strata": {"strata": d["celltype"]}}
    for name, option in options.items():
        fit = fit_cox(two, late, ("trt", "karno"), **option)
        what = f"{where}, {name.removeprefix('late_')}"
        s.columns(fit, e[name], ("coef", "se"), what, SOFTWARE)
        s.add(what, SOFTWARE, "log likelihoods", e[name]["loglik"], [fit.loglik_null, fit.loglik])
    fit = fit_cox(two, late, ("trt", "karno"))
    _zph(s, fit, two, late, e["zph_late"], where, "km", SOFTWARE)
    _zph(s, fit, two, late, e["zph_late_identity"], where, "identity", SOFTWARE)
    _curves(s, late, d["trt"], e["late_km"], where, SOFTWARE)
    _test(s, log_rank(late, d["trt"]), e["late_logrank"], where, SOFTWARE, "log-rank (score test of the exact fit)")


def _rossi(s: Source) -> None:
    d, e = s.data("rossi"), s.expected["rossi"]
    where = "Rossi, Berk and Lenihan: recidivism (432 rows)"
    data = timed(d["week"], d["arrest"])
    x = d[e["efron"]["term"]].to_numpy(float)
    fit = fit_cox(x, data, tuple(e["efron"]["term"]))
    s.columns(fit, e["efron"], ("coef", "se"), where, MEMORY)
    s.add(where, MEMORY, "log likelihoods", e["efron"]["loglik"], [fit.loglik_null, fit.loglik])
    _zph(s, fit, x, data, e["zph"], where, "km", MEMORY)


def _capacitor(s: Source) -> None:
    d, e = s.data("capacitor"), s.expected["capacitor"]
    where = "Zelen 1959: life of capacitors under heat (64 real records)"
    data = timed(d["time"], d["status"])
    _curves(s, data, d["temperature"], e["km"], where, SOFTWARE)
    _test(s, log_rank(data, d["temperature"]), e["logrank"], where, SOFTWARE, "log-rank, 170 against 180 °C")
    x = np.column_stack([d["temperature"].eq(180), d["voltage"] / 100]).astype(float)
    fit = fit_cox(x, data, ("180 against 170 °C", "each 100 V"))
    s.columns(fit, e["cox"], ("coef", "se"), where, SOFTWARE)
    _zph(s, fit, x, data, e["zph"], where, "km", SOFTWARE)
    incidence = cumulative_incidence(data, minimum=1)
    s.add(
        where,
        SOFTWARE,
        "incidence without a competing end is one minus Kaplan–Meier",
        1 - survival(data, minimum=1).estimate,
        incidence.estimate,
        10,
    )


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("survival", "survival")
    for part in (_freireich, _aml, _veteran, _rossi, _capacitor):
        part(s)
    return s.checks
