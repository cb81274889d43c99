"""A sealed copy of the demo log and sheets made from it, for the tests of evidence."""

from __future__ import annotations

import csv
import datetime as dt
import shutil
from pathlib import Path

from analysis.cli import DEMO
from analysis.questions.versions import code_version, definitions_version
from analysis.records.dictionary import TABLES
from analysis.records.log import FILES
from analysis.records.sealing.ledger import Seal
from analysis.records.sealing.seal import seal_log
from analysis.report.evidence_sheet import publish_evidence

UNTIL = dt.date(2024, 9, 30)
TODAY = dt.date(2024, 12, 1)


def quiet(text: str) -> None:
    """Say nothing."""


def copy_of(folder: Path, target: Path) -> Path:
    """A copy of a log with its seals, without the list of sheets that other tests published."""
    shutil.copytree(folder, target, ignore=shutil.ignore_patterns("published.private.jsonl"))
    return target


def demo_copy(target: Path) -> Path:
    """A copy of the demo log, unsealed."""
    target.mkdir(parents=True)
    for name in FILES:
        if (DEMO / name).exists():
            shutil.copy(DEMO / name, target / name)
    return target


def sealed(folder: Path, until: dt.date = UNTIL, today: dt.date = TODAY) -> Seal:
    """Seal a log."""
    return seal_log(folder, until, today=today, definitions=definitions_version(), code=code_version())


def sheet(folder: Path, out: Path, **what: str | Path) -> Path:
    """Publish a sheet; by default of 2024H1."""
    given: dict = {"half": "2024H1"} if not {"half", "first"} & set(what) else {}
    return publish_evidence(folder, out, quiet, **given, **what)


def rows_of(path: Path) -> tuple[list[str], list[list[str]]]:
    """Headings and rows of a CSV file."""
    with path.open(encoding="utf-8", newline="") as handle:
        heads, *rows = csv.reader(handle)
    return heads, rows


def write_rows(path: Path, heads: list[str], rows: list[list[str]]) -> None:
    """Write them back."""
    with path.open("w", encoding="utf-8", newline="") as handle:
        csv.writer(handle, lineterminator="\n").writerows([heads, *rows])


EVERY_COLUMN = [(table.name, name) for table in TABLES for name in table.names]
