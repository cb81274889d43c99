"""Logs of shops with little to show, written as files: few jobs, few columns, one of everything."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.demo.writing import table_text
from analysis.records.dictionary import BY_NAME
from analysis.records.log import empty_table

Tables = dict[str, pd.DataFrame]
SIZES = (0, 1, 5, 20, 60)
ASKED = ("job_id", "received_date", "intake_damage", "decision", "outcome", "closed_date", "first_boot_result")


def small(jobs: int, **changes: object) -> Tables:
    """A simulated log of so many jobs, no two of them on one board; ``changes`` are options of the shop."""
    return dict(simulate(dataclasses.replace(Shop(jobs=jobs), chains=False, **changes), 5).tables)


_simulated = functools.cache(small)


def few(jobs: int) -> Tables:
    """A log with this many jobs, all its tables filled."""
    if not jobs:
        return {name: frame.head(0) for name, frame in _simulated(1).items()}
    return {name: frame.copy() for name, frame in _simulated(jobs).items()}


def _only_what_is_asked() -> Tables:
    tables = few(60)
    jobs, tests = tables["jobs"], tables["boot_tests"]
    first = tests[tests["test_no"].eq(1)].set_index("job_id")["boot_result"].astype(str)
    result = jobs["job_id"].map(first).fillna("not_tested")
    jobs["first_boot_result"] = result.where(jobs["outcome"].notna() & jobs["decision"].eq("accepted"))
    return {"jobs": jobs[list(ASKED)]}


def _closed(outcome: str) -> Tables:
    tables = few(60)
    jobs = tables["jobs"]
    ids = jobs.loc[jobs["outcome"].eq(outcome), "job_id"]
    return {name: frame[frame["job_id"].isin(ids)] if "job_id" in frame else frame for name, frame in tables.items()}


def _with(column: str, value: str) -> Tables:
    tables = few(60)
    tables["jobs"][column] = value
    return tables


def _without(*tables: str) -> Tables:
    return {name: frame for name, frame in few(60).items() if name not in tables}


def _one_month() -> Tables:
    tables = few(60)
    jobs, tests = tables["jobs"], tables["boot_tests"]
    month = pd.Timestamp("2024-05-01")
    jobs["received_date"] = month
    jobs["closed_date"] = jobs["closed_date"].where(jobs["closed_date"].isna(), month + pd.Timedelta(days=25))
    tests["test_date"] = month + pd.to_timedelta(tests["test_no"].astype(int).clip(upper=25), unit="D")
    return tables


def emptied(tables: Tables, gone: str) -> Tables:
    """The same log without the rows of one table; where it is the boot tests, each job keeps its first result."""
    jobs = tables["jobs"].copy()
    if gone == "boot_tests":
        jobs["first_boot_result"] = jobs["outcome"].map({"recovered": "data_readable", "not_recovered": "short"})
    return tables | {"jobs": jobs, gone: empty_table(BY_NAME[gone])}


CASES: dict[str, Callable[[], Tables]] = {
    **{f"{jobs} jobs": functools.partial(few, jobs) for jobs in SIZES},
    "only what is asked": _only_what_is_asked,
    "one technician": lambda: _with("technician_id", "T1"),
    "one damage class": lambda: _with("intake_damage", "liquid"),
    "all successes": lambda: _closed("recovered"),
    "all failures": lambda: _closed("not_recovered"),
    "no heat steps": lambda: _without("heat_steps"),
    "no chip sides": lambda: _without("chip_sides"),
    "no donors": lambda: _without("donors"),
    "a single month": _one_month,
}


def write_case(name: str, folder: Path) -> Path:
    """Write the log of a case."""
    folder.mkdir(parents=True, exist_ok=True)
    for table, frame in CASES[name]().items():
        (folder / f"{table}.csv").write_text(_text(frame, table), encoding="utf-8", newline="\n")
    return folder


def _text(frame: pd.DataFrame, table: str) -> str:
    if table == "jobs" and list(frame.columns) == list(ASKED):
        frame = frame.assign(**{c: f.dt.strftime("%Y-%m-%d") for c, f in frame.items() if f.dtype.kind == "M"})
        return str(frame.to_csv(index=False, lineterminator="\n"))
    return table_text(frame, table)
