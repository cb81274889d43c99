"""How long it takes: bench hours to the first success, attempts, and what goes with both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.cohort.attempts import Attempts
from analysis.cohort.features import Cohort
from analysis.cohort.hours import CENSORED, SUCCESS, HoursToSuccess, Lacking, lacking
from analysis.cohort.ledger import Ledger
from analysis.cohort.undatable import UNDATED_WORK, Undatable, too_many_undated
from analysis.errors import ModelError
from analysis.models.attempts import AttemptRow, life_table
from analysis.models.cox import CoxResult, columns_without_information, fit_cox
from analysis.models.design import EVENTS_PER_DF, RARER_NEEDED, Design, TooFew, fit_design, too_few
from analysis.models.firth import FirthResult, fit_firth
from analysis.models.gray import gray_test
from analysis.models.incidence import RankTest, StepCurve, cumulative_incidence
from analysis.models.proportional_hazards import ProportionalityRow, proportionality_table
from analysis.models.terms import NOT_RECORDED, Category, Term
from analysis.models.timed import EVENT, Timed, timed
from analysis.questions.terms import ATTEMPTS, HOURS, LANDMARK
from analysis.records.dictionary import JOBS

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class HoursAnswer:
    """Bench hours to the first success.

    Parameters
    ----------
    overall : StepCurve
        Cumulative incidence of success by bench hours; closing without is the competing end.
    by_damage : dict of str to StepCurve
        The same for each damage class with enough jobs.
    differ : RankTest
        Gray's test between those classes.
    ledger : Ledger
        From the whole log to the jobs used.
    lacking : Lacking
        How many of the jobs that ended lack the hours of their end.
    bounds : tuple of float, length 2
        Lowest and highest share of all jobs, those without hours included, that can have booted by the end of the
        curve.
    lower_limits : int
        Jobs closed without a success whose hours are a lower limit.
    hidden : tuple of str
        Damage classes of which too many jobs lack their hours.
    """

    overall: StepCurve
    by_damage: dict[str, StepCurve]
    differ: RankTest
    ledger: Ledger
    lacking: Lacking
    bounds: tuple[float, float]
    lower_limits: int
    hidden: tuple[str, ...]


@dataclass(frozen=True)
class NoModel:
    """Why there is no model or curve.

    Parameters
    ----------
    rows, events : int
        What there is.
    needed : int
        Events a model needs.
    lacking : Lacking or None
        How many of the jobs that ended lack their hours, where they are too many.
    since_test : bool
        Whether the hours lacking are those since boot test 1.
    """

    rows: int
    events: int
    needed: int = RARER_NEEDED
    lacking: Lacking | None = None
    since_test: bool = False


def _share_booted(hours: HoursToSuccess, by: float) -> tuple[float, float]:
    """Lowest and highest share of all jobs that can have booted by a time, whatever the hours not recorded were.

    Lowest: a success without hours came when its job ended, or else after all; a job closed without stayed in work to
    the last. Highest: either ended at once. Open jobs without hours say nothing in any case.
    """
    rows = hours.rows
    unknown = hours.everyone[hours.everyone["hours"].isna() & hours.everyone["event"].ne(CENSORED)]
    after_all = float(np.nanmax([by, rows["hours"].max(), unknown["at_most"].max()])) + 1
    event = np.append(rows["event"], unknown["event"])
    latest = unknown["at_most"].where(unknown["event"].eq(SUCCESS)).fillna(after_all)
    low, high = (
        cumulative_incidence(timed(np.append(rows["hours"], ends), event), minimum=1).at(by)[0]
        for ends in (latest, np.zeros(len(unknown)))
    )
    return low, high


def _classes_shown(
    hours: HoursToSuccess, cohort: Cohort, minimum_class: int
) -> tuple[pd.Series, list[str], tuple[str, ...]]:
    """Damage of each job with hours, the classes large enough, and the labels of those whose hours lack too often."""
    column = JOBS["intake_damage"]
    everyone = hours.everyone.merge(cohort.jobs[["job_id", "intake_damage"]], on="job_id", how="left")
    damage, known = everyone["intake_damage"].astype(object), everyone["hours"].notna()
    sizes = damage[known].value_counts()
    large = [code for code in column.codes if sizes.get(code, 0) >= minimum_class]
    mine = {code: damage.eq(code) for code in large}
    hidden = [code for code in large if lacking(everyone["event"][mine[code]], known[mine[code]]).too_many]
    shown = [code for code in large if code not in hidden]
    return damage[known].reset_index(drop=True), shown, tuple(column.text_of(code) for code in hidden)


def hours_answer(hours: HoursToSuccess, cohort: Cohort, minimum: int, minimum_class: int) -> HoursAnswer | NoModel:
    """Curves over bench hours; none without a usable job, or when too many of either end lack their hours."""
    if hours.lacking.too_many:
        return NoModel(0, 0, lacking=hours.lacking)
    rows = hours.rows
    if rows.empty:
        return NoModel(0, 0)
    data = timed(rows["hours"], rows["event"])
    column = JOBS["intake_damage"]
    damage, classes, hidden = _classes_shown(hours, cohort, minimum_class)
    curves = {
        column.text_of(code): cumulative_incidence(data.part(damage.eq(code).to_numpy()), minimum=minimum)
        for code in classes
    }
    chosen = damage.isin(classes).to_numpy()
    differ = (
        gray_test(data.part(chosen), damage[chosen].to_numpy(str))
        if len(classes) > 1
        else RankTest(*(float("nan"), 0, float("nan")))
    )
    overall = cumulative_incidence(data, minimum=minimum)
    bounds = _share_booted(hours, overall.stop)
    return HoursAnswer(overall, curves, differ, hours.ledger, hours.lacking, bounds, hours.lower_limits, hidden)


@dataclass(frozen=True)
class HazardModel:
    """A cause-specific Cox fit with its proportionality table.

    Parameters
    ----------
    fit : CoxResult
    design : Design
    table : tuple of ProportionalityRow
        Empty when the fit did not settle.
    ledger : Ledger
        Names the levels whose jobs were left out because none of them had the event: they have no finite ratio, and
        as part of the reference they would raise every other ratio of their term.
    """

    fit: CoxResult
    design: Design
    table: tuple[ProportionalityRow, ...]
    ledger: Ledger


def _with_events(
    data: Timed, rows: pd.DataFrame, terms: tuple[Term, ...]
) -> tuple[Timed, pd.DataFrame, list[tuple[str, int]]]:
    """Leave out the jobs of every level without an event, until each level left has one."""
    dropped: list[tuple[str, int]] = []
    categories = [term for term in terms if isinstance(term, Category)]
    for _ in range(len(categories) + 1):
        event = pd.Series(data.event == EVENT, index=rows.index)
        gone = pd.Series(False, index=rows.index)
        for term in categories:
            level = rows[term.column].astype(object).where(rows[term.column].notna(), NOT_RECORDED).astype(str)
            events = event.groupby(level).transform("sum")
            for name in level[events.eq(0) & ~gone].unique():
                mine = level.eq(name) & ~gone
                dropped.append((f"{term.label}: {term.level_labels.get(name, name)}", int(mine.sum())))
                gone |= mine
        if not gone.any() or gone.all():
            break
        data, rows = data.part(~gone.to_numpy()), rows[~gone].reset_index(drop=True)
    return data, rows, dropped


def _hazard(
    data: Timed, rows: pd.DataFrame, terms: tuple[Term, ...], ledger: Ledger, log_hash: str
) -> HazardModel | NoModel:
    data, rows, dropped = _with_events(data, rows, terms)
    ledger = ledger.then(*((f"{label}: no job of this kind booted", n) for label, n in dropped))
    if data.events < RARER_NEEDED:
        return NoModel(data.n, data.events)
    event = (data.event == EVENT).astype(float)
    # In a hazard model the events carry the information, whatever the number of rows without one.
    design = fit_design(rows, terms, event, budget=data.events // EVENTS_PER_DF)
    x = design.matrix(rows)[:, 1:]
    names = design.names[1:]
    hopeless = columns_without_information(x, data, names)
    keep = np.array([name not in hopeless for name in names], dtype=bool)
    if not keep.any():
        return NoModel(data.n, data.events)
    kept_names = tuple(name for name in names if name not in hopeless)
    fit = replace(fit_cox(x[:, keep], data, kept_names), ledger=ledger, log_hash=log_hash)
    place = {name: i for i, name in enumerate(kept_names)}
    by_term = {
        term.label: tuple(place[name] for name in term.names if name in place)
        for term in design.terms
        if any(name in place for name in term.names)
    }
    table = proportionality_table(fit, x[:, keep], data, by_term) if fit.converged else ()
    return HazardModel(fit, design, table, ledger)


def hours_model(hours: HoursToSuccess, cohort: Cohort) -> HazardModel | NoModel:
    """Cause-specific Cox of bench hours on intake and donor facts; passes take hours and may not enter."""
    if hours.lacking.too_many:
        return NoModel(0, 0, lacking=hours.lacking)
    rows = hours.rows.merge(cohort.jobs.drop(columns="bench_hours"), on="job_id", how="left")
    spent = rows["hours"].gt(0) | rows["event"].eq(SUCCESS)
    ledger = hours.ledger.then(("no bench hours spent", int((~spent).sum())))
    rows = rows[spent].reset_index(drop=True)
    if rows.empty:
        return NoModel(0, 0)
    return _hazard(timed(rows["hours"], rows["event"]), rows, HOURS, ledger, cohort.log_hash)


def landmark_model(hours: HoursToSuccess, cohort: Cohort, attempts: Attempts) -> HazardModel | NoModel:
    """Cox from boot test 1 on, among the jobs that failed it; time is bench hours since that test.

    Work before test 1 is known at the landmark, so that passes, pads and heat may enter. A job on which no hour was
    spent after test 1 was never at risk of a later success; a success within the same hour counts, at time 0.
    """
    first = attempts.rows[attempts.rows["test_no"].eq(1) & attempts.rows["success"].eq(0)]
    at_first = first[["job_id", "bench_hours_so_far"]].rename(columns={"bench_hours_so_far": "landmark"})
    rows = hours.everyone.merge(at_first, on="job_id", how="inner")
    timed_n = int(rows["hours"].notna().sum())
    undatable = rows["job_id"].isin(attempts.undated.jobs)
    ledger = hours.ledger.then(
        ("booted at test 1, or had no test", len(hours.rows) - timed_n),
        (UNDATED_WORK, int((undatable & rows["hours"].notna()).sum())),
    )
    rows = rows[~undatable].reset_index(drop=True)
    rows["since"] = rows["hours"] - rows["landmark"]
    known = rows["since"].notna()
    spent = rows["since"].gt(0) | (rows["since"].eq(0) & rows["event"].eq(SUCCESS))
    ledger = ledger.then(
        ("bench hours at test 1 not recorded", int((rows["hours"].notna() & ~known).sum())),
        ("no bench hours spent after test 1", int((known & ~spent).sum())),
    )
    found = lacking(rows["event"], known)
    if found.too_many:
        return NoModel(0, 0, lacking=found, since_test=True)
    rows = rows[spent].merge(cohort.jobs.drop(columns="bench_hours"), on="job_id", how="left").reset_index(drop=True)
    if rows.empty:
        return NoModel(0, 0)
    return _hazard(timed(rows["since"], rows["event"]), rows, LANDMARK, ledger, cohort.log_hash)


@dataclass(frozen=True)
class AttemptsAnswer:
    """Chances by boot test number, and what goes with them.

    Parameters
    ----------
    table : tuple of AttemptRow
    fit : FirthResult or None
        Person-period penalised logit; None with too few of the rarer outcome.
    design : Design or None
    too_few : TooFew, Undatable or None
    lost_before : int
        Jobs lost before any boot test, which the table cannot hold.
    ledger : Ledger
    """

    table: tuple[AttemptRow, ...]
    fit: FirthResult | None
    design: Design | None
    too_few: TooFew | Undatable | None
    lost_before: int
    ledger: Ledger


def attempts_answer(attempts: Attempts) -> AttemptsAnswer:
    """Life table over boot tests and the person-period model with what was known before each test."""
    rows = attempts.rows
    table = life_table(rows["test_no"], rows["success"], rows["then"])
    # The table needs no work; the model may not hold jobs whose undated work gives a failed first test away.
    undatable = rows["job_id"].isin(attempts.undated.jobs)
    ledger = attempts.ledger.then((UNDATED_WORK, int(undatable.sum())))
    if too_many_undated(rows[undatable & rows["test_no"].eq(1)], rows[rows["success"].eq(0) & rows["test_no"].eq(1)]):
        undated_n = int(rows.loc[undatable, "job_id"].nunique())
        return AttemptsAnswer(table, None, None, Undatable(undated_n), attempts.lost_before, attempts.ledger)
    rows = rows[~undatable].reset_index(drop=True)
    y = rows["success"].to_numpy(float)
    few = too_few(y)
    if few:
        return AttemptsAnswer(table, None, None, few, attempts.lost_before, attempts.ledger)
    band = np.select([rows["test_no"].eq(1), rows["test_no"].eq(2)], ["1", "2"], default="3 or later")
    rows = rows.assign(test_band=band)
    design = fit_design(rows, ATTEMPTS, y)
    try:
        fit = replace(fit_firth(design.matrix(rows), y, design.names), ledger=ledger)
    except ModelError:
        return AttemptsAnswer(table, None, None, None, attempts.lost_before, attempts.ledger)
    return AttemptsAnswer(table, fit, design, None, attempts.lost_before, attempts.ledger)
