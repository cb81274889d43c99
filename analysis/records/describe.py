"""Explanations of columns, derived from the dictionary."""

from __future__ import annotations

import difflib

from analysis.errors import ReworkError
from analysis.records.dictionary import TABLES, Column, Required, Table, find_column


def column_text(column: Column) -> str:
    """Explain a column in a few lines."""
    need = "" if column.required is Required.NO else f" [required {column.required}]"
    lines = [f"{column.name}{need}", f"    {column.help}", f"    Allowed: {column.rule}."]
    lines += [f"      {choice.code}: {choice.meaning}" for choice in column.choices]
    if column.default:
        lines.append(f"    Blank stands for {column.default}; see above.")
    if column.example:
        lines.append(f"    Example: {column.example}")
    return "\n".join(lines)


def describe_column(name: str) -> str:
    """Explain one column wherever it stands.

    Raises
    ------
    ReworkError
        If no table has it.
    """
    found = list(find_column(name.strip()))
    if not found:
        every = sorted({column for table in TABLES for column in table.names})
        near = difflib.get_close_matches(name, every, 3)
        hint = f"Did you mean {', '.join(near)}?" if near else f"Columns: {', '.join(every)}."
        raise ReworkError(f"No column is called '{name}'.", todo=hint)
    parts = []
    for table, column in found:
        facts = f"    Known at: {column.known_at}. Role: {column.role}."
        parts.append(f"{table.file}: {column_text(column)}\n{facts}")
    return "\n\n".join(parts)


def dictionary_rows(table: Table) -> list[dict[str, str]]:
    """Rows of the data dictionary page for one table."""
    return [
        {
            "column": column.name,
            "what it is": column.help,
            "allowed": column.rule,
            "unit": column.unit,
            "required": str(column.required),
            "known at": str(column.known_at),
            "role": str(column.role),
        }
        for column in table.columns
    ]
