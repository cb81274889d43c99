"""Random intercepts against lme4, their posterior against a Monte Carlo sampler, the funnel against binomial limits."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from scipy import optimize
from scipy.special import gammaln, logsumexp

from analysis.models import poisson_binomial
from analysis.models.grouped_rows import GroupedRows, grouped
from analysis.models.random_intercepts import (
    RandomIntercepts,
    conditional_modes,
    fit_random_intercepts,
    rank_intervals,
)
from tests.reference.check import Check, Source

SOFTWARE = "reference software only"
SURGICAL = "Surgical data of the BUGS examples, 12 hospitals"
SAMPLER = "random-walk Metropolis in R, 60,000 draws kept of 300,000"


def _surgical(data: pd.DataFrame) -> tuple[np.ndarray, pd.Series, pd.Series, pd.Series]:
    return np.ones((len(data), 1)), data["hospital"], data["r"], data["n"]


def _cbpp(data: pd.DataFrame) -> tuple[np.ndarray, pd.Series, pd.Series, pd.Series]:
    periods = [data["period"].eq(k) for k in (2, 3, 4)]
    return np.column_stack([np.ones(len(data)), *periods]), data["herd"], data["incidence"], data["size"]


def _bacteria(data: pd.DataFrame) -> tuple[np.ndarray, pd.Series, pd.Series, pd.Series]:
    x = np.column_stack([np.ones(len(data)), data["trt"].eq("drug"), data["trt"].eq("drug+"), data["late"]])
    return x, data["ID"], data["y"].eq("y").astype(int), pd.Series(1, index=data.index)


def _toenail(data: pd.DataFrame) -> tuple[np.ndarray, pd.Series, pd.Series, pd.Series]:
    x = np.column_stack([np.ones(len(data)), data["trt"], data["time"], data["trt"] * data["time"]])
    return x, data["patientID"], data["y"], pd.Series(1, index=data.index)


MODELS = {
    "surgical12": (_surgical, SURGICAL),
    "cbpp": (_cbpp, "contagious bovine pleuropneumonia, 15 herds (Lesnoff et al. 2004, from memory)"),
    "bacteria": (_bacteria, "bacteria of Venables and Ripley, 50 children (from memory)"),
    "toenail": (_toenail, "toenail infection, 294 patients (Lesaffre and Spiessens 2001, from memory)"),
}


class Mixed:
    """A data set, a row a trial, with the parts of its likelihood made by the suite."""

    def __init__(self, x: np.ndarray, group: pd.Series, wins: pd.Series, trials: pd.Series) -> None:
        n, r = trials.to_numpy(), wins.to_numpy()
        self.x = np.repeat(np.asarray(x, float), n, axis=0)
        self.y = np.concatenate([np.arange(k) < w for k, w in zip(n, r, strict=True)]).astype(float)
        self.group = np.repeat(group.astype(str).to_numpy(object), n)
        self.constant = float((gammaln(n + 1) - gammaln(r + 1) - gammaln(n - r + 1)).sum())

    def modes(self, beta: Any, sigma: float) -> tuple[GroupedRows, np.ndarray, float, np.ndarray]:
        """Rows, modes, Laplace's log likelihood and curvatures, with neither a prior of the SD nor of the mean."""
        rows, names = grouped(self.y, self.x @ np.atleast_1d(beta), self.group)
        precision = np.eye(len(names))[None] / sigma**2
        mode, log_mass, information, settled = conditional_modes(rows, precision)
        assert settled
        return rows, mode[0], float(log_mass[0]) + self.constant, np.diag(information[0])

    def quadrature(self, beta: Any, sigma: float, points: int = 25) -> float:
        """Log likelihood by Gauss–Hermite points around the suite's modes, spread by its curvatures."""
        rows, mode, _, curvature = self.modes(beta, sigma)
        nodes, weights = np.polynomial.hermite.hermgauss(points)
        parts = []
        for node, weight in zip(nodes, weights, strict=True):
            at = mode + np.sqrt(2 / curvature) * node
            eta = rows.offset + rows.member @ at
            own = rows.member.T @ (eta * rows.y - np.logaddexp(0, eta))
            prior = -0.5 * (at / sigma) ** 2 - np.log(sigma) - 0.5 * np.log(2 * np.pi)
            parts.append(own + prior + np.log(weight) + node**2)
        return float((logsumexp(parts, axis=0) + 0.5 * np.log(2 / curvature)).sum()) + self.constant

    def maximum(self, start: dict[str, Any], loglik: Any) -> np.ndarray:
        """Fixed effects and SD that maximise a log likelihood."""
        first = np.append(start["beta"], np.log(start["sigma"])) + 0.05
        found = optimize.minimize(lambda v: -loglik(v[:-1], float(np.exp(v[-1]))), first, method="BFGS", tol=1e-8)
        return np.append(found.x[:-1], np.exp(found.x[-1]))


