"""Text to typed columns. Each different text of a column is read once, so that a million rows cost little."""

from __future__ import annotations

import datetime as dt
import difflib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.records.coded import Coded
from analysis.records.dates import read_date
from analysis.records.dictionary import WORD_OF, Column, Kind, Required, Table
from analysis.records.importing.value_words import BLANK_WORDS, UNKNOWN_WORDS, likeliest_code
from analysis.records.packed_texts import shapes
from analysis.records.problems import Problem, Severity, plural, quoted
from analysis.records.readings import Bad, Read, Reading
from analysis.records.settings import Settings
from analysis.records.texts import Texts

_LONGEST_KEY = 64
_KEY = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/#-]{0,63}")
_EMAIL = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")
_LONG_NUMBER = re.compile(r"\+?[0-9\s()/.-]{10,}")
_BEGINS_WITH_A_MONTH = re.compile(r"(19|20)[0-9]{2}[-/.]?(0[1-9]|1[0-2])")
# More than 15 digits are no measurement and would not survive as a floating-point number.
_NUMBER = re.compile(r"[+-]?[0-9]{1,15}(\.[0-9]{1,15})?")
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]{1,15},[0-9]{1,15}")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_WITH_UNIT = re.compile(
    r"([+-]?[0-9]+(?:[.,][0-9]+)?)\s*(°?\s*[CF]|s|sec|min|h|hrs?|years?|y|%|€|\$|EUR|USD)", re.IGNORECASE
)
_LONGEST_HINTED = 100  # letters
_LONGEST_ADDRESS = 320  # letters of an e-mail address; seeking one takes time with the square of the length
_YES_NO = {word: value for value, word in WORD_OF.items()}
_YES_NO_LOOSE = _YES_NO | {"y": True, "n": False, "true": True, "false": False}


@dataclass(frozen=True)
class Context:
    """What reading a cell depends on besides the cell."""

    settings: Settings
    delimiter: str
    today: dt.date
    comma_decimals: bool = False  # whether a point may part thousands here, as where the comma parts decimals


def _key(text: str, column: Column, context: Context) -> Reading:
    if _EMAIL.search(text[:_LONGEST_ADDRESS]):
        return Bad("no personal data", "This looks like an e-mail address; use a code of your own.", "personal-data")
    digits = sum(c.isdigit() for c in text)
    dated = _BEGINS_WITH_A_MONTH.match(text) and digits < 14  # a job number such as 20260315-01; 14 to 16: a device's
    if _LONG_NUMBER.fullmatch(text) and digits >= 10 and not dated:
        todo = "This looks like a telephone or serial number; use a code of your own."
        return Bad("no personal data", todo, "personal-data")
    if _KEY.fullmatch(text):
        return Read(text)
    todo = "Use letters A–Z, digits, - _ . / #, starting with a letter or digit, at most 64, without spaces."
    return Bad(column.rule, todo, "key")


# As a code each of these would make one group of all that is not known.
_NOT_RECORDED = ("na", "n/a", "n.a.", "n.a", "nan", "nil", "none", "null", "unknown")


def _blank_words(keys: Coded) -> list[int]:
    """Places of the keys that read like "not recorded"; no digit is part of such a word."""
    codes, kinds = shapes(keys.words)
    return np.flatnonzero(
        np.isin(codes, [at for at, kind in enumerate(kinds) if kind.lower() in _NOT_RECORDED])
    ).tolist()


_WORDS_FOR_BLANK = BLANK_WORDS | UNKNOWN_WORDS | set(_NOT_RECORDED)
_LEAVE_BLANK = "Leave the cell blank if it is not known, or name the word under missing_codes in bench.toml."


def _hinted(bad: Bad, text: str, column: Column) -> Bad:
    """A refusal that tells how to write "not recorded" where the text says so and the cell may be blank."""
    asked = column.required is Required.ALWAYS or column.kind is Kind.KEY or bad.todo.startswith("Did you mean")
    return bad if asked or text.casefold() not in _WORDS_FOR_BLANK else replace(bad, todo=_LEAVE_BLANK)


