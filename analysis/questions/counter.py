"""Everything the page for accepting and declining says, made once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort, build_cohort
from analysis.errors import ModelError, ReworkError
from analysis.models.class_rates import ClassRates
from analysis.models.intervals import Proportion, wilson
from analysis.models.net_benefit import NetBenefit, net_benefit
from analysis.models.offer_value import Basis, BreakEven, HoursGiven, Offer, break_even
from analysis.models.optimism import Optimism, optimism
from analysis.models.pooled import pooled_fitter
from analysis.models.pooled_design import laid_out
from analysis.models.rolling import CLASS, GUESS, MODEL, PLAIN, Gain, Rolling, compared, log_score_gain
from analysis.models.scores import Scores
from analysis.questions.another_attempt import NextTest, next_tests
from analysis.questions.assess import Assessment, assess
from analysis.questions.bench_model import BenchModel, bench_model, rolled_over
from analysis.questions.guess_ledger import GuessLedger, guess_ledger
from analysis.questions.intake_columns import FAMILY_COLUMN, intake_terms
from analysis.questions.intake_form import FACT_COLUMNS, SHARE, read_intake
from analysis.questions.offer_rows import Outcome, OutcomeRows, outcome_rows
from analysis.questions.replay import Replay, replay
from analysis.questions.selection import Selection, selection
from analysis.records.dictionary import JOBS, Kind
from analysis.records.log import Log
from analysis.records.once import usable_log

RNG_SEED = 20
THRESHOLDS = (0.3, 0.4, 0.5, 0.6)
LEVEL = 0.8
OPTIMISM_DRAWS, FEWEST_DRAWS, ROWS_DRAWN = 100, 20, 1_000_000
START_SHARE_PCT = 30.0  # of a staged fee, where nobody says otherwise; the page names it
CARD_FEES = (300.0, 450.0, 600.0, 750.0, 900.0, 1200.0)  # where under FEWEST_FEES are recorded
FEWEST_FEES = 5
PRIOR = ("none", "elsewhere")


@dataclass(frozen=True)
class Judged:
    """Measures of one way to tell chances, on the same jobs as its neighbour."""

    name: str
    scores: Scores


@dataclass(frozen=True)
class CardRow:
    """Recovery of one damage class on the counter card.

    Parameters
    ----------
    damage : str
    won, n : int
        Recovered of all its jobs, as counted.
    chance : tuple of float
        The class rate that ``rework assess`` uses, and the ends of its interval.
    by_prior : tuple of Proportion
        By earlier rework, with 80 % Wilson intervals.
    """

    damage: str
    won: int
    n: int
    chance: tuple[float, float, float]
    by_prior: tuple[Proportion, ...]


@dataclass(frozen=True)
class Counter:
    """The page's answers.

    Parameters
    ----------
    log : Log
    cohort : Cohort
    rows, rolled : mapping of Outcome
    bench : BenchModel
    judged : tuple of Judged
        Model and each rival, in pairs on the same jobs; empty while no month can be judged.
    gains : mapping of str to Gain
        Log score gained over each rival.
    benefit : tuple of (str, NetBenefit)
        At :data:`THRESHOLDS`, by model and by class rate.
    optimism : Optimism or None
    replay : Replay
    selection : Selection
    tests : tuple of NextTest
    card : tuple of CardRow
    card_even : tuple of (float, BreakEven)
        Break-even chance of each fee under "no result, no fee".
    card_money : tuple of float
        Mean hours given success and failure, and mean donor cost, that the card uses; empty without.
    example : Assessment or None
    example_is_typical : bool
        Whether the example was made up from the commonest facts of the log.
    share_assumed : bool
        Whether nobody said what share of a staged fee is due at the start, so that :data:`START_SHARE_PCT` stands in.
    """

    log: Log
    cohort: Cohort
    rows: Mapping[Outcome, OutcomeRows]
    rolled: Mapping[Outcome, Rolling]
    bench: BenchModel
    judged: tuple[Judged, ...]
    gains: Mapping[str, Gain]
    benefit: tuple[tuple[str, NetBenefit], ...]
    optimism: Optimism | None
    replay: Replay
    selection: Selection
    tests: tuple[NextTest, ...]
    card: tuple[CardRow, ...]
    card_even: tuple[tuple[float, BreakEven], ...]
    card_money: tuple[float, ...]
    example: Assessment | None
    example_is_typical: bool
    share_assumed: bool


def _judged(rolled: Rolling) -> tuple[Judged, ...]:
    out = []
    for rival in (PLAIN, CLASS, GUESS):
        try:
            own, other = compared(rolled, rival)
        except ModelError:
            continue
        if rival is PLAIN:
            out.append(Judged("model", own))
        if rival is GUESS:
            out.append(Judged("model, where a guess was written", own))
        out.append(Judged(rival, other))
    return tuple(out)


def _benefit(rolled: Rolling) -> tuple[tuple[str, NetBenefit], ...]:
    if not rolled.converged:
        return ()
    y = rolled.rows["outcome"]
    return tuple((name, net_benefit(rolled.rows[name], y, THRESHOLDS)) for name in (MODEL, CLASS))


def _recovery_rates(bench: BenchModel) -> ClassRates | None:
    model = bench.models.get(Outcome.RECOVERED)
    return None if model is None else model.rates


def _card(rows: pd.DataFrame, rates: ClassRates | None) -> tuple[CardRow, ...]:
    def rate(part: pd.DataFrame) -> Proportion:
        return wilson(int(part["recovered"].sum()), len(part), LEVEL)

    column, out = JOBS["intake_damage"], []
    for code in column.codes:
        own = rows[rows["intake_damage"].eq(code).to_numpy(bool)]
        if len(own) and rates is not None:
            parts = tuple(rate(own[own["prior_rework"].eq(kind).to_numpy(bool)]) for kind in PRIOR)
            out.append(CardRow(column.text_of(code), rates.won[code], rates.n[code], rates.chance(code), parts))
    return tuple(out)


def _card_even(bench: BenchModel, log: Log) -> tuple[tuple[tuple[float, BreakEven], ...], tuple[float, ...]]:
    """Break-even by fee, with the mean hours of all jobs and the mean donor cost."""
    found = bench.hours("", 1)
    costs = log.tables["jobs"]["donor_cost"].dropna()
    if found is None or not len(costs):
        return (), ()
    hours, donor = found[0], float(costs.mean())
    fees = card_fees(log.tables["jobs"]["fee_amount"].dropna())
    return tuple((fee, _even(fee, donor, log.settings.bench_hour_cost, hours)) for fee in fees), (
        *hours.means,
        donor,
    )


def card_fees(recorded: pd.Series) -> tuple[float, ...]:
    """Six fees to two figures, from under the shop's low fees to over its high ones, in its own currency."""
    if len(recorded) < FEWEST_FEES or not recorded.quantile(0.1) > 0:
        return CARD_FEES
    ends = 0.6 * recorded.quantile(0.1), 1.4 * recorded.quantile(0.9)
    return tuple(sorted({float(f"{fee:.1e}") for fee in np.linspace(*ends, 6)}))


