"""A shop's own codes: spellings that may be one thing or two, and names of persons, are asked about."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from rapidfuzz.distance import DamerauLevenshtein

from analysis.records.identifiers import NAME, reads_like
from analysis.records.importing.grid import squeezed
from analysis.records.importing.mapping import OPEN
from analysis.records.importing.reading import value_key
from analysis.records.importing.value_words import BLANK
from analysis.records.problems import quoted

_RUNS = re.compile(r"[^\W\d_]+|\d+")
_SHORTEST_MISSPELT = 4  # letters; shorter words that differ by one letter are mostly different words
_MOST_WORDS = 200  # codes that are compared with one another letter by letter
_KEPT = "names stay in this file, never in the log; keep it to yourself, or elsewhere with --mapping"


@dataclass(frozen=True)
class Doubt:
    """A text that is asked about: the likeliest answer and why it is asked."""

    maybe: str
    why: str


def sort_of(text: str) -> tuple[str, ...]:
    """What spellings of one code share: "DB 1", "db-1" and "DB1" are alike, "1-12" and "11-2" are not."""
    return tuple(_RUNS.findall(text.casefold()))


def is_name(text: str) -> bool:
    """Whether a technician is called by a name rather than by a code; two or three capital letters are a code."""
    if any(c.isdigit() for c in text):
        return False
    return len(text) > 3 or not text.isupper() or reads_like(text) == NAME


def _spelled(texts: Iterable[str]) -> str:
    return ", ".join(quoted(text, 30) for text in texts)


def _groups(texts: Mapping[str, int]) -> Iterator[dict[str, list[str]]]:
    """Texts that are alike, each group by value key, spellings and groups the most frequent first."""
    ordered = sorted(texts, key=lambda text: -texts[text])
    by_sort: dict[tuple[str, ...], dict[str, list[str]]] = {}
    for text in ordered:
        by_sort.setdefault(sort_of(text) or (text,), {}).setdefault(value_key(text), []).append(text)
    yield from by_sort.values()


def codes_alike(texts: Mapping[str, int]) -> dict[str, Doubt]:
    """Codes that differ only by case, spaces or signs, or, where they are one word, by one letter.

    Of each group the most frequent needs no answer if it can.

    Parameters
    ----------
    texts : mapping of str to int
        Different texts, outer spaces off, with how often.
    """
    out = {}
    words: dict[str, str] = {}  # value key to text
    for group in _groups(texts):
        (first, *more), *others = group.values()
        if first.isalpha() and len(words) < _MOST_WORDS:  # "FAM-A" and "FAM-B" are two
            if near := _like_one_known(value_key(first), words):
                out[squeezed(first)] = Doubt(words[near], f"like {_spelled([words[near]])}: one or two?")
            words.setdefault(value_key(first), first)
        if more:  # one answer is for all spellings that differ by case only
            why = f"stands as {_spelled([first, *more])}: one or two? If two, give each spelling a line here"
            out[squeezed(first)] = Doubt(first, why)
        for spellings in others:
            out[squeezed(spellings[0])] = Doubt(first, f"like {_spelled([first])}: one or two?")
    return out


def names_of_persons(texts: Mapping[str, int], said: Mapping[str, str]) -> dict[str, Doubt]:
    """Names under technicians, each with the pseudonym it might have; names that may be one person get one.

    Parameters
    ----------
    texts : mapping of str to int
        Different texts, outer spaces off, with how often.
    said : mapping of str to str
        Answers so far.
    """
    taken = {code for code in said.values() if code != OPEN} | set(texts)
    free = (code for n in itertools.count(1) if (code := f"T{n}") not in taken)
    known = {value_key(text): code for text, code in said.items() if code not in (OPEN, BLANK)}
    out: dict[str, Doubt] = {}
    names = {value_key(text) for text in texts if is_name(text)}
    for group in _groups({text: n for text, n in texts.items() if value_key(text) in names}):
        (first, *_), *_ = group.values()
        near = _like_one_known(value_key(first), known)
        code = known[near] if near else next(free)
        spellings = [text for texts in group.values() for text in texts]
        why = f"like {quoted(near, 30)}: one person or two?" if near else ""
        if len(spellings) > 1:
            why = f"stands as {_spelled(spellings)}: one person or two? If two, give each spelling a line here"
        why = why or "a name? Give a pseudonym, or the same again if it is one"
        known.setdefault(value_key(first), code)
        for texts_alike in group.values():
            out[squeezed(texts_alike[0])] = Doubt(code, f"{why} ({_KEPT})" if not out else why)
    return out


def _like_one_known(name: str, known: Mapping[str, str]) -> str:
    """A name met before that differs by one letter; blank when there is none."""
    if len(name) < _SHORTEST_MISSPELT:
        return ""
    one_off = (other for other in known if DamerauLevenshtein.distance(name, other, score_cutoff=1) == 1)
    return next((other for other in one_off if len(other) >= _SHORTEST_MISSPELT), "")
