"""Headings of a file matched to the declared columns."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Sequence

from analysis.records.dictionary import Required, Table
from analysis.records.problems import Problem, Severity, quoted


def normal(heading: str) -> str:
    """A heading without regard to case, outer spaces, and spaces or hyphens for underscores."""
    return re.sub(r"[\s\-]+", "_", heading.strip().lower())


def match_headings(heading: Sequence[str], table: Table, line: int) -> tuple[dict[str, int], list[Problem]]:
    """Find each declared column in the heading line.

    Returns
    -------
    dict of str to int
        Declared name to position.
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
    found = {name: names.index(name) for name in table.names if counts[name]}
    for name, at in found.items():
        if heading[at] != name:
            rule, todo = f"the heading {name}", "Nothing; it was recognised."
            say(name, quoted(heading[at]), rule, todo, Severity.NOTE, "heading-spelling")
    for column in table.columns:
        if column.required is Required.ALWAYS and column.name not in found:
            todo = f"Add the column. It is: {column.help}"
            say(column.name, "no such column", "a required column", todo, Severity.FAULT, "missing-column")
    for name, written in zip(names, heading, strict=True):
        if name not in table.by_name:
            near = difflib.get_close_matches(name, [n for n in table.names if n not in found], 1)
            hint = f"Did you mean {near[0]}? " if near else ""
            todo = f"{hint}The column is not read; 'rework column NAME' explains those that are."
            say(
                "",
                f"the unknown column {quoted(written)}",
                "a declared column",
                todo,
                Severity.WARNING,
                "unknown-column",
            )
    return found, problems
