"""The code that a word of a sheet stands for: sure, likely, or several columns' codes at once."""

from __future__ import annotations

import re
from collections.abc import Mapping

from rapidfuzz import fuzz, process

from analysis.records.dictionary import JOBS, Column, Kind
from analysis.records.importing import value_words as words
from analysis.records.importing.mapping import OPEN

BLANKS = {words.plain_value(word) for word in words.BLANK_WORDS | words.UNKNOWN_WORDS}
_CLOSE = 80.0
_PARTED = re.compile(r"\s*[+/&,;:()]\s*|\s+[-–—]+\s+|\s+(?:and|with|then|but|because|due to)\s+")


def _yes_no(text: str, all_texts: Mapping[str, int], inverted: bool) -> tuple[str, str]:
    plain = words.plain_value(text)
    ticked_otherwise = any(words.plain_value(other) in words.YES_WORDS for other in all_texts)
    yes = plain in words.YES_WORDS or (plain in words.TICKS and not ticked_otherwise)
    turn = {"yes": "no", "no": "yes"} if inverted else {"yes": "yes", "no": "no"}
    if yes or plain in words.NO_WORDS:
        return turn["yes" if yes else "no"], ""
    if plain in words.MAYBE_YES or plain in words.TICKS:
        return OPEN, turn["yes"]
    return OPEN, turn["no"] if plain in words.MAYBE_NO else ""


def _known(column: Column) -> dict[str, str]:
    """Plain word to code, for the words that are sure."""
    known = {words.plain_value(code): code for code in column.codes}
    known |= {words.plain_value(c.label): c.code for c in column.choices if c.label}
    for code, said in words.VALUES.get(column.name, {}).items():
        known |= {words.plain_value(word): code for word in said}
    return known


def value_code(text: str, column: Column, all_texts: Mapping[str, int], inverted: bool = False) -> tuple[str, str]:
    """The code a text stands for, or "?" and the likeliest code.

    Parameters
    ----------
    text : str
        As it stands in the sheet.
    column : Column
        Has codes, or is yes or no.
    all_texts : mapping of str to int
        Every text of the column.
    inverted : bool
        Whether yes and no stand the other way round.
    """
    plain = words.plain_value(text)
    if column.kind is Kind.YES_NO:
        code, maybe = _yes_no(text, all_texts, inverted)
        if code != OPEN or maybe:
            return code, maybe
    known = _known(column)
    if plain in known:
        return known[plain], ""
    if plain in BLANKS:
        unknown = plain in words.UNKNOWN_WORDS
        if unknown:
            return ("unknown", "") if "unknown" in column.codes else (OPEN, words.BLANK)
        return words.BLANK, ""
    if likeliest := words.MAYBE.get(column.name, {}).get(plain):
        return OPEN, likeliest
    if several := _several(plain, column):
        return OPEN, several
    near = process.extractOne(plain, known.keys(), scorer=fuzz.token_sort_ratio, score_cutoff=_CLOSE)
    return OPEN, known[near[0]] if near else ""


def _likely(part: str, column: Column) -> str:
    """The code a part of a text most likely stands for; a text that speaks of another column gives none."""
    code = _known(column).get(part) or words.MAYBE.get(column.name, {}).get(part, "")
    return "" if "=" in code or code == words.BLANK else code


def _several(plain: str, column: Column) -> str:
    """What a text of several parts may mean: "declined - no donor" is a decision and its reason.

    Each part goes to the first column that knows it and has no part yet: the text's own, then those that such a text
    is apt to speak of.
    """
    parts = [part for part in _PARTED.split(plain) if part]
    if not 2 <= len(parts) <= 4:
        return ""
    held: dict[str, str] = {}
    for part in parts:
        for name in (column.name, *words.PARTNERS.get(column.name, ())):
            target = column if name == column.name else JOBS[name]
            if name not in held and (code := _likely(part, target)):
                held[name] = code
                break
    own = held.pop(column.name, "")
    others = [f"jobs.{name}={code}" for name, code in held.items()]
    return ", ".join(([own] if own else []) + others)