_SOME_LONG_NUMBER = re.compile(r"[0-9/.-]{10,}")


def _all_plain_keys(texts: Texts) -> bool:
    """Whether reading each of many keys by itself would find nothing to say; they are looked at once a shape."""
    if max(map(len, texts.uniques), default=0) > _LONGEST_KEY:
        return False
    _, kinds = shapes(texts.words)
    filled = filter(None, kinds)
    return all(_KEY.fullmatch(shape) and not _SOME_LONG_NUMBER.fullmatch(shape) for shape in filled)


def _choice(text: str, column: Column, context: Context) -> Reading:
    if text in column.codes:
        return Read(text)
    loose = re.sub(r"[\s\-]+", "_", text.casefold())
    if loose in column.codes:
        return Read(loose, "codes written in another case or with spaces")
    short = loose[:_LONGEST_HINTED]  # likeness is not sought in a whole book
    # A "yes" beside an outcome may mean that the client got the data, or that the job is over: no guess.
    guessed = column.name != "outcome" or loose not in _YES_NO_LOOSE
    word = likeliest_code(column.name, text[:_LONGEST_HINTED]) if guessed else ""
    near = [word] if word else difflib.get_close_matches(short, column.codes, 1)
    foreign = "" if text.isascii() else "It holds letters that only look like a–z. "
    hint = f"Did you mean {near[0]}?" if near else f"'rework column {column.name}' explains the codes."
    return Bad(column.rule, foreign + hint, "code")


def _yes_no(text: str, column: Column, context: Context) -> Reading:
    if text in _YES_NO:
        return Read(_YES_NO[text])
    if text.casefold() in _YES_NO_LOOSE:
        return Read(_YES_NO_LOOSE[text.casefold()], "yes and no written otherwise")
    return Bad(column.rule, "Write yes or no; leave it blank when it is not known.", "yes-no")


def _bare_number(number: str, unit: str, column: Column) -> str:
    """What to do about a unit in the cell; degrees Fahrenheit are told in °C, since the bare number would lie."""
    if column.unit == "°C" and unit.casefold().endswith("f"):
        celsius = (float(number.replace(",", ".")) - 32) / 1.8
        return f"{number} °F are {celsius:.0f} °C. Write °C, the number only."
    of = f"; the unit of this column is {column.unit}" if column.unit else ""
    return f"Write the number only: {number}{of}."


def _number(text: str, column: Column, context: Context) -> Reading:
    note = ""
    if text.casefold() in column.zero_words:
        return Read(0.0, f"{quoted(text)} read as 0: none")
    if _THOUSANDS.fullmatch(text) and ("," in text or context.comma_decimals) and context.delimiter != ",":
        plain, point = re.sub("[.,]", "", text), text.replace(",", ".")
        reason = "a number that can mean one thing only: here a comma or point may part thousands or decimals"
        return Bad(reason, f"Write {plain} or {float(point):g}, whichever is meant.", "number")
    if _COMMA_NUMBER.fullmatch(text) and context.delimiter != ",":
        text, note = text.replace(",", "."), "numbers with a decimal comma"
    if not _NUMBER.fullmatch(text):
        if _COMMA_NUMBER.fullmatch(text):
            todo = "Use a decimal point; a comma also parts the cells of this file."
        elif unit := _WITH_UNIT.fullmatch(text):
            todo = _bare_number(unit[1], unit[2], column)
        else:
            todo = "Write digits, with a point for decimals and nothing between thousands."
        return Bad(column.rule, todo, "number")
    value = float(text)
    if column.kind is Kind.INTEGER:
        if value != int(value):
            return Bad(column.rule, "Write a whole number.", "number")
        note = note or ("whole numbers written with decimals" if "." in text else "")
    return Read(value, note)


