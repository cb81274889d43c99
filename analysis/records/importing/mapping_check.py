"""A mapping file's mistakes, each with file, sheet, heading and key."""

from __future__ import annotations

import datetime as dt
import difflib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from analysis.records.dictionary import BY_NAME, TABLES, Column, Kind
from analysis.records.identifiers import NAME, reads_like
from analysis.records.importing import mapping as m
from analysis.records.importing.mapping import OPEN, ColumnMap, SheetMap, column_named, parts_of
from analysis.records.importing.reading import Aside, canonical_texts, strict
from analysis.records.importing.units import units_for
from analysis.records.importing.value_words import BLANK

_TYPES = {"test": int, "step_no": int, "before_test": int, "tidy": bool, "values": dict, "fixed": dict, "column": list}
_COLUMN_KEYS = {field.name for field in fields(ColumnMap)} | {"confidence"}
_SHEET_KEYS = {"name", "row", "processor_side", "own_donor", "work_before_test_1", "fixed", "column"}
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
    parts = parts_of(said)
    names = [name or f"jobs.{column.name}" for name, _ in parts]
    if twice := [name for name, n in Counter(names).items() if n > 1]:
        return f"{twice[0]} is settled twice"
    return next((mistake for name, code in parts if (mistake := _part_mistake(name, code, column))), "")


def _part_mistake(name: str, code: str, column: Column) -> str:
    """Why one part of a value, for the own column or another one of jobs, cannot stand."""
    target = column_named(name) if name else column
    if target is None:
        return f"no column of the log is called {name}"
    codes = target.codes or (("yes", "no") if target.kind is Kind.YES_NO else ())
    if name and (not name.startswith("jobs.") or not codes):
        return f"{name} is no column of jobs with codes; only such a column can be settled by another one's value"
    if codes and code not in codes:
        return f"{target.name} has no code {code}. {_near(code, codes)}"
    if not codes:
        (made,) = canonical_texts([code], target, strict(dt.date.today()))
        return f"{made.why}" if isinstance(made, Aside) else ""
    return ""


def _lacking(key: str, column: ColumnMap) -> str:
    """What to add where the heading does not say which chip, step or test a column is about."""
    if key == "test":
        line = "test = 1, with the number of the boot test"
    else:
        first, *others = {"chip": m.CHIPS, "step": m.STEPS}[key]
        line = f'{key} = "{first}", or instead {", ".join(others)}'
    return f'{key}: missing; the column "{column.to}" must say which {key} it is about. Under its line "to" add: {line}'


def _place_mistakes(column: ColumnMap, row: str) -> list[str]:
    """Whether the column can be reached from a row of the sheet."""
    table, name = column.to.split(".")
    if row != "jobs":
        return [] if table == row else [f'to = "{column.to}": a sheet with row = "{row}" holds columns of {row} only']
    needs = {"boot_tests": ("test",), "chip_sides": ("chip",), "heat_steps": ("chip", "step")}.get(table, ())
    out = [_lacking(key, column) for key in needs if not getattr(column, key)]
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
        mistake = code_mistake(said, target)
        if "=" in said and row in ("donors", "technicians"):
            mistake = f"a row of {row} settles no column of jobs"
        if target.name == "technician_id" and said != BLANK and reads_like(said) == NAME:
            mistake = "reads like a person's name, which the log must not hold; give a pseudonym such as T1"
        if mistake:
            out.append(f'values."{text}" = "{said}": {mistake}')
    return out


def sheet_mistakes(sheet: SheetMap) -> list[tuple[str, str]]:
    """(heading, mistake) for every mistake of meaning in a sheet; heading is blank for the sheet itself."""
    out = [("", text) for text in _not_one_of("row", sheet.row, (*m.ROWS, m.IGNORED))]
    out += [("", text) for text in _not_one_of("processor_side", sheet.processor_side, m.SIDES)]
    for key in ("own_donor", "work_before_test_1"):
        out += [("", text) for text in _not_one_of(key, getattr(sheet, key), ("yes", "no"))]
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
    for column in sheet.columns:
        out += [(column.heading, text) for text in column_mistakes(column, sheet.row)]
    return out + _places_claimed_twice(sheet.columns) + _steps_numbered_alike(sheet.columns)


def _sound(columns: Sequence[ColumnMap]) -> list[ColumnMap]:
    """Columns of which it is known where their cells go."""
    return [column for column in columns if column.taken and column_named(column.to) and not column.is_open]


def _places_claimed_twice(columns: Sequence[ColumnMap]) -> list[tuple[str, str]]:
    out, claims = [], dict[tuple[object, ...], str]()
    for column in _sound(columns):
        other = claims.setdefault(column.address, column.heading)
        if other != column.heading:
            out.append((column.heading, f'to = "{column.to}": the heading "{other}" goes there too; only one can'))
    return out


def _steps_numbered_alike(columns: Sequence[ColumnMap]) -> list[tuple[str, str]]:
    """Columns that are called one heat step by their number and two by their kind: told once, not a job after job."""
    out, first = [], dict[tuple[str, int], ColumnMap]()
    for column in _sound(columns):
        if not column.step_no or not column.to.startswith("heat_steps."):
            continue
        other = first.setdefault((column.chip, column.step_no), column)
        if (other.step, other.before_test) != (column.step, column.before_test):
            found = f'step_no = {column.step_no}: the heading "{other.heading}" has this number too, as {other.step}'
            todo = f"number the steps of the {column.chip} in the order of work, each kind of step by its own number"
            out.append((column.heading, f"{found}; {todo}"))
    return out
