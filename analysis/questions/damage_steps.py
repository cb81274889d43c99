"""Where damage comes from: pads lost at this bench by step, chip and side, and what goes with losing them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.pad_rows import PadRows
from analysis.models.damage_counts import CountResult, fit_counts
from analysis.models.design import Design, LeftOut, fit_design
from analysis.models.intervals import Proportion, wilson
from analysis.models.terms import NOT_RECORDED, Category, FittedCategory, FittedNumber, Number, Term
from analysis.questions import terms
from analysis.questions.description import holm
from analysis.questions.technique_design import TECHNICIAN
from analysis.questions.verdicts import Verdict, at_most_leaning, verdict_of
from analysis.records.dictionary import BY_NAME
from analysis.records.problems import plural

Floats = NDArray[np.float64]

SIDES_PER_DF = 5  # sides with a loss for every column of the model
LOSSES_NEEDED = 20
SPOT = Category("spot", "place", reference="processor, lower")
GRADE = Number("grade", "each pad grade found worse", "grades")
PASSES = Number("passes", "each cleaning pass", "passes")
BLADE = Category("blade", "blade", {"1.0": "used", "0.0": "not used"}, reference="0.0")
REMOVAL = Number("removal_c", "each 10 °C of removal set temperature", "°C", per=10.0)
TOLD = (SPOT, GRADE, PASSES, BLADE, REMOVAL)
MODEL: tuple[Term, ...] = (*TOLD, terms.DAMAGE, TECHNICIAN)
NOT_NOTED = "step not noted"


@dataclass(frozen=True)
class StepRow:
    """Pads lost in one step."""

    step: str
    pads: int
    sides: int


@dataclass(frozen=True)
class SpotRow:
    """Pads lost on one side of one chip: sides with a loss of all, and pads."""

    spot: str
    lost: Proportion
    pads: int


@dataclass(frozen=True)
class Ratio:
    """How many times as many pads go with something.

    Parameters
    ----------
    label, versus : str
        What, and what it is compared with; empty for a number.
    ratio, low, high : float
        Rate ratio with 95 % interval.
    n : int
        Sides with this level, or with the number recorded.
    verdict : Verdict
        By Holm's method over all that is told.
    """

    label: str
    versus: str
    ratio: float
    low: float
    high: float
    n: int
    verdict: Verdict


@dataclass(frozen=True)
class DamageSteps:
    """What the page says of pads lost.

    Parameters
    ----------
    steps : tuple of StepRow
        Most pads first.
    spots : tuple of SpotRow
        Largest share first.
    gone : StepRow
        Pads that were gone when first seen; no technique of this bench.
    fit : CountResult or None
        None when too few sides lost a pad; ``why`` says so.
    ratios : tuple of Ratio
    left_out : tuple of LeftOut
    why : str
    pads : PadRows
    """

    steps: tuple[StepRow, ...]
    spots: tuple[SpotRow, ...]
    gone: StepRow
    fit: CountResult | None
    ratios: tuple[Ratio, ...]
    left_out: tuple[LeftOut, ...]
    why: str
    pads: PadRows

    @property
    def sides(self) -> int:
        """Sides looked at."""
        return len(self.pads.rows)

    @property
    def lost(self) -> int:
        """Pads lost at this bench."""
        return int(self.pads.rows["pads_lost"].sum())


def damage_steps(pads: PadRows, log_hash: str = "") -> DamageSteps:
    """Count where pads are lost, and fit what goes with losing them.

    Parameters
    ----------
    pads : PadRows
    log_hash : str
    """
    if pads.undatable is not None:
        none = replace(pads, rows=pads.rows.iloc[:0], found_gone=pads.found_gone.iloc[:0])
        return DamageSteps((), (), _gone(none), None, (), (), pads.undatable.why, none)
    fit, ratios, left_out, why = _model(pads, log_hash)
    return DamageSteps(
        steps=_steps(pads.rows),
        spots=_spots(pads.rows),
        gone=_gone(pads),
        fit=fit,
        ratios=ratios,
        left_out=left_out,
        why=why,
        pads=pads,
    )


def _gone(pads: PadRows) -> StepRow:
    lost = pads.found_gone["pads_lost"]
    return StepRow("gone when first seen", int(lost.sum()), int((lost > 0).sum()))


def _steps(rows: pd.DataFrame) -> tuple[StepRow, ...]:
    labels = {choice.code: choice.text for choice in BY_NAME["chip_sides"]["pads_lost_at"].choices}
    lossy = rows[rows["pads_lost"] > 0]
    named = lossy["lost_at"].map(labels).fillna(NOT_NOTED)
    made = [
        StepRow(str(step), int(lossy.loc[named.eq(step), "pads_lost"].sum()), int(named.eq(step).sum()))
        for step in named.unique()
    ]
    return tuple(sorted(made, key=lambda row: (-row.pads, row.step)))


def _spots(rows: pd.DataFrame) -> tuple[SpotRow, ...]:
    made = [
        SpotRow(str(spot), wilson(int((own["pads_lost"] > 0).sum()), len(own)), int(own["pads_lost"].sum()))
        for spot, own in rows.groupby("spot")
    ]
    return tuple(sorted(made, key=lambda row: (-row.lost.rate, row.spot)))


def _model(pads: PadRows, log_hash: str) -> tuple[CountResult | None, tuple[Ratio, ...], tuple[LeftOut, ...], str]:
    rows = pads.rows
    lossy = int((rows["pads_lost"] > 0).sum())
    if lossy < LOSSES_NEEDED:
        counted = f"only {lossy} of {len(rows)} sides" if len(rows) else "no side with a count"
        more = math.ceil((LOSSES_NEEDED - lossy) * len(rows) / lossy) if lossy else 0
        pace = f"; at the pace so far about {plural(more, 'more side')}" if more else ""
        return None, (), (), f"{counted} lost a pad (at least {LOSSES_NEEDED} are needed{pace})"
    counts = rows["pads_lost"].to_numpy(float)
    design = fit_design(rows, MODEL, (counts > 0).astype(float), budget=lossy // SIDES_PER_DF)
    groups = pd.factorize(rows["job_id"])[0]
    fit = fit_counts(design.matrix(rows), counts, design.names, groups)
    fit = replace(fit, ledger=pads.ledger, log_hash=log_hash)
    if not fit.converged:
        return None, (), design.left_out, f"the model did not settle ({fit.reason})"
    return fit, _ratios(fit, design, pads.how_unknown), design.left_out, ""


def _ratios(fit: CountResult, design: Design, how_unknown: bool) -> tuple[Ratio, ...]:
    """Everything told; the removal temperature is never clear where nobody knows how it was entered."""
    told = [row for term in TOLD if design.has(term.label) for row in _columns(design, term.label)]
    adjusted = holm(np.array([fit.p[at] for _, _, at, _ in told]))
    out = []
    for (label, versus, at, n), p in zip(told, adjusted, strict=True):
        verdict = verdict_of(float(p))
        doubtful = how_unknown and label == REMOVAL.label
        out.append(Ratio(label, versus, *fit.ratio(at), n, at_most_leaning(verdict) if doubtful else verdict))
    return tuple(out)


def _columns(design: Design, label: str) -> list[tuple[str, str, int, int]]:
    """(label, versus, position, n) of the columns of a term that are told; "not recorded" is not."""
    term = next(term for term in design.terms if term.label == label)
    versus = term.reference if isinstance(term, FittedCategory) else ""
    out = []
    for at in design.term_columns(label):
        name = design.names[at]
        if NOT_RECORDED not in name:
            n = term.recorded if isinstance(term, FittedNumber) else design.behind[name]
            out.append((name, versus, at, n))
    return out