def _date(text: str, column: Column, context: Context) -> Reading:
    return read_date(text, context.settings.date_order, context.today)


_READERS: dict[Kind, Callable[[str, Column, Context], Reading]] = {
    Kind.KEY: _key,
    Kind.CHOICE: _choice,
    Kind.YES_NO: _yes_no,
    Kind.NUMBER: _number,
    Kind.INTEGER: _number,
    Kind.DATE: _date,
}


def typed(column: Column, values: Sequence[Any]) -> pd.Series:
    """A series with the column's dtype; None is missing."""
    if column.kind is Kind.CHOICE:
        return pd.Series(pd.Categorical(values, categories=list(column.codes)))
    if column.kind is Kind.KEY:
        return pd.Series(pd.array(values, dtype="string"))
    if column.kind is Kind.NUMBER:
        return pd.Series([np.nan if value is None else value for value in values], dtype=float)
    if column.kind is Kind.INTEGER:
        return pd.Series(pd.array([None if value is None else int(value) for value in values], dtype="Int64"))
    if column.kind is Kind.DATE:
        return pd.Series(pd.to_datetime(pd.Series(values, dtype=object))).astype("datetime64[ns]")
    return pd.Series(pd.array(values, dtype="boolean"))


def empty_column(column: Column, rows: int) -> pd.Series:
    """A column of blanks, for one that the file does not have."""
    return typed(column, [None] * rows)


@dataclass(frozen=True)
class Doubt:
    """Why a text that was read may be meant otherwise."""

    taken_as: str
    rule: str
    todo: str
    code: str


@dataclass(frozen=True)
class Noted:
    """Cells that were read otherwise than written: how many, and the position and text of one of them."""

    cells: int
    at: int
    text: str


@dataclass(frozen=True)
class Converted:
    """A typed column with its faulty cells and what is to be noted once."""

    values: pd.Series
    coded: Coded
    bad: list[tuple[int, str, Bad]]
    notes: dict[str, Noted]
    doubtful: list[tuple[int, str, Doubt]]


def convert(texts: Texts, column: Column, context: Context) -> Converted:
    """Read a column.

    Returns
    -------
    Converted
        ``bad`` holds (position, text, refusal) for each faulty cell; a faulty cell is missing in ``values``.
        ``doubtful`` holds (position, text, doubt) for each cell that was read and may be meant otherwise.
    """
    codes, uniques = texts.codes, texts.uniques
    missing = {"", *context.settings.missing_codes}
    plain = column.kind is Kind.KEY and _all_plain_keys(texts) and missing.isdisjoint(filter(None, uniques))
    if plain:
        values: list[Any] = [text or None for text in uniques]
        refused: dict[int, Bad] = {}
        notes: dict[str, list[int]] = {}
    else:
        values, refused, notes = _read_each(texts, column, context, missing)
    out = pd.Series(typed(column, values).array.take(codes), copy=False) if len(codes) else empty_column(column, 0)
    bad = [(at, uniques[codes[at]], refused[int(codes[at])]) for at in _rows_with(refused, codes)]
    coded = Coded(codes, values, texts.words if plain else None)
    doubts = _doubts(uniques, coded, column)
    doubtful = [(at, uniques[codes[at]], doubts[int(codes[at])]) for at in _rows_with(doubts, codes)]
    noted = {}
    for note, places in notes.items():
        if rows := _rows_with(places, codes):
            noted[note] = Noted(len(rows), rows[0], uniques[codes[rows[0]]])
    return Converted(out, coded, bad, noted, doubtful)


_A_BLANK = Doubt("a code", "a code of your own", _LEAVE_BLANK, "blank-word")
# What only a way of writing three decimals explains: 0.750 and 1250.000 part no thousands.
_THREE_DECIMALS = re.compile(r"[+-]?(0|[0-9]{4,})\.[0-9]{3}")


