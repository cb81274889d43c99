"""An intake as the counter tells it: texts by column, read by the same rules as the log, to facts and money."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from analysis.cohort.levels import NOT_KNOWN
from analysis.errors import LogError, ReworkError
from analysis.questions.bench_model import empty_intake
from analysis.questions.intake_columns import may_enter
from analysis.records.delimited import read_delimited
from analysis.records.dictionary import DONOR_FACTS, JOBS, Column, Kind, Required, Role, Table
from analysis.records.entering.cells import Rules
from analysis.records.settings import Settings

FACT_COLUMNS = tuple(column for column in JOBS.columns if may_enter(column))
MONEY_COLUMNS = tuple(c for c in JOBS.columns if c.role is Role.MONEY)
ASKED = (*FACT_COLUMNS, *MONEY_COLUMNS)
SHARE = "start_share"  # of a staged fee; the log has no column for it


@dataclass(frozen=True)
class Intake:
    """One device on the counter.

    Parameters
    ----------
    facts : DataFrame, shape (1, ...)
        One row with the columns the models look at; what is not known is blank.
    recorded : mapping of str to str
        What was said, by column, as it would stand in the log.
    basis : str
        Code of the fee basis; empty when not known.
    fee, donor_cost : float or None
    start_share : float or None
        Share of a staged fee due at the start, between 0 and 1.
    donor : mapping of str to object
        Facts of a donor that could be used.
    name : str
        The shop's code, for a list; empty otherwise.
    """

    facts: pd.DataFrame
    recorded: Mapping[str, str]
    basis: str = ""
    fee: float | None = None
    donor_cost: float | None = None
    start_share: float | None = None
    donor: Mapping[str, object] | None = None
    name: str = ""


def _value(column: Column, text: str) -> object:
    return float(text) if column.kind in (Kind.NUMBER, Kind.INTEGER) else text


def _second_seen(code: str) -> str:
    """A blank second damage means that none was seen, as everywhere."""
    return "no" if code in ("", "none_seen") else "yes"


def read_intake(texts: Mapping[str, str], settings: Settings, today: dt.date, name: str = "") -> Intake:
    """Read an intake from texts by column; all faults at once.

    Parameters
    ----------
    texts : mapping of str to str
        Columns of jobs.csv that are known at intake or assessment, the fee and donor cost, the donor's facts, and
        ``start_share`` in percent (blank: the shop's setting, if it has one).
    settings : Settings
    today : date
    name : str
        Code of the intake in a list.

    Raises
    ------
    ReworkError
        If a value cannot be used, or the damage is missing.
    """
    rules, said, faults = Rules(settings, today), {}, []
    for column in (*ASKED, *DONOR_FACTS):
        try:
            said[column.name] = rules.read(column, texts.get(column.name, ""))
        except ReworkError as error:
            named = error.found if error.found.startswith(column.name) else f"{column.name}: {error.found}"
            faults.append(f"{named} {error.todo}".strip())
    if not texts.get("intake_damage", "").strip():
        faults.append(f"intake_damage is missing; it is {JOBS['intake_damage'].rule}.")
    share = _share(texts.get(SHARE, ""), faults)
    if faults:
        where = f"intake {name}" if name else "the intake"
        todo = "Correct it; 'rework column NAME' explains a column."
        raise ReworkError("\n  ".join(faults), todo=todo, where=where)
    values = {c.name: _value(c, said[c.name]) for c in (*ASKED, *DONOR_FACTS) if said[c.name]}
    facts = {c.name: values[c.name] for c in FACT_COLUMNS if c.name in values and values[c.name] != NOT_KNOWN}
    facts["second_damage_seen"] = _second_seen(said["second_damage"])
    return Intake(
        facts=empty_intake(facts),
        recorded={k: v for k, v in said.items() if v},
        basis=said["fee_basis"],
        fee=_number(values, "fee_amount"),
        donor_cost=_number(values, "donor_cost"),
        start_share=share or settings.staged_start_share_pct / 100 or None,
        donor={c.name: values[c.name] for c in DONOR_FACTS if c.name in values},
        name=name,
    )


def _number(values: Mapping[str, object], column: str) -> float | None:
    return float(str(values[column])) if column in values else None


def _share(text: str, faults: list[str]) -> float | None:
    if not text.strip():
        return None
    try:
        percent = float(text.strip().rstrip("%").strip().replace(",", "."))
    except ValueError:
        percent = float("nan")
    if not 0 < percent < 100:
        faults.append(f"{SHARE}: '{text}' is not a share of the fee in percent between 0 and 100.")
        return None
    return percent / 100


def read_waiting(path: Path, settings: Settings, today: dt.date, start_share: str = "") -> tuple[Intake, ...]:
    """Read a CSV file of waiting intakes: ``job_id`` and the columns of jobs.csv known by then.

    Raises
    ------
    LogError
        If the file cannot be read or has a fault; every fault is told at once and nothing is assessed.
    """
    columns = (JOBS["job_id"], *(replace(column, required=Required.NO) for column in (*ASKED, *DONOR_FACTS)))
    if not path.is_file():
        raise LogError(f"{path} is not a file.", todo="Name a CSV file with a row for each waiting intake.")
    raw = read_delimited(path, Table(path.stem, "a waiting intake", ("job_id",), columns))
    told = [problem.line_text() for problem in raw.problems if problem.severity == "fault"]
    found, seen = [], set()
    for at, line in enumerate(raw.lines if raw.usable else ()):
        texts = {name: cells[at] for name, cells in raw.columns.items()} | {SHARE: start_share}
        name = texts["job_id"].strip()
        try:
            found.append(read_intake(texts, settings, today, name or f"on line {line}"))
        except ReworkError as error:
            told.append(f"line {line}: {error.found}")
        if not name or name in seen:
            told.append(f"line {line}: job_id {'is missing' if not name else f'{name} stands twice'}.")
        seen.add(name)
    if told or not raw.usable:
        todo = "Correct them; nothing was assessed."
        raise LogError("\n  ".join(told) or "The file cannot be read.", todo=todo, where=path.name)
    return tuple(found)
