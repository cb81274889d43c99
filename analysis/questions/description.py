"""How heat, passes, pads and donor age went with first boot: an association, never a cause."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.features import Cohort
from analysis.cohort.ledger import Ledger
from analysis.cohort.undatable import UNDATED_WORK, Undatable, too_many_undated
from analysis.cohort.work import HOW_UNKNOWN, NO_SETTING, PRESET
from analysis.models.design import Design, LeftOut, TooFew, fit_design, too_few
from analysis.models.effects import ChanceCurve, Difference, average_difference, chance_curve
from analysis.models.firth import FirthResult, TermTest, fit_firth, term_test
from analysis.models.logit import fit_logit
from analysis.models.terms import NOT_RECORDED, FittedCategory, FittedCurve, FittedNumber, FittedTerm
from analysis.questions.terms import DESCRIPTION, PREHEAT, TEMPERATURE, TOLD
from analysis.questions.verdicts import Verdict, at_most_leaning, verdict_of

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Effect:
    """One row of the description.

    Parameters
    ----------
    label : str
        Plain name.
    versus : str
        What it is compared with; empty for a number.
    odds_ratio, low, high : float
        With 95 % profile interval.
    difference : Difference
        The same as an average difference in percentage points.
    n : int
        Jobs with this level; for a number, jobs with a record.
    p, adjusted_p : float
        Penalised likelihood-ratio P, and the same by Holm's method over all that is told, the temperature included.
    verdict : Verdict
    """

    label: str
    versus: str
    odds_ratio: float
    low: float
    high: float
    difference: Difference
    n: int
    p: float
    adjusted_p: float
    verdict: Verdict


@dataclass(frozen=True)
class Temperature:
    """What the log says of the install set temperature.

    Parameters
    ----------
    curve : ChanceCurve
        Chance over set temperature.
    test : TermTest
        Whether the temperature matters at all (all columns of the curve).
    verdict : Verdict
    typed, presets, blank : int
        Jobs whose setting is used, with an unchanged preset, and without a record.
    unknown : int
        Jobs left out since the setting does not say how it was entered.
    how_unknown : bool
        Whether the settings used do not say how they were entered: an effect is then never clear.
    """

    curve: ChanceCurve
    test: TermTest
    verdict: Verdict
    typed: int
    presets: int
    blank: int
    unknown: int = 0
    how_unknown: bool = False


@dataclass(frozen=True)
class Description:
    """The first-boot model as told on the page.

    Parameters
    ----------
    fit : FirthResult
        The fit.
    design : Design
        Its frozen design.
    effects : tuple of Effect
        Rows told, in declared order.
    temperature : Temperature or None
        None when too few settings were typed, or there was no room for the curve.
    typed : int
        Jobs with a typed install temperature.
    separated : tuple of str
        Columns along which successes and failures are split without overlap: only the penalty keeps them finite.
    left_out : tuple of LeftOut
        Terms not in the model and why.
    ledger : Ledger
        From the whole log to the rows used.
    """

    fit: FirthResult
    design: Design
    effects: tuple[Effect, ...]
    temperature: Temperature | None
    typed: int
    separated: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    ledger: Ledger


def holm(p: Floats) -> Floats:
    """P values adjusted by Holm's method (Scandinavian Journal of Statistics 6 (1979) 65–70)."""
    order = np.argsort(p, kind="stable")
    raised = np.maximum.accumulate(p[order] * (len(p) - np.arange(len(p))))
    out = np.empty(len(p))
    out[order] = np.minimum(raised, 1.0)
    return out


def _columns_told(design: Design, label: str) -> list[tuple[str, str, int, int]]:
    """(label, versus, position, n) of every column of a term that is told; "not recorded" is not."""
    term: FittedTerm = next(term for term in design.terms if term.label == label)
    positions = {design.names[at]: at for at in design.term_columns(label)}
    if isinstance(term, FittedNumber):
        return [(label, "", positions[label], term.recorded)] if label in positions else []
    if not isinstance(term, FittedCategory):
        return []
    out = []
    for level, text, count in zip(term.levels[1:], term.shown[1:], term.counts[1:], strict=True):
        at = positions.get(f"{label}: {text}")
        if level != NOT_RECORDED and at is not None:
            out.append((f"{label}: {text}", term.reference, at, count))
    return out


def _told(design: Design) -> list[tuple[str, str, int, int]]:
    return [row for label in TOLD if design.has(label) for row in _columns_told(design, label)]