def _even(fee: float, donor: float, hour_cost: float, hours: HoursGiven) -> BreakEven:
    offer = Offer(Basis.NO_RESULT_NO_FEE, fee, donor, hour_cost)
    return break_even(float(offer.margins(hours.means[0], True)), float(offer.margins(hours.means[1], False)))


def typical_intake(log: Log) -> dict[str, str]:
    """The commonest value of each fact among accepted jobs, with their median fee and donor cost."""
    jobs = log.tables["jobs"]
    jobs = jobs[jobs["decision"].eq("accepted").fillna(False).to_numpy(bool)]
    out = {}
    for column in (*FACT_COLUMNS, JOBS["fee_basis"], JOBS["fee_amount"], JOBS["donor_cost"]):
        known = jobs[column.name].dropna()
        if len(known) and column.name != "second_damage":
            number = column.kind in (Kind.NUMBER, Kind.INTEGER)
            out[column.name] = f"{float(known.median()):g}" if number else str(known.astype(str).mode().iloc[0])
    return out


def _example(bench: BenchModel, log: Log, given: Mapping[str, str], share: float) -> tuple[Assessment | None, bool]:
    texts = {name: text for name, text in given.items() if text}
    typical = not texts
    if typical:
        texts = typical_intake(log)
    if "intake_damage" not in texts and typical:
        return None, True
    intake = read_intake(texts | {SHARE: f"{100 * share:g}"}, log.settings, dt.date.today())
    return assess(bench, intake, log.settings), typical


