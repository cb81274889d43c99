"""Logistic regression, ordinary and penalised, and the spline basis, against R."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import logit

from analysis.models.design import fit_design
from analysis.models.effects import average_difference, chance_curve
from analysis.models.firth import FirthResult, fit_firth, term_test
from analysis.models.logit import LogitResult, fit_logit
from analysis.models.spline import NaturalSpline
from analysis.models.terms import Category, Curve, Number
from tests.reference.check import Check, Source, intercept

SEEN, MEMORY, SOFTWARE = "published value seen", "published value from memory", "reference software only"
HAND = "worked by hand"
# R's profile ends come from a root finder with a tolerance of 1e-11; everything else is closer. P values are small
# numbers compared as differences, so that they need more places for six digits of their own.
DIGITS = {"p": 11, "low": 9, "high": 9, "coef": 9, "se": 9, "se_augmented": 9, "loglik": 10, "deviance": 9}


def _dummies(frame: pd.DataFrame, column: str, levels: list) -> list:
    return [frame[column].astype(str).eq(level) for level in levels]


def _compare(s: Source, found: object, expected: dict, names: tuple[str, ...], source: str, status: str) -> None:
    """Each named attribute of a result, to the digits of its kind."""
    for name in names:
        attribute = "coefficients" if name == "coef" else name
        s.add(source, status, name, expected[name], getattr(found, attribute), DIGITS[name])


def _penalised(s: Source) -> None:
    d = s.data("endometrial")
    x = intercept([d["NV"], d["PI"], d["EH"]])
    fit = fit_firth(x, d["HG"].to_numpy(float), ("i", "NV", "PI", "EH"))
    where = "Heinze and Schemper 2002, endometrial cancer (79 rows)"
    _compare(s, fit, s.expected["endometrial"], ("coef", "se", "low", "high", "p", "loglik"), where, SEEN)
    _after(s, fit, x, d, where)
    d = s.data("firth_2x2")
    fit = fit_firth(intercept([d["hot"]]), d["ok"].to_numpy(float), ("i", "hot"))
    where = "two-by-two table 12/12 against 5/9"
    _compare(s, fit, s.expected["two_by_two"], ("coef", "se", "low", "high", "p", "loglik"), where, SOFTWARE)
    haldane = np.log((12.5 / 0.5) / (5.5 / 4.5))
    s.add("Haldane's half added to each cell", HAND, "log odds ratio", haldane, fit.coefficients[1], 9)


def _after(s: Source, fit: FirthResult, x: np.ndarray, d: pd.DataFrame, where: str) -> None:
    """What follows from the fit of the endometrial data, and the same data with a known offset."""
    e = s.expected["endometrial_after"]
    s.add(where, SOFTWARE, "se of the augmented data", e["se_augmented"], fit.se_augmented, 9)
    s.add(where, SOFTWARE, "intercept that keeps the observed rate", e["flic"], fit.flic_intercept, 9)
    test = term_test(x, d["HG"].to_numpy(float), (1, 3), "NV and EH")
    joint = e["joint"]
    s.add(where, SOFTWARE, "NV and EH together, chi-square", joint["statistic"], test.statistic, 9)
    s.add(where, SOFTWARE, "NV and EH together, P", joint["p"], test.p, 16)
    difference = average_difference(fit, x, 1, (1,))
    got = (difference.points, difference.low, difference.high)
    s.add(where, SOFTWARE, "average difference of NV, points", e["difference"], got, 9)
    e = s.expected["endometrial_offset"]
    x = intercept([d["NV"], d["EH"]])
    fit = fit_firth(x, d["HG"].to_numpy(float), ("i", "NV", "EH"), offset=-0.03 * d["PI"].to_numpy(float))
    _compare(s, fit, e, ("coef", "se"), "endometrial cancer, PI held by an offset", SOFTWARE)


def _orings(s: Source) -> None:
    d = s.data("orings")
    where = "Dalal, Fowlkes and Hoadley 1989, O-ring failures against temperature (23 flights)"
    x = intercept([d["Temperature"]])
    fit = fit_logit(x, (d["fail"] > 0).to_numpy(float), ("i", "temperature"))
    e = s.expected["orings"]
    _compare(s, fit, e, ("coef", "se", "deviance"), where, MEMORY)
    at = intercept([e["at"]["temperature"]]) @ fit.coefficients
    s.add(where, MEMORY, "chance of failure at 31, 53, 65, 81 °F", e["at"]["p"], 1 / (1 + np.exp(-at)))
    d = s.data("spaceshuttle_vcd").dropna(subset=["nFailures"])
    trials = np.full(len(d), 6.0)
    x = intercept([d["Temperature"]])
    fit = fit_logit(x, d["nFailures"].to_numpy() / trials, ("i", "temperature"), weights=trials)
    e = s.expected["shuttle"]
    _compare(s, fit, e, ("coef", "se", "deviance"), "the same flights, failures of six rings", MEMORY)
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
    _compare(s, fit_logit(x, y, names), s.expected["solder"], ("coef", "se", "deviance"), where, SOFTWARE)
    fit = fit_firth(x, y, names, intervals=False)
    _compare(s, fit, s.expected["solder_firth"], ("coef", "se"), f"{where}, penalised", SOFTWARE)


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
        HAND,
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
        s.add(where, SOFTWARE, f"slope, {name}", e[name][1], getattr(fit, attribute)[1], DIGITS[name])


def _others(s: Source) -> None:
    d = s.data("birthwt")
    columns = [d["age"], d["lwt"], *_dummies(d, "race", ["black", "other"]), d["smoke"], d["ptl"], d["ht"], d["ui"]]
    e = s.expected["birthwt"]
    fit = fit_logit(intercept(columns), d["low"].to_numpy(float), tuple(e["term"]))
    _compare(s, fit, e, ("coef", "se", "deviance"), "Hosmer and Lemeshow, low birth weight (189 rows)", MEMORY)
    e = s.expected["birthwt_firth"]
    fit = fit_firth(intercept(columns), d["low"].to_numpy(float), tuple(e["term"]))
    where = "low birth weight (189 rows), penalised"
    _compare(s, fit, e, ("coef", "se", "low", "high", "p", "loglik"), where, SOFTWARE)
    d = s.data("menarche")
    share = (d["Menarche"] / d["Total"]).to_numpy(float)
    e = s.expected["menarche"]
    where = "Venables and Ripley, menarche (25 age groups)"
    fit = fit_logit(intercept([d["Age"]]), share, ("i", "age"), weights=d["Total"])
    _compare(s, fit, e, ("coef", "se", "deviance"), where, MEMORY)
    s.add(where, MEMORY, "age at which half have", e["ed50"], -fit.coefficients[0] / fit.coefficients[1])
    dose, se = _doses(fit, np.asarray(e["doses"]["p"]))
    s.add(f"{where}, MASS dose.p", SOFTWARE, "age at which 10, 50, 90 % have", e["doses"]["dose"], dose, 9)
    s.add(f"{where}, MASS dose.p", SOFTWARE, "its standard error", e["doses"]["se"], se, 9)
    fit = fit_firth(intercept([d["Age"]]), share, ("i", "age"), weights=d["Total"].to_numpy(float), intervals=False)
    _compare(s, fit, s.expected["menarche_firth"], ("coef", "se"), f"{where}, penalised, grouped rows", SOFTWARE)
    d = s.data("spector")
    e = s.expected["spector"]
    fit = fit_logit(intercept([d["GPA"], d["TUCE"], d["PSI"]]), d["GRADE"].to_numpy(float), tuple(e["term"]))
    _compare(s, fit, e, ("coef", "se", "deviance"), "Greene, Spector and Mazzeo (32 rows)", MEMORY)


def _doses(fit: LogitResult, p: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Value at which a share ``p`` is reached, and its delta-method error, from the covariance of the fit."""
    a, b = fit.coefficients
    dose = (logit(p) - a) / b
    slope = -np.column_stack([np.ones_like(p), dose]) / b
    return dose, np.sqrt(np.einsum("ij,jk,ik->i", slope, fit.covariance, slope))