def _fits(s: Source) -> None:
    for name, (parts, source) in MODELS.items():
        data, e = Mixed(*parts(s.data(name))), s.expected["fits"][name]
        for how, nagq in (("laplace", 1), ("quadrature", 25)):
            where, at = f"{source}; R lme4, nAGQ = {nagq}", e[how]
            _, mode, laplace, _ = data.modes(at["beta"], at["sigma"])
            s.add(where, SOFTWARE, "modes of groups given mean and SD", at["modes"], mode, 8)
            got = laplace if nagq == 1 else data.quadrature(at["beta"], at["sigma"], 60)
            s.add(where, SOFTWARE, "log likelihood at these estimates", at["loglik"], got, 8)
            if name in ("surgical12", "cbpp"):
                best = data.maximum(at, (lambda b, v: data.modes(b, v)[2]) if nagq == 1 else data.quadrature)  # noqa: B023
                s.add(
                    where, SOFTWARE, "mean and SD of largest likelihood", [*np.ravel(at["beta"]), at["sigma"]], best, 6
                )


def _funnel(s: Source) -> None:
    data, e = s.data("surgical12"), s.expected["funnel"]
    theta = data["r"].sum() / data["n"].sum()
    where = f"{SURGICAL}; exact limits (method of Spiegelhalter 2005), R stats"
    s.add(where, SOFTWARE, "common rate", e["theta"], theta)
    masses = [poisson_binomial.pmf(np.full(n, theta)) for n in data["n"]]
    for level, name in ((0.95, "95"), (0.998, "998")):
        ends = np.array([poisson_binomial.central_range(mass, level) for mass in masses])
        s.add(where, SOFTWARE, f"low limits, {name}", e[f"low{name}"], ends[:, 0])
        s.add(where, SOFTWARE, f"high limits, {name}", e[f"high{name}"], ends[:, 1])
    tails = [poisson_binomial.at_least(mass, r) for mass, r in zip(masses, data["r"], strict=True)]
    s.add(where, SOFTWARE, "chance of the count or more", e["at_least"], tails, 9)


def _posterior(s: Source, where: str, e: dict[str, Any], fit: RandomIntercepts) -> None:
    mean, low, high = fit.distance()
    s.add(where, SOFTWARE, "chance of lying above the mean", e["above"], fit.above_mean(), 2)
    s.add(where, SOFTWARE, "distance from the mean, log odds", e["mean"], mean, 1.7)
    s.add(where, SOFTWARE, "2.5 % of the distance", e["low"], low, 1.3)
    s.add(where, SOFTWARE, "97.5 % of the distance", e["high"], high, 1.3)
    s.add(where, SOFTWARE, "mean SD between groups", e["tau"], fit.weight @ fit.tau, 1.7)
    draws = fit.draws(40_000, np.random.default_rng(1))
    first = (np.argmax(draws, axis=1)[:, None] == np.arange(len(fit.names))).mean(axis=0)
    s.add(where, SOFTWARE, "chance of rank one", e["first"], first, 1.7)
    ranks = rank_intervals(draws)
    off = np.abs(np.concatenate(ranks) - np.concatenate([e["rank_low"], e["rank_high"]])).max()
    s.add(where, SOFTWARE, "ranks that bound 95 %, at most one off", [1.0], [max(1.0, float(off))], 9)


def _sampled(s: Source) -> None:
    x, group, wins, trials = _surgical(s.data("surgical12"))
    data = Mixed(x, group, wins, trials)
    fit = fit_random_intercepts(data.y, np.zeros(len(data.y)), data.group)
    _posterior(s, f"{SURGICAL}; {SAMPLER}", s.expected["sampled"]["surgical12"], fit)
    team = s.data("invented_team")
    fit = fit_random_intercepts(team["booted"], team["offset"], team["technician"])
    _posterior(s, f"172 invented jobs of five technicians; {SAMPLER}", s.expected["sampled"]["team"], fit)


def run() -> list[Check]:
    """Every check of this engine."""
    s = Source("technicians", "technicians")
    _fits(s)
    _funnel(s)
    _sampled(s)
    return s.checks
