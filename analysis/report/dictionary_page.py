"""The data dictionary as a page: every column of the log, derived from its declaration."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from analysis.records.describe import dictionary_rows
from analysis.records.dictionary import BY_NAME, TABLES
from analysis.report.page import Grid, PageHead, Prose
from analysis.report.render import NOTEBOOKS, render


def page_head() -> PageHead:
    """Title of the page."""
    columns = sum(len(table.columns) for table in TABLES)
    return PageHead("What the log may hold", "Log dictionary", f"{len(TABLES)} tables, {columns} columns", "", False)


def table_words(name: str) -> Prose:
    """What a row of a table is."""
    table = BY_NAME[name]
    need = "The one file a log must have." if table.required else "Optional."
    return Prose([f"One row for {table.what}. A row is named by {', '.join(table.key)}. {need}"])


def table_grid(name: str) -> Grid:
    """Every column of a table: what it is, what is allowed, when it is known, what it may be used for."""
    rows = [list(row.values()) for row in dictionary_rows(BY_NAME[name])]
    heads = ["column", "what it is", "allowed", "unit", "required", "known at", "role"]
    return Grid(f"Columns of {name}.csv", heads, rows)


def codes_grid(name: str) -> Grid:
    """Every code of a table and what it means."""
    rows = [[choice.code, column.name, choice.meaning] for column in BY_NAME[name].columns for choice in column.choices]
    return Grid(f"Codes of {name}.csv", ["code", "column", "meaning"], rows or [["–", "–", "no codes"]])


def publish_dictionary(out: Path, say: Callable[[str], None]) -> Path:
    """Publish the dictionary as ``log-dictionary.html``."""
    say("Making the log dictionary …")
    return render(NOTEBOOKS / "log_dictionary.ipynb", {}, out / "log-dictionary.html", say)
