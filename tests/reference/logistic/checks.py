"""Logistic regression, ordinary and penalised, and the spline basis, against R."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.design import fit_design
from analysis.models.firth import fit_firth
from analysis.models.logit import fit_logit
from analysis.models.spline import NaturalSpline
from analysis.models.terms import Category, Number
from tests.reference.check import Check, Source, intercept

SEEN, MEMORY, SOFTWARE = "published value seen", "published value from memory", "reference software only"


def _dummies(frame: pd.DataFrame, column: str, levels: list) -> list:
    return [frame[column].astype(str).eq(level) for level in levels]


def _penalised(s: Source) -> None:
    d = s.data("endometrial")
    x = intercept([d["NV"], d["PI"], d["EH"]])
    fit = fit_firth(x, d["HG"].to_numpy(float), ("i", "NV", "PI", "EH"))
    where = "Heinze and Schemper 2002, endometrial cancer (79 rows)"
    s.columns(fit, s.expected["endometrial"], ("coef", "se", "low", "high", "p", "loglik"), where, SEEN)
    d = s.data("firth_2x2")
    fit = fit_firth(intercept([d["hot"]]), d["ok"].to_numpy(float), ("i", "hot"))
    where = "two-by-two table 12/12 against 5/9"
    s.columns(fit, s.expected["two_by_two"], ("coef", "se", "low", "high", "p", "loglik"), where, SOFTWARE)
    haldane = np.log((12.5 / 0.5) / (5.5 / 4.5))
    s.add("Haldane's half added to each cell, by hand", SEEN, "log odds ratio", haldane, fit.coefficients[1], 9)


def _orings(s: Source) -> None:
    d = s.data("orings")
    where = "Dalal, Fowlkes and Hoadley 1989, O-ring failures against temperature (23 flights)"
    x = intercept([d["Temperature"]])
    fit = fit_logit(x, (d["fail"] > 0).to_numpy(float), ("i", "temperature"))
    e = s.expected["orings"]
    s.columns(fit, e, ("coef", "se", "deviance"), where, MEMORY)
    at = intercept([e["at"]["temperature"]]) @ fit.coefficients
    s.add(where, MEMORY, "chance of failure at 31, 53, 65, 81 °F", e["at"]["p"], 1 / (1 + np.exp(-at)))
    d = s.data("spaceshuttle_vcd").dropna(subset=["nFailures"])
    trials = np.full(len(d), 6.0)
    x = intercept([d["Temperature"]])
    fit = fit_logit(x, d["nFailures"].to_numpy() / trials, ("i", "temperature"), weights=trials)
    e = s.expected["shuttle"]
    s.columns(fit, e, ("coef", "se", "deviance"), "the same flights, failures of six rings", MEMORY)
    s.add(where, MEMORY, "chance per ring at 31 °F", e["at31"], 1 / (1 + np.exp(-(fit.coefficients @ [1, 31]))))


def _soldering(s: Source) -> None:
    d = s.data("solder")
    columns = [
        *_dummies(d, "Opening", ["M", "S"]),
        *_dummies(d, "Solder", ["Thin"]),
        *_dummies(d, "Mask", ["A3", "A6", "B3", "B6"]),
        *_dummies(d, "Panel", ["2", "3"]),
    ]
    x, y = intercept(columns), d["any"].to_numpy(float)
    names = tuple(s.expected["solder"]["term"])
    where = "Comizzoli, Landwehr and Sinclair 1990, soldering experiment (900 real records)"
    s.columns(fit_logit(x, y, names), s.expected["solder"], ("coef", "se", "deviance"), where, SOFTWARE)
    fit = fit_firth(x, y, names, intervals=False)
    s.columns(fit, s.expected["solder_firth"], ("coef", "se"), f"{where}, penalised", SOFTWARE)


def _through_the_design(s: Source) -> None:
    """Real process data on the very path of the review: terms, frozen design, penalised fit, FLIC chances."""
    d = s.data("solder").astype({"Panel": str})
    terms = [
        Category("Opening", "Opening", reference="L"),
        Category("Solder", "Solder", reference="Thick"),
        Category("Mask", "Mask", reference="A1.5"),
        Category("Panel", "Panel", reference="1"),
    ]
    y = d["any"].to_numpy(float)
    design = fit_design(d, terms, y)
    x = design.matrix(d)
    fit = fit_firth(x, y, design.names, intervals=False)
    ours = {
        name.replace(": ", "").replace("Panel", "factor(Panel)"): b
        for name, b in zip(fit.names, fit.coefficients, strict=True)
    }
    e = s.expected["solder_firth"]
    got = [ours["(intercept)" if term == "(Intercept)" else term] for term in e["term"]]
    s.add("soldering experiment, through the design of the review", SOFTWARE, "penalised coefficients", e["coef"], got)
    s.add(
        "soldering experiment, by its definition",
        SOFTWARE,
        "mean FLIC chance is the share of boards with a skip",
        y.mean(),
        fit.chance(x).mean(),
        10,
    )
    d = s.data("orings")
    y = (d["fail"] > 0).to_numpy(float)
    design = fit_design(d, [Number("Temperature", "temperature", "°F")], y, budget=1)
    fit = fit_firth(design.matrix(d), y, design.names)
    e = s.expected["orings_firth"]
    where = "O-ring failures against temperature, through the design of the review"
    for name in ("coef", "se", "low", "high", "p"):
        attribute = "coefficients" if name == "coef" else name
        s.add(where, SOFTWARE, f"slope, {name}", e[name][1], getattr(fit, attribute)[1])


def _others(s: Source) -> None:
    d = s.data("birthwt")
    columns = [d["age"], d["lwt"], *_dummies(d, "race", ["black", "other"]), d["smoke"], d["ptl"], d["ht"], d["ui"]]
    e = s.expected["birthwt"]
    fit = fit_logit(intercept(columns), d["low"].to_numpy(float), tuple(e["term"]))
    s.columns(fit, e, ("coef", "se", "deviance"), "Hosmer and Lemeshow, low birth weight (189 rows)", MEMORY)
    d = s.data("menarche")
    share = (d["Menarche"] / d["Total"]).to_numpy(float)
    e = s.expected["menarche"]
    where = "Venables and Ripley, menarche (25 age groups)"
    fit = fit_logit(intercept([d["Age"]]), share, ("i", "age"), weights=d["Total"])
    s.columns(fit, e, ("coef", "se", "deviance"), where, MEMORY)
    s.add(where, MEMORY, "age at which half have", e["ed50"], -fit.coefficients[0] / fit.coefficients[1])
    d = s.data("spector")
    e = s.expected["spector"]
    fit = fit_logit(intercept([d["GPA"], d["TUCE"], d["PSI"]]), d["GRADE"].to_numpy(float), tuple(e["term"]))
    s.columns(fit, e, ("coef", "se", "deviance"), "Greene, Spector and Mazzeo (32 rows)", MEMORY)


def _splines(s: Source) -> None:
    e = s.expected["spline"]
    low, high = e["bounds"]
    spline = NaturalSpline((low, *e["knots"], high))
    theirs = np.asarray(e["ns"])
    ours = np.column_stack([np.ones(len(e["x"])), spline.basis(e["x"])])
    back = ours @ np.linalg.lstsq(ours, theirs, rcond=None)[0]
    s.add("R splines::ns, knots 225/245/260, bounds 210/280", SOFTWARE, "basis spanned, tails too", theirs, back, 10)
    d = s.data("orings")
    e = s.expected["spline_orings"]
    spline = NaturalSpline((53.0, 70.0, 81.0))
    fit = fit_logit(intercept([spline.basis(d["Temperature"])]), (d["fail"] > 0).to_numpy(float), ("i", "1", "2"))
    eta = intercept([spline.basis(e["x"])]) @ fit.coefficients
    s.add("O-rings on a natural spline, R glm with ns", SOFTWARE, "log odds over temperature", e["eta"], eta)
    s.add("O-rings on a natural spline, R glm with ns", SOFTWARE, "deviance", e["deviance"], fit.deviance)
    d = s.data("kyphosis")
    e = s.expected["spline_kyphosis"]
    spline = NaturalSpline((e["bounds"][0], *e["knots"], e["bounds"][1]))
    x = intercept([spline.basis(d["Age"]), d["Number"], d["Start"]])
    fit = fit_logit(x, d["y"].to_numpy(float), tuple("iabcns"))
    at = intercept([spline.basis(e["x"]), np.full(5, 4.0), np.full(5, 12.0)]) @ fit.coefficients
    s.add("kyphosis (81 rows), R glm with ns(Age, 3)", SOFTWARE, "log odds over age", e["eta"], at)


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("logistic regression", "logistic")
    for part in (_penalised, _orings, _soldering, _through_the_design, _others, _splines):
        part(s)
    return s.checks
