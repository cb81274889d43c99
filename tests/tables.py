"""Small typed logs for tests, written as Python dicts; blanks are left out of the dict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from analysis.records.dictionary import TABLES, Kind, Table
from analysis.records.log import Log

Rows = Sequence[Mapping[str, Any]]


def typed_table(table: Table, rows: Rows) -> pd.DataFrame:
    """One table of the log with the dtypes that reading gives."""
    frame = pd.DataFrame(index=range(len(rows)))
    for column in table.columns:
        values = [row.get(column.name) for row in rows]
        if column.kind is Kind.CHOICE:
            frame[column.name] = pd.Categorical(values, categories=list(column.codes))
        elif column.kind is Kind.KEY:
            frame[column.name] = pd.array(values, dtype="string")
        elif column.kind is Kind.NUMBER:
            frame[column.name] = pd.array(values, dtype="Float64").to_numpy(float, na_value=float("nan"))
        elif column.kind is Kind.INTEGER:
            frame[column.name] = pd.array(values, dtype="Int64")
        elif column.kind is Kind.DATE:
            frame[column.name] = pd.to_datetime(pd.Series(values, dtype=object)).astype("datetime64[ns]")
        else:
            frame[column.name] = pd.array(values, dtype="boolean")
    return frame


def log_of(**tables: Rows) -> Log:
    """A log from dicts: ``log_of(jobs=[...], boot_tests=[...])``; tables not named are empty."""
    return Log.from_tables({table.name: typed_table(table, tables.get(table.name, [])) for table in TABLES})


def job(job_id: str, **values: Any) -> dict[str, Any]:
    """An accepted, open phone that fell; override what matters to the test."""
    base = {
        "job_id": job_id,
        "received_date": "2026-01-05",
        "intake_damage": "drop",
        "decision": "accepted",
        "device_class": "phone",
    }
    return base | values


def closed(job_id: str, outcome: str = "recovered", **values: Any) -> dict[str, Any]:
    """A closed job; a loss is reversible unless said otherwise."""
    base: dict[str, Any] = {"outcome": outcome, "closed_date": "2026-02-10", "bench_hours": 6.0}
    if outcome == "not_recovered":
        base["loss_reversible"] = True
    return job(job_id, **(base | values))


def boot(job_id: str, test_no: int, result: str, **values: Any) -> dict[str, Any]:
    """A boot test."""
    base = {"job_id": job_id, "test_no": test_no, "boot_result": result, "test_date": "2026-01-20"}
    return base | values
