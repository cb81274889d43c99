"""The dictionary as Table Schema descriptors, so that any validator of that open standard can check a log.

Source: Frictionless Standards, Table Schema (version 1). It can say types, ranges, codes, keys and required cells; what
tables owe one another beyond keys is checked by ``rework check`` alone.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from analysis.errors import LogError
from analysis.records.dictionary import BY_NAME, TABLES, Column, Kind, Required, Table

_TYPES = {Kind.NUMBER: "number", Kind.INTEGER: "integer", Kind.DATE: "date", Kind.YES_NO: "boolean"}


def _field(column: Column) -> dict[str, Any]:
    out: dict[str, Any] = {
        "name": column.name,
        "title": column.title,
        "description": column.help,
        "type": _TYPES.get(column.kind, "string"),
    }
    constraints: dict[str, Any] = {}
    if column.required is Required.ALWAYS:
        constraints["required"] = True
    if column.choices:
        constraints["enum"] = list(column.codes)
    whole = column.kind is Kind.INTEGER
    if column.low is not None:
        constraints["minimum"] = int(column.low) if whole else column.low
    if column.high is not None:
        constraints["maximum"] = int(column.high) if whole else column.high
    if column.kind is Kind.YES_NO:
        out |= {"trueValues": ["yes"], "falseValues": ["no"]}
    if constraints:
        out["constraints"] = constraints
    return out


def table_schema(table: Table) -> dict[str, Any]:
    """Table Schema descriptor of one table."""
    out: dict[str, Any] = {
        "fields": [_field(column) for column in table.columns],
        "missingValues": [""],
        "primaryKey": list(table.key),
    }
    keys = []
    for column in table.columns:
        if column.references and column.references.startswith("jobs."):
            name = column.references.split(".")[1]
            resource = "" if table.name == "jobs" else "jobs"
            keys.append({"fields": [column.name], "reference": {"resource": resource, "fields": [name]}})
    if keys:
        out["foreignKeys"] = keys
    # A key that holds a column with a default may be blank, which the standard's primary keys do not allow.
    if any(BY_NAME[table.name][name].default for name in table.key):
        del out["primaryKey"]
    return out


def write_schemas(folder: Path) -> list[Path]:
    """Write ``<table>.schema.json`` for every table.

    Raises
    ------
    LogError
        If the folder cannot be written.
    """
    folder = Path(folder)
    made = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for table in TABLES:
            made.append(folder / f"{table.name}.schema.json")
            made[-1].write_text(json.dumps(table_schema(table), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise LogError(f"{folder} cannot be written: {error.strerror}.", todo="Choose another folder.") from None
    return made
