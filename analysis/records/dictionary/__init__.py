"""Every column of the log, declared once.

Templates, schemas, error texts, the data dictionary page and the columns each model may see are derived from
these declarations; nothing else in the package may list columns' ranges or codes.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.records.dictionary.boot_tests import BOOT_TESTS
from analysis.records.dictionary.chip_sides import CHIP_SIDES
from analysis.records.dictionary.column import WORD_OF, Choice, Column, Kind, KnownAt, Required, Role, Table
from analysis.records.dictionary.donors import DONOR_FACTS, DONORS
from analysis.records.dictionary.heat_steps import HEAT_STEPS
from analysis.records.dictionary.jobs import JOBS
from analysis.records.dictionary.technicians import TECHNICIANS

TABLES: tuple[Table, ...] = (JOBS, CHIP_SIDES, HEAT_STEPS, BOOT_TESTS, DONORS, TECHNICIANS)
BY_NAME: dict[str, Table] = {table.name: table for table in TABLES}


def find_column(name: str) -> Iterator[tuple[Table, Column]]:
    """Yield every (table, column) with this heading; a key such as ``job_id`` stands in several tables."""
    for table in TABLES:
        if name in table.by_name:
            yield table, table[name]


def predictors(table: str, *known_at: KnownAt) -> tuple[str, ...]:
    """Headings of a table whose role is predictor and that are known at one of the given times, in order."""
    return tuple(
        column.name
        for column in BY_NAME[table].columns
        if column.role is Role.PREDICTOR and column.known_at in known_at
    )


__all__ = [
    "BOOT_TESTS",
    "BY_NAME",
    "CHIP_SIDES",
    "DONORS",
    "DONOR_FACTS",
    "HEAT_STEPS",
    "JOBS",
    "TABLES",
    "TECHNICIANS",
    "WORD_OF",
    "Choice",
    "Column",
    "Kind",
    "KnownAt",
    "Required",
    "Role",
    "Table",
    "find_column",
    "predictors",
]
