"""Kinds of shop in which something else than the technique makes the difference, planted on a simulated shop's jobs.

Nowhere does the technique do anything. Success rises over the log while a technique comes into use; or one technician
is better and uses it nearly always; or an arm is so small that it may have no failure by luck.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from analysis.cohort.technique_rows import TechniqueRows
from analysis.questions.contrasts import DECLARED
from analysis.questions.techniques import Effort, Told, techniques

Floats = NDArray[np.float64]
Rng = np.random.Generator

RESET = tuple(c for c in DECLARED if c.name == "ball_reset")
EFFORT = Effort(copies=2, draws=40, complete_draws=2)
COMPARED = 7  # contrasts that the page usually answers, for Holm's method
LEVEL = 0.05


@dataclass(frozen=True)
class Planted:
    """Who gets the technique, who succeeds, and who works on what."""

    arm: Floats
    won: Floats
    who: NDArray[np.object_] | None = None


def _rising(use: Callable[[Floats], Floats]) -> Callable[[Floats, Rng], Planted]:
    """Success rises over the log from 23 to 88 % whatever is done; the technique is used as told."""

    def planted(at: Floats, rng: Rng) -> Planted:
        arm = rng.random(len(at)) < use(at)
        return Planted(arm.astype(float), (rng.random(len(at)) < expit(-1.2 + 3.2 * at)).astype(float))

    return planted


def _one_person(at: Floats, rng: Rng) -> Planted:
    best = rng.random(len(at)) < 0.3
    who = np.where(best, "T1", rng.choice(["T2", "T3", "T4", "T5"], len(at))).astype(object)
    arm = rng.random(len(at)) < np.where(best, 0.95, 0.05)
    return Planted(arm.astype(float), (rng.random(len(at)) < expit(0.2 + 1.2 * best)).astype(float), who)


def _small(jobs: int) -> Callable[[Floats, Rng], Planted]:
    def planted(at: Floats, rng: Rng) -> Planted:
        arm = np.zeros(len(at))
        arm[rng.choice(len(at), jobs, replace=False)] = 1.0
        return Planted(arm, (rng.random(len(at)) < 0.8).astype(float))

    return planted


KINDS: dict[str, Callable[[Floats, Rng], Planted]] = {
    "time: in use from 5 to 95 %": _rising(lambda at: 0.05 + 0.9 * at),
    "time: switched in the middle": _rising(lambda at: np.clip((at - 0.4) / 0.2, 0, 1)),
    "one better person uses it": _one_person,
    "arm of 14 jobs": _small(14),
    "arm of 25 jobs": _small(25),
}


def kinds_of(seed: int, found: TechniqueRows) -> list[dict[str, object]]:
    """What the page says of each kind, one row each."""
    days = (found.rows["received_date"] - found.rows["received_date"].min()).dt.days.to_numpy(float)
    out: list[dict[str, object]] = []
    for place, (name, plant) in enumerate(KINDS.items()):
        planted = plant(days / days.max(), np.random.default_rng((place, seed)))
        rows = found.rows.assign(ball_reset=planted.arm, first_boot=planted.won)
        if planted.who is not None:
            rows["technician_id"] = planted.who
        answer = techniques(replace(found, rows=rows), RESET, effort=EFFORT)[0]
        row: dict[str, object] = {"shop": seed, "what": name, "answered": isinstance(answer, Told)}
        if isinstance(answer, Told):
            p = 1.0 if answer.unlike else answer.difference.p
            row |= {
                "claimed": p <= LEVEL / COMPARED,
                "low_p": p <= LEVEL,
                "off": answer.difference.estimate,
                "held": bool(answer.unlike),
            }
        out.append(row)
    return out
