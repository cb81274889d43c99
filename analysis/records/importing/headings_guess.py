"""What a heading may stand for, by its words alone."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Any

from rapidfuzz import fuzz, process

from analysis.records.dictionary import TABLES, Role
from analysis.records.importing import words
from analysis.records.importing.mapping import IGNORED, OPEN, PERSONAL, ColumnMap, column_named
from analysis.records.importing.units import unit_named, units_for
from analysis.records.importing.words import plain_words

_ALIKE = 84.0  # of 100; below, two headings have too little in common to be worth a question
_ORDINALS = {"first": 1, "1st": 1, "second": 2, "2nd": 2, "third": 3, "3rd": 3, "fourth": 4, "4th": 4}
_TEST = re.compile(r"(?a)\b(?:boot test|test|boot|try) (?:no )?(\d{1,2})\b")
_LONG_UNITS = {word for unit in ("hours", "min") for word in words.UNITS[unit] if len(word) > 2}
_NTH = re.compile(rf"\b({'|'.join(_ORDINALS)}) (?:boot test|boot|test|try|power up|power on)\b")
_MONEY = re.compile(r"[£€$]|\b(?:paid|costs?|price|kosten|preis|bezahlt)\b")
_OF_DONOR = re.compile(r"\b(?:donor|spender)")


@dataclass(frozen=True)
class Guess:
    """What a heading may stand for.

    Parameters
    ----------
    column : ColumnMap
        With everything the heading says; what it leaves open is "?".
    sure : bool
        Whether the words themselves say so; otherwise they are only alike, or often mean something else.
    why : str
        In words.
    inverted : bool
        Whether yes and no stand the other way round.
    """

    column: ColumnMap
    sure: bool
    why: str
    inverted: bool = False


@cache
def _lookup() -> dict[str, str]:
    """Phrase to column name; the dictionary's own names and titles included."""
    out: dict[str, str] = {}
    titles: dict[str, set[str]] = {}
    for table in TABLES:
        for column in table.columns:
            titles.setdefault(plain_words(column.title), set()).add(column.name)
            out[plain_words(column.name)] = column.name
    out |= {title: min(names) for title, names in titles.items() if len(names) == 1 and title not in out}
    return out | _turned(words.PHRASES)


def _turned(phrases: Mapping[str, tuple[str, ...]]) -> dict[str, str]:
    return {phrase: name for name, said in phrases.items() for phrase in said}


_TEST_LOOKUP = _turned(words.TEST_PHRASES)
_CHIP_LOOKUP = _turned(words.CHIP_PHRASES)
_STEP_LOOKUP = _turned(words.STEP_PHRASES)
_OWN_LOOKUP = {
    "boot_tests": _TEST_LOOKUP,
    "chip_sides": _CHIP_LOOKUP,
    "heat_steps": _STEP_LOOKUP,
    "donors": _turned(words.DONOR_PHRASES),
}
_LOOSE, _INVERTED = _turned(words.LOOSE), _turned(words.INVERTED)
_TEST_LOOSE, _STEP_LOOSE = _turned(words.TEST_LOOSE), _turned(words.STEP_LOOSE)


@cache
def _qualifier(kind: str) -> tuple[tuple[re.Pattern[str], str], ...]:
    """Patterns of the words for a chip, side or step, longest first."""
    table = {"chip": words.CHIP_WORDS, "side": words.SIDE_WORDS, "step": words.STEP_WORDS}[kind]
    pairs = [(word, code) for code, said in table.items() for word in said]
    return tuple((re.compile(rf"\b{word}\b"), code) for word, code in sorted(pairs, key=lambda p: -len(p[0])))


def _take(kind: str, text: str) -> tuple[str, str]:
    """Take the first word of a kind out of a heading: its code and what is left."""
    for pattern, code in _qualifier(kind):
        if pattern.search(text):
            return code, " ".join(pattern.sub(" ", text, count=1).split())
    return "", text


