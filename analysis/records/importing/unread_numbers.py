"""Numbers written in words of the bench: "2x", "~340", "3-4", "none". None is taken for a number by itself."""

from __future__ import annotations

import re

from analysis.records.dictionary import Column, Kind
from analysis.records.importing.units import CONVERSIONS, converted, number_and_unit
from analysis.records.importing.value_words import YES_WORDS

_ABOUT = re.compile(r"(?:~|≈|≃|ca\.?|circa|approx\.?|approximately|about|around|abt\.?|roughly|nearly|>|<)\s*", re.I)
_COUNTED = re.compile(r"([+-]?[\d.,]+)\s*(?:x|times?|pcs|pads?|passes|pass|tries|ea\.?)", re.I)
_RANGE = re.compile(r"([\d.,]+)\s*(?:-|–|to|or|bis|oder|/)\s*([\d.,]+)\s*(\D*)", re.I)
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}.*")
_NOUGHT = ("none", "no", "nil", "zero", "null", "nothing")


def is_number(text: str, column: Column) -> bool:
    """Whether a text is a number, with or without its unit, however its decimals and thousands are parted."""
    if text.strip().casefold() in column.zero_words:
        return True
    bare = number_and_unit(text, column)[0]
    return bool(re.fullmatch(r"[+-]?[\d.,]*\d[\d.,]*(?:[eE][+-]?\d+)?", bare))


def likely_number(text: str, column: Column, unit: str) -> tuple[str, str]:
    """The number a text most likely means, in the dictionary's unit, and what is doubtful about it.

    Parameters
    ----------
    text : str
        No number as it stands.
    column : Column
        Holds numbers.
    unit : str
        Unit of the sheet's column; blank where it has none.

    Returns
    -------
    str
        Blank when the text does not say one.
    str
        In words; blank when there is nothing to add.
    """
    plain = text.strip().casefold()
    if column.zero_words and plain in YES_WORDS:
        return "", "it is not said how warm: without a number it is not recorded; 0 says that there was none"
    if plain in _NOUGHT:
        return ("0", "") if column.zero_words or (column.kind is Kind.INTEGER and column.low == 0) else ("", "")
    if _DATE.fullmatch(plain):
        return "", "the spreadsheet made a date of what was typed, 2-3 for example"
    bare = _ABOUT.sub("", plain, count=1).strip() if _ABOUT.match(plain) else plain
    if between := _RANGE.fullmatch(bare):
        return "", f"between {between[1]} and {between[2]}: one number, or blank"
    if counted := _COUNTED.fullmatch(bare):
        bare = counted[1]
    number, own = number_and_unit(bare, column)
    try:
        value = float(number.replace(",", "."))
    except ValueError:
        return "", ""
    known = own or unit
    if column.unit in CONVERSIONS and not known:
        return "", ""
    return f"{converted(value, known, column):.10g}", ""
