"""The Table Schema of each table, judged by an independent validator of that standard (frictionless)."""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.records.dictionary import TABLES
from analysis.records.table_schema import table_schema
from tests.records.test_broken_demo import DEMO, broken

# Cell faults that a table schema can express; the others need more than one cell.
EXPRESSIBLE = {"range", "code", "number", "yes-no", "date"}


def verdict(folder: Path, table) -> set[tuple[int, str]]:
    """Rows and fields that frictionless refuses."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from frictionless import Resource, Schema, system

        schema = table_schema(table)
        schema.pop("foreignKeys", None)  # single files are validated here
        with system.use_context(trusted=True):
            resource = Resource(path=str(folder / table.file), schema=Schema.from_descriptor(schema))
            report = resource.validate()
    return {(row, field) for row, field in report.flatten(["rowNumber", "fieldName"]) if field}


@pytest.mark.parametrize("table", TABLES, ids=lambda t: t.name)
def test_the_demo_is_valid_by_the_standard(table):
    assert verdict(DEMO, table) == set()


def test_the_broken_copy_is_refused_at_the_same_cells(tmp_path):
    copy = broken(tmp_path / "log")
    for table in TABLES:
        planted = {
            (line, column) for name, line, column, code in copy.planted if name == table.name and code in EXPRESSIBLE
        }
        assert planted <= verdict(copy.folder, table), table.name


def test_the_command_writes_one_file_a_table(tmp_path, capsys):
    assert main(["table-schema", str(tmp_path / "schemas")]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(TABLES)
    for table in TABLES:
        read = json.loads((tmp_path / "schemas" / f"{table.name}.schema.json").read_text(encoding="utf-8"))
        assert [field["name"] for field in read["fields"]] == list(table.names)
        assert all(field["description"] for field in read["fields"])