def _doubts(uniques: Sequence[str], coded: Coded, column: Column) -> dict[int, Doubt]:
    """Places of texts that were read and may be meant otherwise: words for "not recorded", points between thousands."""
    if column.kind is Kind.KEY:
        return dict.fromkeys(_blank_words(coded), _A_BLANK)
    if column.kind is not Kind.NUMBER or any(_THREE_DECIMALS.fullmatch(text.strip()) for text in uniques):
        return {}
    out = {}
    for at, (text, value) in enumerate(zip(uniques, coded.values, strict=True)):
        if value is None or not _THOUSANDS.fullmatch(text.strip()) or "," in text:
            continue
        if column.high is None or abs(value) * 1000 <= column.high:
            rule = "a number that can mean one thing only: a point before three digits may part decimals or thousands"
            todo = f"Write {value * 1000:.0f} if thousands were meant, else {value:g}."
            out[at] = Doubt(f"{value:g}", rule, todo, "thousands")
    return out


def _rows_with(wanted: Iterable[int], codes: NDArray[np.integer]) -> list[int]:
    """Rows whose code is one of the wanted ones."""
    listed = list(wanted)
    return [int(at) for at in np.flatnonzero(np.isin(codes, listed))] if listed else []


def _read_each(
    texts: Texts, column: Column, context: Context, missing: set[str]
) -> tuple[list[Any], dict[int, Bad], dict[str, list[int]]]:
    """Read every different text: its value, why it was refused, and the places of the texts each note is about."""
    if column.kind in (Kind.NUMBER, Kind.INTEGER):
        commas = any(_COMMA_NUMBER.fullmatch(text.strip()) for text in texts.uniques)
        context = replace(context, comma_decimals=commas or context.delimiter == ";")
    values: list[Any] = []
    refused: dict[int, Bad] = {}
    notes: dict[str, list[int]] = {}
    for i, raw in enumerate(texts.uniques):
        text = raw.strip()
        if text != raw:
            notes.setdefault("outer spaces", []).append(i)
        if text in missing:
            reading: Reading = Read(None, f"{quoted(text)} read as not recorded" if text else "")
        else:
            reading = _READERS[column.kind](text, column, context)
        if isinstance(reading, Bad):
            refused[i] = _hinted(reading, text, column)
            values.append(None)
            continue
        values.append(reading.value)
        if reading.note:
            notes.setdefault(reading.note, []).append(i)
    return values, refused, notes


def cell_problems(
    converted: Converted, column: Column, table: Table, lines: Sequence[int], jobs: Texts | None
) -> list[Problem]:
    """One fault a faulty cell, one warning a doubtful one, one note a column and kind of spelling."""

    def say(at: int, found: str, rule: str, todo: str, severity: Severity, code: str) -> Problem:
        job = jobs[at].strip() if jobs else ""
        return Problem(table.file, int(lines[at]), job, column.name, found, rule, todo, severity, code)

    out = [say(at, quoted(text), bad.rule, bad.todo, Severity.FAULT, bad.code) for at, text, bad in converted.bad]
    out += [
        say(at, f"{quoted(text)}, taken as {doubt.taken_as}", doubt.rule, doubt.todo, Severity.WARNING, doubt.code)
        for at, text, doubt in converted.doubtful
    ]
    for note, noted in converted.notes.items():
        todo = "Nothing; they were understood. The file was not changed."
        found = f"{note} ({plural(noted.cells, 'cell')}"
        if column.kind is Kind.DATE and not pd.isna(day := converted.values.iloc[noted.at]):
            example = "" if noted.cells == 1 else "for example "
            found += f"; {example}line {int(lines[noted.at])}: {quoted(noted.text)} read as {day:%Y-%m-%d}"
        found += ")"
        out.append(Problem(table.file, 0, "", column.name, found, column.rule, todo, Severity.NOTE, "spelling"))
    return out
