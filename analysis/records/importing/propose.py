"""A mapping proposed for sheets, or completed for what a sheet holds anew. Nothing unsure is decided: it is asked."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.records.dictionary import BY_NAME, TABLES, Kind
from analysis.records.importing.details import MOST_VALUES, Detailed, detail, looks_like_dates
from analysis.records.importing.grid import Cell, HeadedSheet
from analysis.records.importing.headings_guess import Guess, guess_heading, usable_unit
from analysis.records.importing.mapping import ASKED, IGNORED, OPEN, STEPS, SURE, ColumnMap, SheetMap
from analysis.records.importing.proposal import Proposal, Remark
from analysis.records.importing.reading import Aside, canonical_texts, read_cells, strict, tidied, value_key
from analysis.records.importing.stray_rows import stray_rows
from analysis.records.importing.value_codes import value_code

NOT_RECOGNISED = 'not recognised: "table.column" of the log, "ignored", or "personal" for client data'
_FITS = 0.5  # share of different values that must be readable before a heading is believed


def _fit(column: ColumnMap, cells: Sequence[Cell], today: dt.date) -> float:
    """Share of the different cells that a column can take, what is still asked counting as taken."""
    unit, decimal = (
        ("" if column.unit == OPEN else column.unit),
        ("point" if column.decimal == OPEN else column.decimal),
    )
    closed = replace(column, unit=unit, decimal=decimal)
    outcomes = read_cells(cells, closed, today)
    if not outcomes:
        return 1.0
    asked = {text.casefold() for text, code in column.values.items() if code == OPEN}
    good = sum(not isinstance(outcome, Aside) for outcome in outcomes.values())
    near = sum(isinstance(o, Aside) and c.text.strip().casefold() in asked for c, o in outcomes.items())
    dates = column.dates == OPEN and looks_like_dates(cells)
    if column.column.name == "technician_id":  # so many names are no bench's technicians
        return float(sum(code == OPEN for code in column.values.values()) <= MOST_VALUES)
    return 1.0 if dates else (good + 0.3 * near) / len(outcomes)


def _by_content(cells: Sequence[Cell], row: str) -> str:
    """A coded column of the dictionary whose words these are; blank when none or several."""
    texts = Counter(cell.text.strip() for cell in cells)
    if len(texts) < 2 or len(texts) > 30:
        return ""
    found = []
    for table in TABLES:
        for column in table.columns if table.name == row else ():
            if column.kind is Kind.CHOICE:
                codes = [value_code(text, column, texts)[0] for text in texts]
                if sum(code != OPEN for code in codes) >= 0.9 * len(codes):
                    found.append(f"{table.name}.{column.name}")
    return " or ".join(found) if len(found) <= 2 else ""


def _maybe(column: ColumnMap) -> str:
    parts = [f'to = "{column.to}"']
    parts += [
        f'{key} = "{value}"' for key in ("chip", "side", "step") if (value := getattr(column, key)) not in ("", OPEN)
    ]
    return ", ".join(parts + ([f"test = {column.test}"] if column.test else []))


@dataclass(frozen=True)
class _New:
    """A column proposed for the first time."""

    detailed: Detailed
    guess: Guess | None
    sure: bool
    why: str


def _new_column(heading: str, cells: Sequence[Cell], row: str, today: dt.date) -> _New:
    guess, unit = guess_heading(heading, row)
    if guess is None:
        content = _by_content(cells, row)
        why = f"by its values maybe {content}" if content else NOT_RECOGNISED
        why = "holds dates; which?" if not content and looks_like_dates(cells) else why
        return _New(Detailed(ColumnMap(heading, OPEN)), None, False, why)
    if not guess.column.taken:
        return _New(Detailed(guess.column), guess, True, guess.why)
    detailed = detail(guess.column, cells, today, usable_unit(unit, guess.column), guess.inverted)
    fit = _fit(detailed.column, cells, today)
    if guess.sure and fit >= _FITS:
        return _New(detailed, guess, True, guess.why)
    share = f"; {fit:.0%} of its different values fit" if cells else ""
    why = f"maybe {_maybe(guess.column)}: {guess.why}{share}"
    return _New(Detailed(replace(guess.column, to=OPEN)), guess, False, why)  # "?" but for which chip, side, step, test


def _claimed_twice(new: Sequence[_New], given: Sequence[ColumnMap]) -> set[str]:
    """Headings whose place another column claims too: either could be meant."""
    claims: dict[tuple[object, ...], list[str]] = {}
    for column in (*given, *(n.detailed.column for n in new)):
        if column.taken:
            claims.setdefault(column.address, []).append(column.heading)
    known = {column.heading for column in given}
    return {heading for headings in claims.values() if len(headings) > 1 for heading in headings} - known


def _numbered(columns: Sequence[ColumnMap]) -> list[ColumnMap]:
    """Heat steps in columns get their running number by chip: those given stay, new ones follow."""
    heat = [c for c in columns if c.to.startswith("heat_steps.") and OPEN not in (c.chip, c.step)]
    numbers = {_step(c): c.step_no for c in heat if c.step_no}
    for column in sorted(heat, key=lambda c: (c.before_test, STEPS.index(c.step))):  # the usual order of work
        used = [number for (chip, *_), number in numbers.items() if chip == column.chip]
        numbers.setdefault(_step(column), max(used, default=0) + 1)
    return [replace(c, step_no=c.step_no or numbers[_step(c)]) if c in heat else c for c in columns]


def _step(column: ColumnMap) -> tuple[str, str, int]:
    """What columns that describe one heat step share."""
    return column.chip, column.step, column.before_test


def _completed(given: ColumnMap, cells: Sequence[Cell], today: dt.date) -> Detailed:
    """A column of the mapping, with what its cells bring anew."""
    if not given.taken:
        return Detailed(given)
    guess, unit = guess_heading(given.heading, given.table.name)
    inverted = bool(guess and guess.inverted and guess.column.to == given.to)
    return detail(given, cells, today, usable_unit(unit, given), inverted)


def _no_things(headed: HeadedSheet, sheet: SheetMap, today: dt.date) -> set[int]:
    """Rows that nothing is asked about: without what could be a code, totals and notes."""
    key = f"{sheet.row}.{BY_NAME[sheet.row].key[0]}"
    given = sheet.by_heading()
    for at, heading in headed.headings.items():
        known, (guess, _) = given.get(heading), guess_heading(heading, sheet.row)
        if (known.to if known else guess.column.to if guess and guess.sure else "") == key:
            texts = {number: tidied(row[at].text) for number, row in headed.data.items() if at in row}
            read = canonical_texts(list(texts.values()), BY_NAME[sheet.row].columns[0], strict(today))
            codes = {number: code for number, code in zip(texts, read, strict=True) if isinstance(code, str)}
            return set(headed.data) - set(codes) | set(stray_rows(codes))
    return set()


def propose(headed: HeadedSheet, sheet: SheetMap, today: dt.date) -> Proposal:
    """Complete the mapping of a sheet.

    Parameters
    ----------
    headed : HeadedSheet
        The sheet with its headings.
    sheet : SheetMap
        What is said of it so far; its ``row`` is set.
    today : date
        Later dates are refused.
    """
    if sheet.row in (OPEN, IGNORED):
        return Proposal(headed, sheet, {})
    given = sheet.by_heading()
    cells = headed.by_column(without=_no_things(headed, sheet, today))
    remarks: dict[tuple[str, str], Remark] = {}
    columns: list[ColumnMap] = []
    new: list[_New] = []
    for at, heading in headed.headings.items():
        known = given.get(heading)
        if known and known.to != OPEN:
            made = _completed(known, cells[at], today)
            columns.append(made.column)
            remarks |= _of_keys(made)
            continue
        found = _new_column(heading, cells[at], sheet.row, today)
        if known and not found.sure:
            found = replace(found, detailed=Detailed(known))
        new.append(found)
    twice = _claimed_twice(new, columns)
    for found in new:
        heading = found.detailed.column.heading
        sure, why, made = found.sure, found.why, found.detailed
        if heading in twice:
            why = f"maybe {_maybe(made.column)}; another column could be it too"
            sure, made = False, Detailed(ColumnMap(heading, OPEN))
        columns.append(made.column)
        remarks[heading, "to"] = Remark(SURE if sure else ASKED, why)
        remarks |= _of_keys(made)
    columns = _answered_elsewhere(columns)
    order = {heading: at for at, heading in enumerate(headed.headings.values())}
    gone = [column for column in sheet.columns if column.heading not in order]
    columns.sort(key=lambda column: order[column.heading])
    if sheet.row == "jobs":
        columns = _numbered(columns)
    return Proposal(headed, replace(sheet, columns=(*columns, *gone)), remarks)


def _answered_elsewhere(columns: Sequence[ColumnMap]) -> list[ColumnMap]:
    """A word answered under one heading means the same under another that holds the same column of the log."""
    answers: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for column in columns:
        for text, code in column.values.items() if column.taken else ():
            if code != OPEN:
                answers.setdefault((column.to, value_key(text)), []).append((column.heading, code))
    out = []
    for column in columns:
        values = dict(column.values)
        for text in (text for text, code in values.items() if code == OPEN):
            said = answers.get((column.to, value_key(text)), [])
            values[text] = next((code for heading, code in said if heading != column.heading), OPEN)
        out.append(replace(column, values=values))
    return out


def _of_keys(made: Detailed) -> dict[tuple[str, str], Remark]:
    column = made.column
    out = {}
    for key in ("chip", "step", "side", "test"):
        if getattr(column, key) == OPEN:
            choices = {"chip": "chip_role", "step": "step_type", "side": "side"}.get(key, "")
            codes = next((table[choices].codes for table in TABLES if choices in table.by_name), ())
            out[column.heading, key] = Remark(
                ASKED, "which one? " + (", ".join(codes) or "the number of the boot test")
            )
    for key, text in made.remarks.items():
        at = column.values.get(key.removeprefix("values.")) if key.startswith("values.") else getattr(column, key)
        out[column.heading, key] = Remark(ASKED if at == OPEN else SURE, text)
    return out


def key_columns(sheet: SheetMap) -> dict[str, str]:
    """Key column of the sheet's table to the heading that holds it."""
    keys = BY_NAME[sheet.row].key
    held = {column.to.split(".")[1]: column.heading for column in sheet.columns if column.taken and not column.is_open}
    return {key: held[key] for key in keys if key in held}
