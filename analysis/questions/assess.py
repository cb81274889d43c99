"""Accept, discuss or decline: one intake against what the bench knows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import pandas as pd

from analysis.models.offer_value import Basis, HoursGiven, Offer, OfferValue, expected_margin, offer_value
from analysis.models.pooled import PooledFit
from analysis.models.pooled_design import PooledCategory, PooledDesign, PooledNumber
from analysis.models.pooled_facts import Contribution, FindingOut, contributions, value_of_finding_out
from analysis.questions.alike import DAMAGE, FEWEST_ALIKE, Alike
from analysis.questions.bench_model import FACTS, MODEL, BenchModel, Chance, OutcomeModel, empty_intake
from analysis.questions.intake_form import Intake
from analysis.questions.offer_rows import Outcome
from analysis.questions.trust import Trust
from analysis.records.dictionary import JOBS
from analysis.records.settings import Settings


class Advice(StrEnum):
    """What is recommended."""

    ACCEPT = "accept"
    DISCUSS = "discuss"
    DECLINE = "decline"
    OUTSIDE = "outside our experience"


class Why(StrEnum):
    """Reasons of a recommendation."""

    PAYS = "margin positive over the whole interval"
    LOSES = "margin negative over the whole interval"
    UNSURE = "margin positive in one part of the interval and negative in another"
    MONEY = "money not known"
    HOURS = "hours of past jobs not recorded"
    FAMILY = "board family never seen"
    FEW = "few past jobs alike"
    OUTSIDE = "outside what has been seen"


def recommend(value: OfferValue | None, unseen_family: bool, alike_n: int) -> tuple[Advice, tuple[Why, ...]]:
    """The rule of the counter.

    Accept when the expected margin is positive at every chance within the interval, decline when it is negative at
    every one, else discuss. Too few jobs alike, or no margin, make it "discuss" whatever the chance; a family never
    seen makes it "discuss" at best.
    """
    few = (Why.FEW,) if alike_n < FEWEST_ALIKE else ()
    family = (Why.FAMILY,) if unseen_family else ()
    if value is None:
        return Advice.DISCUSS, (*family, *few)
    if value.margin_low > 0:
        return (Advice.DISCUSS if few or family else Advice.ACCEPT), (Why.PAYS, *family, *few)
    if value.margin_high < 0:
        return (Advice.DISCUSS if few else Advice.DECLINE), (Why.LOSES, *family, *few)
    return Advice.DISCUSS, (Why.UNSURE, *family, *few)


@dataclass(frozen=True)
class DonorOption:
    """Chance of recovery with one kind of donor.

    Parameters
    ----------
    label : str
        Code of the donor test, or "this donor".
    mean, low, high : float
    n : int
        Past jobs with a donor of this kind; those fitted to for "this donor".
    """

    label: str
    mean: float
    low: float
    high: float
    n: int


THIS_DONOR = "this donor"


def fact_title(column: str) -> str:
    """Plain name of a fact."""
    return JOBS[column].title if column in JOBS.by_name else "second damage"


@dataclass(frozen=True)
class Assessment:
    """Everything said of one intake.

    Parameters
    ----------
    intake : Intake
    advice : Advice
    why : tuple of Why
    outside : tuple of str
        What was never seen, in words, a sentence each.
    chances : mapping of Outcome to Chance
    trust : mapping of Outcome to Trust
    alike : Alike
    value : OfferValue or None
    hours : HoursGiven or None
    hours_of : str
        Damage class the hours are of; empty for all jobs.
    facts : tuple of Contribution
        What moved the chance of recovery most; empty where the class rate is used.
    find_out : FindingOut or None
        The unknown fact worth most before deciding.
    unknown : tuple of str
        Facts that the model uses and that are not known of this intake; empty where worth cannot be told.
    donors : tuple of DonorOption
        An option, not information: the shop chooses the donor.
    lacking : tuple of str
        Money columns that were not given.
    fee_from : tuple of float
        Fee from which the expected margin is positive: at the chance, and at every chance within its interval.
    before_hours : float
        Expected margin before the cost of bench hours: what counts when they would stand idle otherwise.
    """

    intake: Intake
    advice: Advice
    why: tuple[Why, ...]
    outside: tuple[str, ...]
    chances: Mapping[Outcome, Chance]
    trust: Mapping[Outcome, Trust]
    alike: Alike
    value: OfferValue | None = None
    hours: HoursGiven | None = None
    hours_of: str = ""
    facts: tuple[Contribution, ...] = ()
    find_out: FindingOut | None = None
    unknown: tuple[str, ...] = ()
    donors: tuple[DonorOption, ...] = ()
    lacking: tuple[str, ...] = ()
    fee_from: tuple[float, float] = (float("nan"), float("nan"))
    before_hours: float = float("nan")


def never_seen(design: PooledDesign, facts: pd.DataFrame) -> tuple[str, ...]:
    """What of an intake was never seen, each named; the family is not among it."""
    told = []
    for term in design.terms:
        if term.within(term.look(facts))[0]:
            continue
        title, value = fact_title(term.column), facts[term.column].iloc[0]
        if (term.column, value) == ("prior_rework", "here"):
            # A job that came back counts with its first one, so that no row of the model can have this value.
            text = (
                "A job that came back is counted with its first one, so that it has no chance of its own; the chance of"
                " a further boot test ('--after-test', or the counter page) is what the past can say of it."
            )
        elif isinstance(term, PooledCategory):
            text = f"{title} '{value}' was never seen; seen were {', '.join(term.shown[:-1])}."
        else:
            low, high = term.values[0], term.values[-1]
            seen = f"{low:g} to {high:g}" if low < high else f"only {low:g}"
            text = f"{title} of {value:g} {term.unit} was never seen; seen were {seen}."
        told.append(text[0].upper() + text[1:])
    return tuple(told)


def lacking_money(intake: Intake) -> tuple[str, ...]:
    """Columns without which no margin can be told."""
    needed = {"fee_basis": intake.basis or None, "fee_amount": intake.fee, "donor_cost": intake.donor_cost}
    if intake.basis == Basis.STAGED:
        needed["start_share"] = intake.start_share
    return tuple(name for name, value in needed.items() if value is None)


def offer_of(intake: Intake, settings: Settings) -> Offer | None:
    """The money of an intake; None where something is lacking."""
    if lacking_money(intake) or intake.fee is None or intake.donor_cost is None:
        return None
    basis = Basis(intake.basis)
    share = intake.start_share if basis is Basis.STAGED else None
    return Offer(basis, intake.fee, intake.donor_cost, settings.bench_hour_cost, share)


def unknown_facts(fit: PooledFit, facts: pd.DataFrame) -> tuple[str, ...]:
    """Columns of the facts that a model uses and that are not known of an intake."""
    return tuple(term.column for term in fit.design.facts if pd.isna(facts[term.column].iloc[0]))


def best_to_find_out(fit: PooledFit, facts: pd.DataFrame, offer: Offer, hours: HoursGiven) -> FindingOut | None:
    """The unknown fact that is worth most to know before deciding; None where none could turn the decision."""
    found = [
        value_of_finding_out(fit, facts, name, lambda p: expected_margin(offer, hours, p))
        for name in unknown_facts(fit, facts)
    ]
    best = max(found, key=lambda each: each.gain, default=None)
    return best if best is not None and best.gain > 0 else None


def donor_options(model: OutcomeModel, intake: Intake) -> tuple[DonorOption, ...]:
    """Chance of recovery by the donor's test, and with the donor named; what is not said of it is at its middle.

    A number left blank would not do: it counts as a donor nobody wrote down, whose jobs went otherwise.
    """
    fit = model.with_donor
    if fit is None or not fit.design.seen(intake.facts)[0]:
        return ()
    tested = next((t for t in fit.design.terms if t.column == "known_good" and isinstance(t, PooledCategory)), None)
    middle = {term.column: term.median for term in fit.design.terms if isinstance(term, PooledNumber)}
    middle = {column: value for column, value in middle.items() if column not in FACTS}
    kinds: list[tuple[str, Mapping[str, object], int]] = []
    if tested is not None:
        counts = dict(zip(tested.levels, tested.counts, strict=True))
        kinds = [(level, {"known_good": level}, counts[level]) for level in tested.recorded[0]]
    if intake.donor:
        kinds.append((THIS_DONOR, intake.donor, fit.n))
    known = {name: intake.facts[name].iloc[0] for name in FACTS}
    out = []
    for label, donor, n in kinds:
        row = empty_intake({**known, **middle, **donor})
        if fit.design.seen(row)[0]:
            told = fit.chances(row)
            out.append(DonorOption(label, float(told.mean[0]), float(told.low[0]), float(told.high[0]), n))
    return tuple(out)


def decide_all(
    bench: BenchModel, facts: pd.DataFrame, intakes: Sequence[Intake], settings: Settings
) -> list[Assessment]:
    """The recommendation for each intake and what it rests on, without what only explains it.

    The facts of all stand in one frame, a row an intake, so that their chances are worked out together; an odd intake
    never raises.
    """
    told = {outcome: model.chances(facts) for outcome, model in bench.models.items()}
    damages = facts[DAMAGE].astype(str).tolist()
    hours = {damage: bench.hours(damage, settings.minimum_class_n) for damage in set(damages)}
    past = bench.past_jobs
    return [
        _decision(
            bench,
            intake,
            past.like(known),
            {outcome: each[row] for outcome, each in told.items()},
            hours[damages[row]],
            settings,
        )
        for row, (intake, known) in enumerate(zip(intakes, facts.to_dict("records"), strict=True))
    ]


def decide(bench: BenchModel, intake: Intake, settings: Settings) -> Assessment:
    """:func:`decide_all` of a single intake."""
    return decide_all(bench, intake.facts, [intake], settings)[0]


def _decision(
    bench: BenchModel,
    intake: Intake,
    alike: Alike,
    told: Mapping[Outcome, Chance | None],
    hours: tuple[HoursGiven, str] | None,
    settings: Settings,
) -> Assessment:
    """The rule, given the chances of each outcome and the hours of boards with such damage."""
    trust = {outcome: model.trust for outcome, model in bench.models.items()}
    model = bench.models.get(Outcome.RECOVERED)
    lacking = lacking_money(intake)
    if model is None:
        nothing = ("No accepted job has been closed yet, so that there is nothing to compare with.",)
        return Assessment(intake, Advice.OUTSIDE, (Why.OUTSIDE,), nothing, {}, trust, alike, lacking=lacking)
    main = told[Outcome.RECOVERED]
    if main is None:
        outside = never_seen(model.design, intake.facts)
        return Assessment(intake, Advice.OUTSIDE, (Why.OUTSIDE,), outside, {}, trust, alike, lacking=lacking)
    offer = offer_of(intake, settings)
    value, fee_from = None, (float("nan"), float("nan"))
    if offer is not None and hours is not None:
        value = offer_value(offer, hours[0], main.mean, main.low, main.high)
        at = [fee_needed(offer, hours[0], chance) for chance in (main.mean, main.low, main.high)]
        fee_from = (at[0], max(at))
    advice, why = recommend(value, main.unseen_family, alike.counted(FEWEST_ALIKE))
    unknown = ((Why.MONEY,) if lacking else ()) + ((Why.HOURS,) if hours is None else ())
    return Assessment(
        intake=intake,
        advice=advice,
        why=(*unknown, *why),
        outside=(),
        chances={outcome: chance for outcome, chance in told.items() if chance is not None},
        trust=trust,
        alike=alike,
        value=value,
        hours=None if hours is None else hours[0],
        hours_of="" if hours is None else hours[1],
        lacking=lacking,
        fee_from=fee_from,
        before_hours=float("nan") if offer is None else before_hours(offer, main.mean),
    )


def assess(bench: BenchModel, intake: Intake, settings: Settings) -> Assessment:
    """Assess one intake: the decision, what moved the chance, what to find out first, donors to choose from."""
    found = decide(bench, intake, settings)
    model = bench.models.get(Outcome.RECOVERED)
    if found.advice is Advice.OUTSIDE or model is None or model.fit is None or model.source != MODEL:
        return found
    offer, hours = offer_of(intake, settings), found.hours
    return replace(
        found,
        facts=contributions(model.fit, intake.facts),
        find_out=best_to_find_out(model.fit, intake.facts, offer, hours) if offer and hours else None,
        unknown=unknown_facts(model.fit, intake.facts) if offer and hours else (),
        donors=donor_options(model, intake),
    )


def fee_needed(offer: Offer, hours: HoursGiven, chance: float) -> float:
    """Fee at which the expected margin is zero, paid on the same basis; infinite where nothing would ever be paid."""
    kept = {Basis.NO_RESULT_NO_FEE: 0.0, Basis.FLAT: 1.0}.get(offer.basis, offer.share_at_start or 0.0)
    paid = chance + (1 - chance) * kept
    took = chance * hours.means[0] + (1 - chance) * hours.means[1]
    return float(offer.donor_cost + offer.hour_cost * took) / paid if paid > 0 else float("inf")


def before_hours(offer: Offer, chance: float) -> float:
    """Expected margin before the cost of bench hours."""
    won, lost = (float(offer.margins(0.0, success)) for success in (True, False))
    return chance * won + (1 - chance) * lost


def by_margin_per_hour(assessments: tuple[Assessment, ...]) -> tuple[Assessment, ...]:
    """A waiting list for when hours are short: the best margin a bench hour first, those without one last."""

    def key(each: Assessment) -> tuple[bool, float]:
        lacking = each.value is None or each.value.margin_per_hour != each.value.margin_per_hour
        return lacking, 0.0 if lacking or each.value is None else -each.value.margin_per_hour

    return tuple(sorted(assessments, key=key))
