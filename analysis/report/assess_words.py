"""One intake in words, for the terminal, the page and scripts."""

from __future__ import annotations

import json
import math
from typing import Any

from analysis.models.offer_value import Pays
from analysis.questions.assess import Advice, Assessment, Why, fact_title
from analysis.questions.bench_model import MODEL, Chance
from analysis.questions.intake_columns import intake_terms
from analysis.questions.offer_rows import Outcome
from analysis.questions.trust import Trust
from analysis.records.dictionary import DONORS, JOBS
from analysis.records.problems import plural
from analysis.records.settings import FILE, Settings
from analysis.report.wording import interval, listed, number, percent, points, sentence, span

OUTCOMES = {Outcome.RECOVERED: "Recovery", Outcome.FIRST_BOOT: "First boot"}
SHOWN_FACTS, SHOWN_ALIKE = 4, 8
TITLES = {term.label: fact_title(term.column) for term in intake_terms()}
LACKING = {
    "fee_basis": "how the client pays",
    "fee_amount": "the fee",
    "donor_cost": "what the donor costs",
    "start_share": "the share of a staged fee due at the start",
}
DONORS_HEAD = (
    "Donors, an option and no information (a second model, with the donor's facts: compare these with one another, not"
    " with the chance above):"
)
CAUTION = (
    "The board is often the client's only copy and most steps cannot be undone: tell the client the chance and the range"
    " before work, and get consent in writing. A chance is no promise. Local law and codes prevail."
)


def money(value: float, currency: str) -> str:
    """An amount: "−46 EUR"."""
    return f"{number(value)} {currency}"


def hour_cost_words(settings: Settings) -> str:
    """What an hour costs, and whether the shop ever said so: "60 EUR (the default; set bench_hour_cost in bench.toml)"."""
    told = money(settings.bench_hour_cost, settings.currency)
    return f"{told} (the default; set bench_hour_cost in {FILE})" if is_default_cost(settings) else told


def is_default_cost(settings: Settings) -> bool:
    """Whether the cost of an hour is the program's and not known to be the shop's."""
    return settings.bench_hour_cost == Settings().bench_hour_cost


def hour_cost_dict(settings: Settings) -> dict[str, Any]:
    """The cost of an hour for scripts."""
    return {"bench_hour_cost": settings.bench_hour_cost, "bench_hour_cost_is_default": is_default_cost(settings)}


def hour_cost_lines(settings: Settings) -> list[str]:
    """A sentence for beside a verdict on money, where the shop never said what an hour costs."""
    return [f"Counted with a bench hour of {hour_cost_words(settings)}."] if is_default_cost(settings) else []


def chance_words(chance: Chance) -> str:
    """A chance with its interval and source."""
    of_class = f"rate of its damage class, {plural(chance.n, 'job')}, weighed with the other classes"
    of = f"model, {chance.n} jobs" if chance.source == MODEL else of_class
    return f"{percent(chance.mean)} (80 % interval {interval(chance.low, chance.high)}; {of})"


def trust_words(trust: Trust) -> str:
    """Whether the model or the class rate is used, and why."""
    if trust.reason:
        return f"The rate of the damage class is used: {trust.reason} before the model may be believed."
    months = f"over {trust.months} past months ({trust.n} jobs), each predicted from what was known before it"
    if trust.model:
        return f"The model is used: {months}, it told more than the rate of the damage class."
    return f"The rate of the damage class is used: {months}, the model did not clearly tell more."


def basis_words(found: Assessment) -> str:
    """What the chance of recovery rests on, and that of first boot where it rests on something else."""
    text = trust_words(found.trust[Outcome.RECOVERED])
    sources = {outcome: chance.source for outcome, chance in found.chances.items()}
    if len(set(sources.values())) > 1:
        other = "the rate" if sources[Outcome.RECOVERED] == MODEL else "the model"
        text += f" Each outcome is judged for itself: for first boot {other} is used."
    return text


