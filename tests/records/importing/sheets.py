"""Small sheets as CSV files and the import of them, for tests."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Sequence
from pathlib import Path

from analysis.records.importing.run import Imported, import_files

TODAY = dt.date(2025, 6, 1)
HEAD = ("Job no", "Date in", "Damage", "Taken?")
ROWS = (
    ("J-1", "2024-03-02", "drop", "yes"),
    ("J-2", "2024-03-15", "water", "yes"),
    ("J-3", "2024-04-01", "bent", "no"),
)


def sheet(path: Path, head: Sequence[object], rows: Sequence[Sequence[object]]) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *rows])
    return path


def with_column(path: Path, heading: str, cells: Sequence[object]) -> Path:
    """The three jobs with one more column."""
    return sheet(path, (*HEAD, heading), [(*row, cell) for row, cell in zip(ROWS, cells, strict=True)])


def run(source: Path | Sequence[Path], folder: Path, **options: object) -> Imported:
    sources = [source] if isinstance(source, Path) else list(source)
    return import_files(sources, folder, today=TODAY, **options)


def table(folder: Path, name: str) -> list[dict[str, str]]:
    """Rows of a table of the log, filled cells only."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return [{key: text for key, text in row.items() if text} for row in csv.DictReader(file)]


def cells(folder: Path, column: str, name: str = "jobs") -> list[str]:
    return [row.get(column, "") for row in table(folder, name)]


def asked(done: Imported) -> set[tuple[str, str]]:
    return {(question.heading, question.key) for question in done.questions}


def aside(folder: Path) -> list[dict[str, str]]:
    with (folder / "not_placed.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def replaced(path: Path, *pairs: tuple[str, str]) -> None:
    """Edit a text file as a person would."""
    text = path.read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text, f"{old} is not in {path.name}"
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
