"""Section of the review: jobs to talk about, one line each, which opens to the job's own card."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from analysis.questions.job_card import Detail, Entry, JobCard, job_card
from analysis.questions.period import month_name
from analysis.questions.review import Review
from analysis.questions.talk import TalkJob
from analysis.records.dictionary import HEAT_STEPS
from analysis.records.problems import plural
from analysis.report.page import Grid, Prose
from analysis.report.wording import hours, percent

# People are not named on a page for the whole bench; the outcome and the hours stand in the line above the card.
NOT_ON_THE_CARD = ("technician_id", "decision", "decline_reason")
TOO_PLAIN = ("chip_source",)  # the chip and the side say it
TYPED = HEAT_STEPS["entry_kind"].text_of("typed")  # what goes without saying


@dataclass(frozen=True)
class Card:
    """One job: a line that is always seen, and the card that it opens to."""

    job_id: str
    line: str
    facts: Prose
    work: Grid | Prose

    def html(self) -> str:
        """As HTML; all text is escaped."""
        name, line = escape(self.job_id), escape(self.line)
        inner = self.facts._repr_html_() + self.work._repr_html_()
        return f'<details class="job"><summary><strong>{name}</strong> {line}</summary>{inner}</details>'


@dataclass(frozen=True)
class Cards:
    """Jobs under two headings, and a note."""

    groups: Sequence[tuple[str, Sequence[Card]]]
    note: str

    def _repr_html_(self) -> str:
        parts = [
            f"<h3>{escape(heading)}</h3>{''.join(card.html() for card in cards)}"
            for heading, cards in self.groups
            if cards
        ]
        return f'{"".join(parts)}<p class="under">{escape(self.note)}</p>'


def talk_cards(review: Review) -> Cards | Prose:
    """Failures that were most likely to succeed, and successes that were least likely, each with its card."""
    if not review.talk:
        return Prose([_none(review)])
    made = [(job, _card(review, job)) for job in review.talk]
    return Cards(
        [
            ("Failed, though likely to boot", [card for job, card in made if not job.succeeded]),
            ("Booted, though unlikely to", [card for job, card in made if job.succeeded]),
        ],
        f"Most surprising first boots of {month_name(review.month)} by intake facts alone. Surprising does not mean that anyone"
        " did wrong. A line opens to the job's card; cards that are open are printed. Usual: from the 10th to the 90th percentile of the shop's own earlier jobs,"
        " same step, same chip, same station; what this bench does, never what is right.",
    )


def _none(review: Review) -> str:
    tested = review.first_boot[0].proportion.n
    if not tested:
        return f"No first boot test in {month_name(review.month)}, so that there is no job to talk about."
    if not review.now_known:
        return (
            "Surprising jobs can be named once the log can say what was to be expected: ten boots and ten failures before the"
            f" month. This month had {plural(tested, 'first boot')}."
        )
    return f"None of {plural(tested, 'first boot')} of this month went against what its intake facts led one to expect."


def _card(review: Review, job: TalkJob) -> Card:
    card = job_card(review.log, job.job_id)
    return Card(job.job_id, _line(job, card), _facts(card), _work(card))


def _line(job: TalkJob, card: JobCard) -> str:
    booted = "booted" if job.succeeded else "did not boot"
    parts = [f"{booted} at the first test, chance by intake facts {percent(job.chance)}", job.facts, job.done]
    if job.cause:
        parts.append(job.cause)
    if not math.isnan(job.hours):
        parts.append(hours(job.hours))
    if card.outside:
        parts.append(f"{plural(card.outside, 'value')} outside the usual range")
    return "; ".join(parts) + "."


def _facts(card: JobCard) -> Prose:
    told = [f"{each.label}: {_value(each)}" for each in card.facts if each.column not in NOT_ON_THE_CARD]
    return Prose(["; ".join(told) + "." if told else ""])


def _value(each: Detail) -> str:
    return each.text if each.unit in each.label else f"{each.text} {each.unit}".strip()


def _work(card: JobCard) -> Grid | Prose:
    if not card.entries:
        return Prose(["Neither work nor boot tests of this job are recorded."])
    rows = [[_title(entry), _outside(entry), _recorded(entry)] for entry in card.entries]
    under = f"Usual ranges from up to {plural(card.earlier_jobs, 'job')} received before it."
    return Grid(f"What was done to {card.job_id}", ["step", "outside the usual", "recorded"], rows, under=under)


def _title(entry: Entry) -> str:
    """What it is; work for a later test, or for none that is named, says so."""
    if entry.kind == "boot test" or entry.before_test == 1:
        return entry.title
    return f"{entry.title} ({'test not said' if entry.before_test is None else f'before test {entry.before_test}'})"


def _usual(each: Detail) -> str:
    low, high = f"{each.low:.3g}", f"{each.high:.3g}"
    return f"usual {low if low == high else f'{low}–{high}'}, n = {each.n}"


def _recorded(entry: Entry) -> str:
    told = [
        f"{each.label} {_value(each)}" + ("" if math.isnan(each.low) else f" ({_usual(each)})")
        for each in entry.details
        if each.column not in TOO_PLAIN and not (each.column == "entry_kind" and each.text == TYPED)
    ]
    return "; ".join(told) or "nothing written"


def _outside(entry: Entry) -> str:
    return "; ".join(f"{each.label} {_value(each)}" for each in entry.details if each.outside)