def why_words(found: Assessment, currency: str) -> list[str]:
    """Reasons of the recommendation, a sentence each."""
    value = found.value
    out = list(found.outside)
    if value is not None:
        ends = f"{span(value.margin_low, value.margin_high)} {currency}"
        out += {
            Why.PAYS: [f"The expected margin is positive over the whole interval of the chance ({ends})."],
            Why.LOSES: [f"The expected margin is negative over the whole interval of the chance ({ends})."],
            Why.UNSURE: [f"The interval of the chance holds both gain and loss (expected margin {ends})."],
        }.get(next(w for w in found.why if w in (Why.PAYS, Why.LOSES, Why.UNSURE)), [])
    if Why.MONEY in found.why:
        out.append(f"Its worth cannot be told without {listed([LACKING[name] for name in found.lacking])}.")
    if Why.HOURS in found.why:
        out.append("Its worth cannot be told: bench hours of past successes and failures were not recorded.")
    if Why.FAMILY in found.why:
        out.append("Its board family was never seen here: at best discuss.")
    if Why.FEW in found.why:
        out.append(f"Only {plural(found.alike.n, 'past job')} resemble it; under five it is talked about.")
    return out


def alike_words(found: Assessment) -> str:
    """How many past jobs resemble the intake, and what became of them."""
    alike = found.alike
    if not alike.n:
        return "No past job resembles it (same damage and at most one other recorded fact different)."
    booted = f"; {alike.booted} of {alike.tested} booted at the first test" if alike.tested else ""
    return (
        f"{plural(alike.n, 'past job')} resemble it (same damage, at most one other recorded fact different, ages within"
        f" two years count as equal): {alike.recovered} of {alike.n} recovered{booted}."
    )


def worth_words(found: Assessment, currency: str) -> list[str]:
    """What the intake is worth."""
    value, took = found.value, hours_words(found)
    if value is None:
        return took
    even = value.break_even
    breaks = {
        Pays.FROM: f"It pays from a chance of {percent(even.chance)} on.",
        Pays.UP_TO: f"It pays up to a chance of {percent(even.chance)}.",
        Pays.ALWAYS: "It pays whatever the chance: the client alone bears the risk, so tell the chance first.",
        Pays.NEVER: "It pays at no chance: even a success costs more than the fee.",
    }[even.pays]
    return [
        f"Expected margin {money(value.margin, currency)}; chance of a loss {percent(value.loss)}. {breaks}",
        *_fee_words(found, currency),
        f"Success leaves {money(value.on_success, currency)}, failure {money(value.on_failure, currency)}, on average.",
        *took,
        f"Expected bench hours {number(value.hours, 1)}; margin a bench hour {number(value.margin_per_hour, 1)} {currency}."
        f" Before the cost of the hours it is {money(found.before_hours, currency)}: saved hours are worth nothing without a"
        " queue.",
    ]


def _fee_words(found: Assessment, currency: str) -> list[str]:
    """The fee to ask: what is talked about at the counter."""
    here, everywhere = found.fee_from
    if not math.isfinite(here):
        return []
    text = f"At this chance it pays from a fee of {money(here, currency)} on, donor and hours as they are"
    more = (
        f"; at every chance within the interval from {money(everywhere, currency)} on"
        if math.isfinite(everywhere)
        else ""
    )
    return [f"{text}{more}."]


def hours_words(found: Assessment) -> list[str]:
    """Bench hours given success and given failure."""
    hours = found.hours
    if hours is None:
        return []
    of = "past jobs with this damage" if found.hours_of else "all closed jobs, those with this damage being too few"
    return [
        f"Bench hours to close: {number(float(hours.success.mean()), 1)} on success ({plural(len(hours.success), 'job')}),"
        f" {number(float(hours.failure.mean()), 1)} on failure ({plural(len(hours.failure), 'job')}), as {of}."
    ]


def fact_words(found: Assessment) -> list[str]:
    """The facts that moved the chance most."""
    moved = [fact for fact in found.facts if abs(fact.points) >= 0.5][:SHOWN_FACTS]
    return [f"{sentence(TITLES.get(f.label, f.label))} {f.value}: {points(f.points)} points" for f in moved]


def find_out_words(found: Assessment, currency: str) -> str:
    """The one unknown fact worth finding out first."""
    best = found.find_out
    if best is None:
        names = listed([fact_title(column) for column in found.unknown])
        each = "it" if len(found.unknown) == 1 else "any one of them"
        return f"Not known yet: {names}; no past value of {each} would turn the decision." if names else ""
    return (
        f"Worth finding out first: {TITLES.get(best.label, best.label)} (the chance may turn out {percent(best.low)} to"
        f" {percent(best.high)}; knowing it is worth about {money(best.gain, currency)})."
    )


def donor_words(found: Assessment) -> list[str]:
    """Donors as options."""
    column = DONORS["known_good"]
    named = {code: f"donor test {column.text_of(code)}" for code in column.codes}
    return [
        f"{sentence(named.get(d.label, d.label))}: {percent(d.mean)} ({interval(d.low, d.high)}; {plural(d.n, 'job')})"
        for d in found.donors
    ]