def _effects(
    fit: FirthResult, design: Design, x: Floats, adjusted: Floats, doubtful: tuple[str, ...]
) -> tuple[Effect, ...]:
    """Rows told; of ``doubtful`` terms none is clear."""
    out = []
    for (label, versus, at, n), worse in zip(_told(design), adjusted, strict=True):
        term = next(t.label for t in design.terms if at in design.term_columns(t.label))
        siblings = design.term_columns(term) if versus else ()
        verdict = verdict_of(float(worse))
        out.append(
            Effect(
                label=label,
                versus=versus,
                odds_ratio=float(np.exp(fit.coefficients[at])),
                low=float(np.exp(fit.low[at])),
                high=float(np.exp(fit.high[at])),
                difference=average_difference(fit, x, at, siblings),
                n=n,
                p=float(fit.p[at]),
                adjusted_p=float(worse),
                verdict=at_most_leaning(verdict) if term in doubtful else verdict,
            )
        )
    return tuple(out)


def _temperature_columns(design: Design) -> tuple[int, ...]:
    if not design.has(TEMPERATURE.label):
        return ()
    return tuple(at for at in design.term_columns(TEMPERATURE.label) if NOT_RECORDED not in design.names[at])


def _temperature(
    fit: FirthResult, design: Design, x: Floats, rows: pd.DataFrame, test: TermTest, adjusted_p: float
) -> Temperature:
    term = next(term for term in design.terms if term.label == TEMPERATURE.label)
    assert isinstance(term, FittedCurve)
    values = rows[TEMPERATURE.column].to_numpy(float)
    typed = ~np.isnan(values)
    ends = np.quantile(values[typed], [0.02, 0.98])
    grid = np.linspace(ends[0], ends[1], 61)
    entry = rows["install_temp_entry"]
    unknown = entry.eq(HOW_UNKNOWN).to_numpy(bool)
    how_unknown = bool((unknown & typed).any())
    verdict = verdict_of(adjusted_p)
    return Temperature(
        curve=chance_curve(fit, x[typed], _temperature_columns(design), term, values[typed], grid),
        test=test,
        verdict=at_most_leaning(verdict) if how_unknown else verdict,
        typed=int(typed.sum()),
        presets=int(entry.eq(PRESET).sum()),
        blank=int(entry.eq(NO_SETTING).sum()),
        unknown=int((unknown & ~typed).sum()),
        how_unknown=how_unknown,
    )


def _verdicts(
    fit: FirthResult, design: Design, x: Floats, y: Floats, rows: pd.DataFrame, doubtful: tuple[str, ...]
) -> tuple[tuple[Effect, ...], Temperature | None]:
    """Everything told, its verdicts adjusted for all of it together, the temperature curve included."""
    p = fit.p[[at for _, _, at, _ in _told(design)]]
    columns = _temperature_columns(design)
    if not columns:
        return _effects(fit, design, x, holm(p), doubtful), None
    test = term_test(x, y, columns, TEMPERATURE.label, fitted=fit)
    adjusted = holm(np.append(p, test.p))
    return (
        _effects(fit, design, x, adjusted[:-1], doubtful),
        _temperature(fit, design, x, rows, test, float(adjusted[-1])),
    )


def describe(cohort: Cohort, until: pd.Period) -> Description | TooFew | Undatable:
    """Fit the first-boot description to all jobs up to and including a month.

    Parameters
    ----------
    cohort : Cohort
        One row a job.
    until : Period
        Last month of first boots used.

    Returns
    -------
    Description, TooFew or Undatable
        TooFew when there are under ten of the rarer outcome; Undatable when too much work has no boot test.
    """
    rows = cohort.first_boots
    used = rows[~rows["first_boot_month"].gt(until)].reset_index(drop=True)
    ledger = cohort.ledger.then((f"first boot after {until}", len(rows) - len(used)))
    undatable = used["job_id"].isin(cohort.undated.jobs)
    if too_many_undated(used[undatable], used[used["first_boot"].eq(0)]):
        return Undatable(int(undatable.sum()))
    used = used[~undatable].reset_index(drop=True)
    ledger = ledger.then((UNDATED_WORK, int(undatable.sum())))
    y = used["first_boot"].to_numpy(float)
    if few := too_few(y):
        return few
    design = fit_design(used, DESCRIPTION, y)
    x = design.matrix(used)
    fit = replace(fit_firth(x, y, design.names), ledger=ledger, log_hash=cohort.log_hash)
    doubtful = (PREHEAT.label,) if cohort.blanks_as_cold else ()
    effects, temperature = _verdicts(fit, design, x, y, used, doubtful) if fit.converged else ((), None)
    return Description(
        fit=fit,
        design=design,
        effects=effects,
        temperature=temperature,
        typed=int(used[TEMPERATURE.column].notna().sum()),
        separated=fit_logit(x, y, design.names).separated,
        left_out=design.left_out,
        ledger=ledger,
    )