def _take_test(text: str) -> tuple[int, str]:
    for pattern in (_TEST, _NTH):
        if match := pattern.search(text):
            number = _ORDINALS.get(match[1]) or int(match[1])
            return number, " ".join((text[: match.start()] + " " + text[match.end() :]).split())
    return 0, text


def variants(heading: str) -> tuple[list[str], str]:
    """Ways to read a heading, with and without its unit, and the unit."""
    low = heading.casefold().strip()
    unit, out = "", [low]
    if inner := re.search(r"[(\[]([^)\]]*)[)\]]", low):
        unit = unit_named(inner[1])
        without = (low[: inner.start()] + " " + low[inner.end() :]).strip()
        out = [without] if unit else [low, without]
    parts = re.split(r"[\s,/_]+", out[-1])
    if not unit and len(parts) > 1 and _ends_in_unit(parts):
        unit = unit_named(parts[-1])
        out.append(" ".join(parts[:-1]))
    elif not unit and (at := next((at for at, part in enumerate(parts) if part in _LONG_UNITS), None)) is not None:
        unit = unit_named(parts[at])  # "Hours", "Min at test 1"
        out.append(" ".join((*parts[:at], "time", *parts[at + 1 :])))
    return [plain for text in out if (plain := plain_words(text))], unit


def _ends_in_unit(parts: Sequence[str]) -> bool:
    """Whether the last word is a unit; a letter alone is one of a temperature only ("temp C", never "side C")."""
    *_, before, last = parts
    plain = len(last) == 1 and last.isalnum()
    return bool(unit_named(last)) and (not plain or before in ("temp", "temperature", "t"))


def table_of(name: str, row: str) -> str:
    """The table whose column of this name a sheet with such rows would hold."""
    holders = [table.name for table in TABLES if name in table.by_name]
    return row if row in holders else holders[0]


def _whole(text: str, heading: str, row: str) -> Guess | None:
    """A heading that says it all."""
    if text in words.PERSONAL:
        return Guess(ColumnMap(heading, PERSONAL), True, "client data never enter a log")
    if text in words.IGNORED:
        return Guess(ColumnMap(heading, IGNORED), True, "free text has no column in the log")
    name, inverted = _lookup().get(text, ""), False
    if row != "jobs":
        name = _OWN_LOOKUP.get(row, {}).get(text, name)
    if not name and text in _INVERTED:
        name, inverted = _INVERTED[text], True
    if not name:
        return None
    table = table_of(name, row)
    if row != "jobs":
        why = f"the heading means {name}"
        return Guess(ColumnMap(heading, f"{table}.{name}"), True, why, inverted) if table == row else None
    if table in ("jobs", "donors", "technicians"):
        return Guess(ColumnMap(heading, f"{table}.{name}"), True, f"the heading means {name}", inverted)
    return None  # work at the bench: the heading must also say which chip, step or test


def _of_test(text: str, heading: str) -> Guess | None:
    test, rest = _take_test(text)
    name = _TEST_LOOKUP.get(rest)
    if test and (about := _TEST_LOOSE.get(rest)):
        why = (
            f"why boot test {test} failed; it is taken for the cause of a job that was not recovered if no later test"
            " followed, other cells are kept aside"
        )
        return Guess(ColumnMap(heading, f"jobs.{about}", test=test), False, why)
    if not test or name is None:
        return None
    return Guess(ColumnMap(heading, f"boot_tests.{name}", test=test), True, f"boot test {test}: {name}")


def _of_chip(text: str, heading: str) -> Guess | None:
    chip, rest = _take("chip", text)
    side, bare = _take("side", rest)
    name = _CHIP_LOOKUP.get(bare)
    if name is None and chip and rest.startswith("donor "):
        side, name = "landing", _CHIP_LOOKUP.get(rest.removeprefix("donor "))
    if name is None:
        return None
    chip = chip or ("processor" if side == "upper" else OPEN)
    return Guess(ColumnMap(heading, f"chip_sides.{name}", chip=chip, side=side), True, f"work on a chip: {name}")


