"""What may stand in the place of a question about a value, in words: on the terminal and in the mapping file."""

from __future__ import annotations

import re

from analysis.records.dictionary import Column, Kind
from analysis.records.importing.mapping import column_named

_CODES = "# codes: "
_TO = re.compile(r'to = "(\w+\.\w+)"')
_ASKED = re.compile(r'= "\?"(\s|$)')


def answers_for(column: Column) -> str:
    """What may be answered for a value of a column, each code with its meaning."""
    if column.kind is Kind.YES_NO:
        return 'answer "yes", "no" or "blank"'
    if column.kind in (Kind.NUMBER, Kind.INTEGER):
        return f'answer {column.rule}, or "blank"'
    if column.kind is Kind.CHOICE:
        codes = ", ".join(f"{c.code} ({c.meaning})" for c in column.choices)
        return f'answer a code, or "blank". Codes: {codes}. More: rework column {column.name}'
    return 'answer a code of your own, or "blank"'


def _code_line(column: Column) -> str:
    if column.kind is Kind.CHOICE:
        return f"{_CODES}{', '.join(column.codes)}, blank ('rework column {column.name}' explains them)"
    answers = answers_for(column).removeprefix("answer ")
    return f"{_CODES}{answers}"


def with_code_lines(text: str) -> str:
    """A mapping's text with a line of what may be answered over every table of values that holds a question.

    Lines that an earlier run wrote go where nothing is asked any more.
    """
    lines = [line for line in text.splitlines() if not line.startswith(_CODES)]
    out: list[str] = []
    to = ""
    for at, line in enumerate(lines):
        out.append(line)
        if found := _TO.match(line):
            to = found[1]
        if line.strip() == "[sheet.column.values]" and (column := column_named(to)):
            after = next((n for n, other in enumerate(lines[at + 1 :], at + 1) if other.startswith("[")), len(lines))
            if any(_ASKED.search(other) for other in lines[at + 1 : after]):
                out.append(_code_line(column))
    return "\n".join(out) + "\n"
