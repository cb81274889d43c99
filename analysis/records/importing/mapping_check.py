"""A mapping file's mistakes, each with file, sheet, heading and key."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from analysis.records.dictionary import BY_NAME, TABLES, Column, Kind
from analysis.records.importing import mapping as m
from analysis.records.importing.mapping import OPEN, ColumnMap, SheetMap, column_named
from analysis.records.importing.units import units_for
from analysis.records.importing.value_words import BLANK

_TYPES = {"test": int, "step_no": int, "before_test": int, "tidy": bool, "values": dict, "fixed": dict, "column": list}
_COLUMN_KEYS = {field.name for field in fields(ColumnMap)} | {"confidence"}
_SHEET_KEYS = {"name", "row", "processor_side", "own_donor", "fixed", "column"}
_WORDS = {
    int: "a whole number",
    bool: "true or false",
    dict: "a table of texts",
    list: "a list of tables",
    str: "a text",
}
_HIGHEST = 200


def _near(word: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(word, known, 1)
    return f"Did you mean {near[0]}?" if near else f"Known: {', '.join(known)}."


def _key_mistakes(given: Mapping[str, Any], known: set[str], needed: Sequence[str]) -> list[str]:
    out = [f"{key}: not a key of the mapping. {_near(key, sorted(known))}" for key in given if key not in known]
    out += [f"{key}: missing" for key in needed if key not in given]
    for key, value in given.items():
        wanted = _TYPES.get(key, str)
        asked = value == OPEN and wanted is int
        right = isinstance(value, wanted) and (wanted is bool or not isinstance(value, bool))
        if key in known and not asked and not right:
            out.append(f"{key} = {value!r}: must be {_WORDS[wanted]}")
        elif wanted is dict and isinstance(value, dict):
            out += [
                f"{key}.{name} = {said!r}: must be a text" for name, said in value.items() if not isinstance(said, str)
            ]
        elif wanted is int and isinstance(value, int) and not 0 <= value <= _HIGHEST:
            out.append(f"{key} = {value}: must be from 1 to {_HIGHEST}")
    return out


def column_type_mistakes(given: Any) -> list[str]:
    """Mistakes of keys and kinds in a ``[[sheet.column]]``."""
    if not isinstance(given, dict):
        return ["column: must be a table"]
    return _key_mistakes(given, _COLUMN_KEYS, ("heading", "to"))


def sheet_type_mistakes(given: Any) -> list[str]:
    """Mistakes of keys and kinds in a ``[[sheet]]``."""
    if not isinstance(given, dict):
        return ["sheet: must be a table"]
    return _key_mistakes(given, _SHEET_KEYS, ("name", "row"))


def _not_one_of(key: str, value: str, codes: Sequence[str]) -> list[str]:
    if value in ("", OPEN, *codes):
        return []
    if not codes:
        return [f'{key} = "{value}": this column has no {key}']
    return [f'{key} = "{value}": must be one of {", ".join(codes)}. {_near(value, codes)}']


def code_mistake(said: str, column: Column) -> str:
    """Why a code cannot stand for a value of a column; blank when it can."""
    if said in (OPEN, BLANK):
        return ""
    if "=" in said:
        name, _, code = said.partition("=")
        target = column_named(name)
        if target is None:
            return f"no column of the log is called {name}"
        return "" if target.kind is Kind.CHOICE and code in target.codes else f"{name} has no code {code}"
    codes = column.codes or (("yes", "no") if column.kind is Kind.YES_NO else ())
    if codes and said not in codes:
        return f"{column.name} has no code {said}. {_near(said, codes)}"
    return ""


def _place_mistakes(column: ColumnMap, row: str) -> list[str]:
    """Whether the column can be reached from a row of the sheet."""
    table, name = column.to.split(".")
    if row != "jobs":
        return [] if table == row else [f'to = "{column.to}": a sheet with row = "{row}" holds columns of {row} only']
    needs = {"boot_tests": ("test",), "chip_sides": ("chip",), "heat_steps": ("chip", "step")}.get(table, ())
    out = [
        f'{key}: missing; it says which {key} the column "{column.to}" is about'
        for key in needs
        if not getattr(column, key)
    ]
    if table not in ("jobs", "donors", "technicians") and name in BY_NAME[table].key:
        out.append(f'to = "{column.to}": in a row a job this is said by chip, side, step and test')
    if table == "donors" and name == "donor_id":
        out.append('to = "donors.donor_id": in a row a job the donor\'s code is jobs.donor_id')
    return out


def column_mistakes(column: ColumnMap, row: str) -> list[str]:
    """Mistakes of meaning in one column."""
    if not column.taken:
        return []
    target = column_named(column.to)
    if target is None:
        every = [f"{table.name}.{name}" for table in TABLES for name in table.names]
        near = difflib.get_close_matches(column.to, every, 3)
        hint = f"Did you mean {', '.join(near)}?" if near else "'rework dictionary' lists all columns."
        return [f'to = "{column.to}": no such column. {hint} (or "ignored", "personal")']
    out = _place_mistakes(column, row)
    out += _not_one_of("chip", column.chip, m.CHIPS) + _not_one_of("side", column.side, m.SIDES)
    out += _not_one_of("step", column.step, m.STEPS) + _not_one_of("dates", column.dates, m.DATE_ORDERS)
    out += _not_one_of("decimal", column.decimal, m.DECIMALS)
    if column.unit:
        out += _not_one_of("unit", column.unit, units_for(target))
    for text, said in column.values.items():
        if mistake := code_mistake(said, target):
            out.append(f'values."{text}" = "{said}": {mistake}')
    return out


def sheet_mistakes(sheet: SheetMap) -> list[tuple[str, str]]:
    """(heading, mistake) for every mistake of meaning in a sheet; heading is blank for the sheet itself."""
    out = [("", text) for text in _not_one_of("row", sheet.row, (*m.ROWS, m.IGNORED))]
    out += [("", text) for text in _not_one_of("processor_side", sheet.processor_side, m.SIDES)]
    out += [("", text) for text in _not_one_of("own_donor", sheet.own_donor, ("yes", "no"))]
    for name, said in sheet.fixed.items():
        target = column_named(name)
        if target is None or not name.startswith("jobs."):
            out.append(("", f'fixed.{name}: must name a column of jobs, as in "jobs.decision"'))
        elif said != OPEN and (mistake := code_mistake(said, target)):
            out.append(("", f'fixed."{name}" = "{said}": {mistake}'))
    if out or sheet.row in (OPEN, m.IGNORED):
        return out
    for heading, n in Counter(column.heading for column in sheet.columns).items():
        if n > 1:
            out.append((heading, f"heading: described {n} times; each heading once"))
    claims: dict[tuple[object, ...], str] = {}
    for column in sheet.columns:
        mistakes = column_mistakes(column, sheet.row)
        out += [(column.heading, text) for text in mistakes]
        if column.taken and column_named(column.to) and not column.is_open:
            other = claims.setdefault(column.address, column.heading)
            if other != column.heading:
                out.append((column.heading, f'to = "{column.to}": the heading "{other}" goes there too; only one can'))
    return out