def _alike_lines(found: Assessment) -> list[str]:
    rows = []
    for job in found.alike.jobs[:SHOWN_ALIKE]:
        differs = f"other {fact_title(job.differs)}" if job.differs else "no fact differs"
        rows.append(f"  {job.job_id}: {job.ending}, {number(job.hours, 1)} h ({differs})")
    more = found.alike.n - SHOWN_ALIKE
    return rows + ([f"  … and {more} more"] if more > 0 else [])


def assessment_lines(found: Assessment, settings: Settings) -> list[str]:
    """The whole assessment as lines for a terminal."""
    currency = settings.currency
    name = f"{found.intake.name}: " if found.intake.name else ""
    beside = hour_cost_lines(settings) if found.value is not None else []
    lines = [f"{name}{found.advice.upper()}", *(f"  {text}" for text in [*why_words(found, currency), *beside]), ""]
    for outcome, title in OUTCOMES.items():
        if outcome in found.chances:
            lines.append(f"{title}: {chance_words(found.chances[outcome])}")
    if found.advice is not Advice.OUTSIDE:
        lines.append(basis_words(found))
    lines += [alike_words(found), *_alike_lines(found)]
    lines += worth_words(found, currency)
    if facts := fact_words(found):
        lines += ["What moved the chance of recovery, against the shop's usual mix:", *(f"  {text}" for text in facts)]
    if text := find_out_words(found, currency):
        lines.append(text)
    if donors := donor_words(found):
        lines += [DONORS_HEAD, *(f"  {text}" for text in donors)]
    return [*lines, "", CAUTION]


def _clean(value: Any) -> Any:
    """JSON has no NaN and no infinity."""
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    return value


def _fields(thing: object, names: str) -> dict[str, Any]:
    return {name: _clean(getattr(thing, name)) for name in names.split()}


def as_dict(found: Assessment, settings: Settings, log_hash: str) -> dict[str, Any]:
    """The assessment as plain values, for scripts."""
    value, currency = found.value, settings.currency
    return {
        "name": found.intake.name,
        "recommendation": str(found.advice),
        "reasons": why_words(found, currency),
        "outside": list(found.outside),
        "chances": {str(k): _fields(c, "mean low high level source n unseen_family") for k, c in found.chances.items()},
        "trust": {str(k): _fields(t, "model gain low high months n reason") for k, t in found.trust.items()},
        "alike": _fields(found.alike, "n recovered booted tested")
        | {"jobs": [_fields(job, "job_id ending first_boot hours differs") for job in found.alike.jobs]},
        "currency": currency,
        **hour_cost_dict(settings),
        "worth": None
        if value is None
        else _fields(value, "margin margin_low margin_high on_success on_failure loss hours margin_per_hour")
        | {"break_even": _clean(value.break_even.chance), "pays": str(value.break_even.pays)}
        | {"before_hours": _clean(found.before_hours)}
        | dict(zip(("fee_from", "fee_from_over_interval"), map(_clean, found.fee_from), strict=True)),
        "hours": None
        if found.hours is None
        else {
            "on_success": _clean(float(found.hours.success.mean())),
            "on_success_n": len(found.hours.success),
            "on_failure": _clean(float(found.hours.failure.mean())),
            "on_failure_n": len(found.hours.failure),
            "of": found.hours_of or "all",
        },
        "facts": [
            {"fact": TITLES.get(f.label, f.label), "value": f.value, "points": round(f.points, 2)} for f in found.facts
        ],
        "find_out": None
        if found.find_out is None
        else _fields(found.find_out, "label gain accept_now changes low high"),
        "unknown": list(found.unknown),
        "donors": [_fields(each, "label mean low high n") for each in found.donors],
        "lacking": list(found.lacking),
        "log_hash": log_hash,
    }


def as_json(told: dict[str, Any] | list[dict[str, Any]]) -> str:
    """One assessment, or a list of them, as JSON."""
    return json.dumps(told, ensure_ascii=False, indent=1, allow_nan=False)


def recorded_words(found: Assessment) -> str:
    """What was said of the intake, in one line."""
    columns = [(JOBS[name], value) for name, value in found.intake.recorded.items() if name in JOBS.by_name]
    return ", ".join(f"{c.title} {c.text_of(value)} {c.unit}".rstrip() for c, value in columns)
