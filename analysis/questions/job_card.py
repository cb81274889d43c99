"""The card of one job: what came in, then every side, heat step and boot test in order, settings beside the usual.

The usual range of a setting runs from the 10th to the 90th percentile of the shop's own earlier jobs, of the same kind
of step on the same chip, with their number. It says what this shop does, never what is right: a set-point of one
station is no specification. The makers' data sheets prevail.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.work import entered
from analysis.errors import ReworkError
from analysis.records.dictionary import BY_NAME, Column, Kind, Role
from analysis.records.log import Log

LOW, HIGH = 0.10, 0.90
# What a station shows does not compare with another station.
# Read off a thermocouple, so that they tell something even where the station ran an unchanged preset.
MEASURED = ("measured_peak_c", "above_liquidus_s")
BY_STATION = ("set_temp_c", "airflow_setting")
# Told in an entry's title or place, not among its details.
PLACED = ("job_id", "chip_role", "side", "step_no", "step_type", "before_test_no", "test_no")


@dataclass(frozen=True)
class Detail:
    """One filled cell, with the usual range where it is a number of work.

    Parameters
    ----------
    column, label, text, unit : str
        The column, its plain name, the value in words, and its unit.
    low, high : float
        Usual range of the shop's earlier jobs; NaN where there is none.
    n : int
        Earlier jobs with a value of the same kind.
    outside : bool
        Whether the value lies outside the usual range.
    """

    column: str
    label: str
    text: str
    unit: str = ""
    low: float = float("nan")
    high: float = float("nan")
    n: int = 0
    outside: bool = False


@dataclass(frozen=True)
class Entry:
    """A side worked on, a heat step or a boot test.

    Parameters
    ----------
    kind : str
        "side", "heat step" or "boot test".
    before_test : int or None
        Boot test it came before (for a boot test its own number); None where the log does not say.
    title : str
        In words.
    details : tuple of Detail
        Filled cells only.
    """

    kind: str
    before_test: int | None
    title: str
    details: tuple[Detail, ...]


@dataclass(frozen=True)
class JobCard:
    """Everything the log holds of one job; never client data.

    Parameters
    ----------
    job_id : str
    facts : tuple of Detail
        The job's own row; money and the technician's guess left out.
    entries : tuple of Entry
        In the order of work; undated work last.
    earlier_jobs : int
        Jobs received before it, which the usual ranges come from.
    """

    job_id: str
    facts: tuple[Detail, ...]
    entries: tuple[Entry, ...]
    earlier_jobs: int

    @property
    def outside(self) -> int:
        """Settings outside their usual range."""
        return sum(detail.outside for entry in self.entries for detail in entry.details)


def job_card(log: Log, job_id: str) -> JobCard:
    """Put the card of one job together.

    Parameters
    ----------
    log : Log
        The log; ranges come from jobs received on days before this job's.
    job_id : str
        The job.

    Raises
    ------
    ReworkError
        If the log holds no such job.
    """
    jobs = log.tables["jobs"]
    mine = jobs[jobs["job_id"].eq(job_id)]
    if mine.empty:
        raise ReworkError(
            f"The log holds no job '{job_id}'.",
            rule="A card is made of a job in jobs.csv that has no fault.",
            todo="Look the code up in jobs.csv; 'rework check' lists jobs with faults.",
            where=str(log.folder),
        )
    job = mine.iloc[0]
    earlier = set(jobs.loc[jobs["received_date"].lt(job["received_date"]), "job_id"])
    told = [c for c in BY_NAME["jobs"].columns if c.role not in (Role.MONEY, Role.RIVAL) and c.name != "job_id"]
    facts = tuple(_detail(column, job[column.name]) for column in told if pd.notna(job[column.name]))
    entries = [*_work(log, job_id, "chip_sides", earlier), *_work(log, job_id, "heat_steps", earlier)]
    entries += _tests(log, job_id)
    order = {"side": 0, "heat step": 1, "boot test": 2}
    entries.sort(key=lambda entry: (entry.before_test or np.inf, order[entry.kind]))
    return JobCard(job_id, facts, tuple(entries), len(earlier))


def _detail(column: Column, value: object) -> Detail:
    return Detail(column.name, column.title, _text(column, value), column.unit)


def _text(column: Column, value: object) -> str:
    if column.kind is Kind.CHOICE:
        return column.text_of(str(value))
    if column.kind is Kind.DATE:
        return f"{value:%Y-%m-%d}"
    if column.kind is Kind.YES_NO:
        return "yes" if value else "no"
    return f"{value:g}" if column.kind in (Kind.NUMBER, Kind.INTEGER) else str(value)


def _number(value: object) -> int | None:
    return None if pd.isna(value) else int(str(value))


def _work(log: Log, job_id: str, table: str, earlier: set[str]) -> list[Entry]:
    """Sides or heat steps of a job, in the order of the log's own numbers."""
    rows = log.tables[table]
    if table == "heat_steps":
        rows = rows.assign(speaks=entered(rows, log)[1])
    mine, others = rows[rows["job_id"].eq(job_id)], rows[rows["job_id"].isin(earlier)]
    only_test = log.tables["boot_tests"]["job_id"].eq(job_id).sum() <= 1
    minimum = log.settings.minimum_class_n
    if table == "heat_steps":
        mine = mine.sort_values(["step_no", "chip_role"], kind="stable")
    out = []
    for _, row in mine.iterrows():
        before = _number(row["before_test_no"]) or (1 if only_test else None)
        columns = [c for c in BY_NAME[table].columns if c.name not in PLACED and pd.notna(row[c.name])]
        details = tuple(_beside_usual(column, row, others, minimum) for column in columns)
        out.append(Entry("side" if table == "chip_sides" else "heat step", before, _title(table, row), details))
    return out