def _curve(s: Source) -> None:
    """A penalised curve on the path of the reports, against R's natural spline with its own parametrisation."""
    d, e = s.data("kyphosis"), s.expected["kyphosis_firth"]
    y = d["y"].to_numpy(float)
    design = fit_design(d, [Curve("Age", "age", "months"), Number("Number", "number"), Number("Start", "start")], y, 9)
    x = design.matrix(d)
    fit = fit_firth(x, y, design.names)
    where = "kyphosis (81 rows), penalised, curve of age, through the design of the review"
    columns, term, grid = design.term_columns("age"), design.terms[0], np.asarray(e["x"], dtype=float)
    at = design.term_columns("start")[0]
    for name in ("coef", "low", "high", "p"):
        attribute = "coefficients" if name == "coef" else name
        s.add(where, SOFTWARE, f"start, {name}", e["start"][name], getattr(fit, attribute)[at], DIGITS[name])
    s.add(where, SOFTWARE, "chances of the first ten rows", e["flic_chance"], fit.chance(x)[:10], 9)
    test = term_test(x, y, columns, "age")
    s.add(where, SOFTWARE, "age, chi-square of three columns", e["curve"]["statistic"], test.statistic, 9)
    s.add(where, SOFTWARE, "age, P", e["curve"]["p"], test.p, 9)
    curve = chance_curve(fit, x, columns, term, d["Age"].to_numpy(float), grid)
    for name in ("chance", "low", "high"):
        s.add(where, SOFTWARE, f"chance at an age, {name}", e["chance"][name], getattr(curve, name), 9)
    found = average_difference(fit, x, at)
    got = (found.points, found.low, found.high)
    s.add(where, SOFTWARE, "average difference of one start, points", e["difference"], got, 9)


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
    for part in (_penalised, _orings, _soldering, _through_the_design, _others, _splines, _curve):
        part(s)
    return s.checks