def optimism_draws(jobs: int) -> int:
    """Bootstrap samples of the optimism: 100, from 10,000 jobs on a million jobs in all but never under 20 samples.

    A sample's optimism varies by one over the root of its jobs, so that the Monte Carlo error stays what it is at
    10,000 jobs, .001 of the AUC and .005 of the slope, and shrinks from 50,000 on; both are shown to two digits.
    """
    return max(FEWEST_DRAWS, min(OPTIMISM_DRAWS, ROWS_DRAWN // jobs))


def _optimism(rows: OutcomeRows) -> Optimism | None:
    if not len(rows.rows):
        return None
    fit = pooled_fitter(intake_terms(), FAMILY_COLUMN)
    y = rows.rows[rows.outcome].to_numpy(float)
    if min(y.sum(), len(y) - y.sum()) < 10:
        return None
    frame = laid_out(rows.rows, intake_terms())
    return optimism(frame, y, fit, rng_seed=RNG_SEED, draws=optimism_draws(len(frame)))


def build_counter(folder: Path, start_share_pct: float, **intake: str) -> Counter:
    """Read a log and answer everything the counter page asks.

    Parameters
    ----------
    folder : Path
        The log.
    start_share_pct : float
        Percent of staged fees due at the start; 0: the shop's setting, or :data:`START_SHARE_PCT` without one.
    **intake : str
        Facts of the worked example, by column; all blank for a typical intake.
    """
    return counter_of(usable_log(Path(folder)), start_share_pct, intake)


def counter_of(log: Log, start_share_pct: float, intake: Mapping[str, str]) -> Counter:
    """The same for a log at hand.

    Raises
    ------
    ReworkError
        If the share is no percentage between 0 and 100, or the example cannot be read.
    """
    said = start_share_pct or log.settings.staged_start_share_pct
    start_share_pct = said or START_SHARE_PCT
    if not 0 < start_share_pct < 100:
        raise ReworkError(f"A start share of {start_share_pct:g} % cannot be used.", rule="between 0 and 100")
    share = start_share_pct / 100
    cohort = build_cohort(log)
    rows = outcome_rows(cohort)
    rolled = {outcome: rolled_over(each) for outcome, each in rows.items()}
    bench = bench_model(rows, rolled)
    main = rolled[Outcome.RECOVERED]
    example, typical = _example(bench, log, intake, share)
    even, used = _card_even(bench, log)
    return Counter(
        log=log,
        cohort=cohort,
        rows=rows,
        rolled=rolled,
        bench=bench,
        judged=_judged(main) if main.converged else (),
        gains={rival: log_score_gain(main, rival, rng_seed=RNG_SEED) for rival in (PLAIN, CLASS, GUESS)}
        if main.converged
        else {},
        benefit=_benefit(main),
        optimism=_optimism(rows[Outcome.RECOVERED]),
        replay=replay(log, rows, rolled, rng_seed=RNG_SEED, start_share=share),
        selection=selection(cohort, bench),
        tests=next_tests(log),
        card=_card(rows[Outcome.RECOVERED].rows, _recovery_rates(bench)),
        card_even=even,
        card_money=used,
        example=example,
        example_is_typical=typical,
        share_assumed=not said,
    )


@dataclass(frozen=True)
class Bin:
    """Past predictions that lay close together: their mean, and what came of them (80 % Wilson interval)."""

    told: float
    came: Proportion


def calibration_bins(rolled: Rolling, most: int = 5, least: int = 10) -> tuple[Bin, ...]:
    """Predictions of the past months in groups of equal size, each made from what was known before."""
    rows = rolled.rows.sort_values(MODEL, kind="stable") if rolled.converged else rolled.rows
    groups = min(most, len(rows) // least)
    out = []
    for at in np.array_split(np.arange(len(rows)), groups) if groups else ():
        own = rows.iloc[at]
        out.append(Bin(float(own[MODEL].mean()), wilson(int(own["outcome"].sum()), len(own), LEVEL)))
    return tuple(out)


def build_guesses(folder: Path, technician: str) -> tuple[Log, GuessLedger]:
    """The private ledger of one technician's guesses.

    Raises
    ------
    ReworkError
        If no technician is named, or the log knows nothing of this one.
    """
    if not technician.strip():
        raise ReworkError(
            "No technician is named.", rule="One technician at a time.", todo="Give the code of jobs.csv."
        )
    log = usable_log(Path(folder))
    rows = outcome_rows(build_cohort(log))[Outcome.RECOVERED]
    return log, guess_ledger(rows, rolled_over(rows), technician.strip())
