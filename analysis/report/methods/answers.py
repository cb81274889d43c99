"""Small phrases that both checklists fill in from the results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.cohort.ledger import Ledger
from analysis.models.scores import Estimate
from analysis.questions.checklist_facts import Blank, ChecklistFacts
from analysis.records.problems import plural
from analysis.report.wording import listed, number, percent


@dataclass(frozen=True)
class Item:
    """An item of a checklist: its number, what it asks in our own words, the answer for this log."""

    number: str
    asks: str
    answer: str


def flow(ledger: Ledger) -> str:
    """Rows in, each exclusion, rows used."""
    out = [f"{plural(ledger.rows_in, ledger.unit.removesuffix('s'))} in the log"]
    out += [f"less {n} ({reason})" for reason, n in ledger.exclusions]
    return f"{', '.join(out)}: {ledger.rows_used} used."


def blanks(found: Sequence[Blank]) -> str:
    """Blanks of each fact, those without any summed up."""
    some = [f"{each.label} {each.blank} of {each.n}" for each in found if each.blank]
    none = sum(not each.blank for each in found)
    parts = [f"Blank: {listed(some)}." if some else "", f"{plural(none, 'fact')} without a blank." if none else ""]
    return " ".join(filter(None, parts))


def estimate(value: Estimate) -> str:
    """A measure with its interval."""
    if value.value != value.value:
        return "cannot be had"
    return f"{number(value.value, 2)} (95 % interval {number(value.low, 2)} to {number(value.high, 2)})"


def dates(facts: ChecklistFacts) -> str:
    """From when to when."""
    received = facts.log.tables["jobs"]["received_date"].dropna()
    if not len(received):
        return "No date yet."
    return f"Received from {received.min():%Y-%m-%d} to {received.max():%Y-%m-%d}; last entry {facts.log.last_date:%Y-%m-%d}."


def source(facts: ChecklistFacts) -> str:
    """Where the data come from."""
    jobs = plural(len(facts.log.tables["jobs"]), "job")
    invented = " The data are invented." if facts.log.invented else ""
    return f"The bench's own log, written as work goes on: {jobs}, hash {facts.log.hash[:12]}.{invented}"


def share(x: int, n: int) -> str:
    """A count with its share."""
    return f"{x} of {n} ({percent(x / n)})" if n else "no jobs"