def _of_step(text: str, heading: str) -> Guess | None:
    chip, rest = _take("chip", text)
    step, bare = _take("step", rest)
    name = _STEP_LOOKUP.get(bare)
    if (chip or step) and (about := _STEP_LOOSE.get(bare)):
        why = "what the station shows is set_temp_c, what a thermocouple at the part shows is measured_peak_c"
        return Guess(ColumnMap(heading, f"heat_steps.{about}", chip=chip or OPEN, step=step or OPEN), False, why)
    if text in words.STEP_PHRASES["preheat_c"]:
        why = f"'{text}' often means the preheater's temperature during another step"
        return Guess(ColumnMap(heading, "heat_steps.preheat_c", chip=OPEN, step=OPEN), False, why)
    if name is None or not (step or chip):
        return None
    found = ColumnMap(heading, f"heat_steps.{name}", chip=chip or OPEN, step=step or OPEN)
    return Guess(found, True, f"a heat step: {name}")


def _is_money(column: ColumnMap) -> bool:
    return column.taken and column.column.role is Role.MONEY


def _alike(text: str, heading: str, row: str) -> Guess | None:
    """The closest phrase, when it is close."""
    if text in _LOOSE and table_of(_LOOSE[text], row) in (row, "jobs"):
        name = _LOOSE[text]
        why = f"'{text}' often means {name}"
        return Guess(ColumnMap(heading, f"{table_of(name, row)}.{name}"), False, why)
    if len(text) < 4:
        return None
    lookup = _lookup()
    best = process.extractOne(text, lookup.keys(), scorer=fuzz.token_sort_ratio, score_cutoff=_ALIKE)
    whole = _whole(best[0], heading, row) if best else None
    if (money := _MONEY.search(heading.casefold())) and not (whole and _is_money(whole.column)):
        donors = row == "jobs" and _OF_DONOR.search(text)
        why = f"'{money[0]}' speaks of money"
        return Guess(ColumnMap(heading, "jobs.donor_cost"), False, why) if donors else None
    return replace(whole, sure=False, why=f"the heading is like '{best[0]}'") if whole and best else None


@lru_cache(maxsize=1 << 16)
def guess_heading(heading: str, row: str) -> tuple[Guess | None, str]:
    """What a heading may stand for in a sheet with such rows, and the unit it names.

    Returns
    -------
    Guess or None
        None when nothing comes near.
    str
        Unit; blank when none is named.
    """
    texts, unit = variants(heading)
    for text in texts:
        if found := _whole(text, heading, row):
            own = found.column.taken and heading.strip() == found.column.column.name
            return found, found.column.column.unit if own else unit  # the log's own name means the log's own unit
    if row == "jobs":
        for text in texts:
            if found := _of_test(text, heading) or _of_chip(text, heading) or _of_step(text, heading):
                return found, unit
    for text in texts:
        if found := _alike(text, heading, row):
            return found, unit
    return None, unit


def with_plain_words(column: ColumnMap, row: str) -> ColumnMap:
    """A column of a person's mapping with the chip, step and test that its heading names, and its unit's usual sign."""
    target = column_named(column.to)
    if target is None:
        return column
    unit, found = unit_named(column.unit), dict[str, Any]()
    if column.unit not in units_for(target) and unit in units_for(target):
        found["unit"] = unit
    table, text = column.to.split(".")[0], plain_words(column.heading) if row == "jobs" else ""
    for key, (tables, said) in {
        "chip": (("chip_sides", "heat_steps"), _take("chip", text)[0]),
        "step": (("heat_steps",), _take("step", text)[0]),
        "test": (("boot_tests",), _take_test(text)[0]),
    }.items():
        of_column = (
            key == "step" and said == "preheat" and target.name == "preheat_c"
        )  # names the setting, not the step
        if table in tables and said and not getattr(column, key) and not of_column:
            found[key] = said
    return replace(column, **found)


def usable_unit(unit: str, column: ColumnMap) -> str:
    """The heading's unit, where the column can be in it."""
    return unit if column.taken and unit in units_for(column.column) else ""
