"""Property-based corruption of a valid log: what changes the meaning is reported at its cell; nothing crashes."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.records.dictionary import BY_NAME, Kind
from analysis.records.log import Log, read_log
from analysis.records.problems import Severity
from tests.files import TODAY, Tables, base, write

CELLS = [
    (name, row, column.name)
    for name, rows in base().items()
    for row in range(len(rows))
    for column in BY_NAME[name].columns
]
NASTY = st.sampled_from(
    [
        "",
        " ",
        "nan",
        "None",
        "NA",
        "null",
        "inf",
        "-inf",
        "1e5",
        "0x10",
        "١٢",
        "²",
        "½",
        "1_000",
        "1,5",
        "1.000,5",
        "=1+1",
        "@SUM(A1)",
        "<script>alert(1)</script>",
        "\u202ereversed",
        "dr\u043ep",
        "a" * 10_000,
        "330 °C",
        "626",
        "-1",
        "+5",
        "31.12.2023",
        "03/04/2024",
        "2024-02-30",
        "45000",
        "yes",
        "TRUE",
        "0",
        "J-1",
        "T1",
        "D-2",
        "drop",
        "processor",
        "someone@example.org",
        "+49 170 1234567",
        "350000000000001",
        '"',
        "'",
        "a\nb",
        "a;b",
        "a,b",
        "\t",
    ]
)
TEXT = st.one_of(NASTY, st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12), st.integers().map(str))
STEADY = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck)}


def meaning(log: Log) -> dict[tuple[str, int, str], object]:
    """Every typed cell of a log."""
    return {
        (name, at, column): None if frame[column].isna().iloc[at] else str(frame[column].iloc[at])
        for name, frame in log.tables.items()
        for column in BY_NAME[name].names
        for at in range(len(frame))
    }


def as_read(tables: Tables) -> Log:
    """What is read of tables written down."""
    with tempfile.TemporaryDirectory() as one:
        return read_log(write(Path(one) / "log", tables), TODAY)


@functools.cache
def uncorrupted() -> dict[tuple[str, int, str], object]:
    """Every typed cell of the valid log."""
    return meaning(as_read(base()))


def check_one(cell: tuple[str, int, str], text: str) -> None:
    name, row, column = cell
    tables = base()
    tables[name][row][column] = text
    log = as_read(tables)
    before, after = uncorrupted(), meaning(log)
    reported = {(p.file, p.line, p.column) for p in log.problems if p.severity is not Severity.NOTE}
    changed = {key for key in before if key in after and before[key] != after[key]}
    # Only the touched cell may read otherwise, and a value that is lost must be reported where it stands.
    assert changed <= {(name, row, column)}
    written = text.strip()
    kept = after.get((name, row, column))
    if written and kept is None:
        assert (f"{name}.csv", row + 2, column) in reported, f"{text!r} vanished without a word"
    kind = BY_NAME[name][column].kind
    if kept is not None and kind in (Kind.NUMBER, Kind.INTEGER):
        assert float(str(kept)) == float(written)
    if kept is not None and kind is Kind.KEY:
        assert kept == written


@settings(max_examples=60, **STEADY)
@given(st.sampled_from(CELLS), TEXT)
def test_a_corrupted_cell_is_kept_or_reported(cell, text):
    check_one(cell, text)


@pytest.mark.slow
@settings(max_examples=1000, **STEADY)
@given(st.sampled_from(CELLS), TEXT)
def test_a_thousand_corrupted_cells_are_kept_or_reported(cell, text):
    check_one(cell, text)


@settings(max_examples=40, **STEADY)
@given(st.sampled_from(sorted(base())), st.binary(max_size=400), st.integers(0, 2000))
def test_bytes_thrown_into_a_file_never_crash_the_check(name, junk, at):
    with tempfile.TemporaryDirectory() as one:
        folder = write(Path(one) / "log", base())
        path = folder / f"{name}.csv"
        data = path.read_bytes()
        path.write_bytes(data[:at] + junk + data[at:])
        for problem in read_log(folder, TODAY).problems:
            assert problem.line_text().isprintable()
