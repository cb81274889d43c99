"""What a client's own device may expect: the model's range where it is to be trusted, else the rate of its damage."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from analysis.cohort.as_of import as_of
from analysis.cohort.features import build_cohort
from analysis.errors import ReworkError
from analysis.questions.evidence import ClassRow, Evidence
from analysis.questions.intake_columns import may_enter
from analysis.records.dictionary import JOBS
from analysis.records.log import Log

DAMAGE = "intake_damage"
# What the counter knows of a device; a shop's own codes (the board family) stay out of a page that is given away.
ASKED = tuple(column.name for column in JOBS.columns if may_enter(column) and column.name != "board_family")


@dataclass(frozen=True)
class Alike:
    """A device against past jobs.

    Parameters
    ----------
    facts : mapping of str to str
        What is known of the device, by column.
    row : ClassRow
        Rates of the line of the table its damage is in.
    chance : tuple of (float, float, float) or None
        Chance of recovery and its 80 % range by the model; None where the rule for trusting it does not hold, and the
        class rate stands.
    n : int
        Jobs behind the chance.
    """

    facts: Mapping[str, str]
    row: ClassRow
    chance: tuple[float, float, float] | None
    n: int


def read_facts_of(texts: Sequence[str]) -> dict[str, str]:
    """Facts of a device written COLUMN=VALUE.

    Raises
    ------
    ReworkError
        If one is written otherwise, or its column is none of those asked.
    """
    out: dict[str, str] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        if not equals or name.strip() not in ASKED:
            rule = f"COLUMN=VALUE, where the column is one of: {', '.join(ASKED)}"
            raise ReworkError(f"'{text}' is no fact of a device.", rule=rule, todo="For example intake_damage=liquid.")
        out[name.strip()] = value.strip()
    return out


def alike(log: Log, evidence: Evidence, facts: Mapping[str, str]) -> Alike:
    """Look a device up.

    Parameters
    ----------
    log : Log
        The log the evidence was counted from.
    evidence : Evidence
    facts : mapping of str to str

    Raises
    ------
    ReworkError
        If a fact cannot be used, or the sheet shows no rate for the damage.
    """
    from analysis.questions.intake_form import read_intake

    if set(facts) - set(ASKED):
        raise ReworkError(f"{', '.join(sorted(set(facts) - set(ASKED)))}: no facts of a device that are asked.")
    intake = read_intake(facts, log.settings, evidence.until.date())
    row = next((row for row in evidence.classes if facts[DAMAGE] in row.codes), None)
    if row is None:
        damage = JOBS[DAMAGE].text_of(facts[DAMAGE])
        raise ReworkError(
            f"the sheet of {evidence.span.name} shows no rate for the damage '{damage}'.",
            rule="A device is compared only with jobs that stand on the sheet.",
            todo="Choose a longer period, or make the sheet without --intake.",
        )
    chance, n = _by_model(log, evidence.until, intake.facts)
    return Alike({name: intake.recorded[name] for name in ASKED if intake.recorded.get(name)}, row, chance, n)


def _by_model(log: Log, until: pd.Timestamp, facts: pd.DataFrame) -> tuple[tuple[float, float, float] | None, int]:
    """Chance by the model of the whole log, where it told more than the class rate over past months."""
    from analysis.questions.bench_model import MODEL, bench_model, rolled_over
    from analysis.questions.offer_rows import Outcome, outcome_rows

    rows = {Outcome.RECOVERED: outcome_rows(build_cohort(as_of(log, until)))[Outcome.RECOVERED]}
    rolled = {outcome: rolled_over(each) for outcome, each in rows.items()}
    # A day after all outcomes asks for the same, without the models for choosing donors.
    known = bench_model(rows, rolled, until + pd.Timedelta(days=1)).models.get(Outcome.RECOVERED)
    told = known.chance(facts) if known is not None else None
    if told is None or told.source != MODEL:
        return None, 0
    return (told.mean, told.low, told.high), told.n
