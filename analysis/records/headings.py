"""Headings of a file matched to the declared columns."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Sequence

from analysis.records.dictionary import Required, Table
from analysis.records.problems import Problem, Severity, plural, quoted


def normal(heading: str) -> str:
    """A heading without regard to case, outer spaces, and spaces or hyphens for underscores."""
    return re.sub(r"[\s\-]+", "_", heading.strip().lower())


def match_headings(heading: Sequence[str], table: Table, line: int) -> tuple[dict[str, int], list[Problem]]:
    """Find each declared column in the heading line.

    Returns
    -------
    dict of str to int
        Declared name to position; a heading that stands twice is not read at all, for either could be meant.
    list of Problem
        Duplicate headings and missing required columns (faults), unknown columns (warnings), headings that match
        only without regard to case or spaces (notes).
    """
    problems: list[Problem] = []

    def say(column: str, found: str, rule: str, todo: str, severity: Severity, code: str) -> None:
        problems.append(Problem(table.file, line, "", column, found, rule, todo, severity, code))

    names = [normal(cell) for cell in heading]
    counts = Counter(names)
    for name in table.names:
        if counts[name] > 1:
            todo = "Delete or rename the one that is not meant."
            say(
                name,
                f"the heading {counts[name]} times",
                "each heading once",
                todo,
                Severity.FAULT,
                "duplicate-heading",
            )
    found = {name: names.index(name) for name in table.names if counts[name] == 1}
    for name, at in found.items():
        if heading[at] != name:
            rule, todo = f"the heading {name}", "Nothing; it was recognised."
            say(name, quoted(heading[at]), rule, todo, Severity.NOTE, "heading-spelling")
    for column in table.columns:
        if column.required is Required.ALWAYS and not counts[column.name]:
            todo = f"Add the column. It is: {column.help}"
            say(column.name, "no such column", "a required column", todo, Severity.FAULT, "missing-column")
    return found, problems + _unread(heading, names, table, line)


def _unread(heading: Sequence[str], names: Sequence[str], table: Table, line: int) -> list[Problem]:
    """Columns of the file that are not declared: they are not read, and said to be so."""
    out = []
    free = [name for name in table.names if name not in names]
    for name, written in zip(names, heading, strict=True):
        if not name or name in table.by_name:
            continue
        near = difflib.get_close_matches(name, free, 1)
        hint = f"Did you mean {near[0]}? " if near else ""
        todo = f"{hint}The column is not read; 'rework column NAME' explains those that are."
        out.append((f"the unknown column {quoted(written)}", "a declared column", todo))
    empty = sum(not name for name in names)
    if empty:
        found = plural(empty, "column without a heading", "columns without a heading")
        todo = "Delete the columns, or give them headings; they are not read."
        out.append((found, "a heading over every column", todo))
    return [
        Problem(table.file, line, "", "", found, rule, todo, Severity.WARNING, "unknown-column")
        for found, rule, todo in out
    ]