def _title(table: str, row: pd.Series) -> str:
    columns = BY_NAME[table]
    chip = columns["chip_role"].text_of(str(row["chip_role"]))
    what = "side" if table == "chip_sides" else "step_type"
    words = columns[what].text_of(str(row[what]))
    return f"{chip}, {words}{' side' if table == 'chip_sides' else ''}"


def _beside_usual(column: Column, row: pd.Series, others: pd.DataFrame, minimum: int) -> Detail:
    """A cell of work, with the usual range of earlier jobs where it is a number that someone set or counted."""
    plain = _detail(column, row[column.name])
    if column.kind not in (Kind.NUMBER, Kind.INTEGER):
        return plain
    kind = "side" if "side" in others.columns else "step_type"
    like = others["chip_role"].eq(row["chip_role"]) & others[kind].eq(row[kind]) & others[column.name].notna()
    by_preset = kind == "step_type" and column.name not in MEASURED
    if by_preset:
        like &= others["speaks"].to_numpy(bool)  # an unchanged preset says nothing, nor what nobody says was typed
    if column.name in BY_STATION:
        like &= _same(others["station_id"], row["station_id"])
    usual = others[like.fillna(False).to_numpy(bool)]
    n = int(usual["job_id"].nunique())
    if n < minimum:
        return Detail(plain.column, plain.label, plain.text, plain.unit, n=n)
    low, high = (float(end) for end in np.quantile(usual[column.name].to_numpy(float), [LOW, HIGH]))
    # A setting that is not known to be what was set is never called unusual.
    mute = by_preset and not row["speaks"]
    outside = not mute and not low <= float(row[column.name]) <= high
    return Detail(plain.column, plain.label, plain.text, plain.unit, low, high, n, outside)


def _same(stations: pd.Series, station: object) -> pd.Series:
    return stations.isna() if pd.isna(station) else stations.eq(station).fillna(False)


def _tests(log: Log, job_id: str) -> list[Entry]:
    tests = log.tables["boot_tests"]
    mine = tests[tests["job_id"].eq(job_id)].sort_values("test_no", kind="stable")
    table = BY_NAME["boot_tests"]
    out = []
    for _, row in mine.iterrows():
        columns = [c for c in table.columns if c.name not in PLACED and pd.notna(row[c.name])]
        number = int(row["test_no"])
        details = tuple(_detail(column, row[column.name]) for column in columns)
        out.append(Entry("boot test", number, f"boot test {number}", details))
    return out
