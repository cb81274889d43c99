"""Texts that read like something of a client's: a name, an e-mail address, a telephone or a device's number.

Device numbers are told by their check digit (Luhn: ISO/IEC 7812-1, Annex B; IMEI: 3GPP TS 23.003, Annex B; ICCID: ITU-T
E.118; all from memory). Names are told by titles, by common given names and by two capitalised words; that is a guess,
so that it gives a warning and no fault.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections import Counter
from pathlib import Path

import numpy as np

from analysis.records.packed_texts import Words, numbered, shapes, unpacked

# What an ordinary code of a shop looks like: letters, a number, perhaps another after a sign. Most texts end here.
_PLAIN_CODE = re.compile(r"([A-Za-z]*)[-_./#]?(?!0[1-9])[0-9]{1,8}([-_./#](?!0[1-9])[0-9]{1,6})?")
_PLAIN_DIGITS = re.compile(r"[A-Za-z]{1,2}[-_./#]?[0-9]{1,8}")
_DIGITS = re.compile(r"[0-9]+")
_WORD = re.compile(r"[A-Z][a-z]+|[a-z]+|[A-Z]+")
_EMAIL = re.compile(r"@|(?<![a-z])(at|a-t)[-_.][a-z0-9]+[-_.](com|net|org|de|uk|fr|es|it|eu|ch|at)$", re.IGNORECASE)
_TELEPHONE = re.compile(
    r"(tel|phone|fon|mob(ile)?|cell)[-_.:#]?\+?[0-9/._-]{6,}|\+[0-9][0-9/._-]{6,}|(?<![0-9A-Za-z])0[1-9][0-9]{1,4}[-/.][0-9]{4,9}",
    re.IGNORECASE,
)
_TELEPHONE_GROUPS = re.compile(r"\+?\(?[0-9]{2,4}\)?[-/.][0-9]{2,4}[-/.][0-9]{3,5}([-/.][0-9]{2,5})?")
_A_DATE = re.compile(r"(19|20)[0-9]{2}[-/.]?[0-9]{2}[-/.]?[0-9]{2}([-_/.].*)?")
_SERIAL = re.compile(r"(?=(.*[0-9]){3})(?=(.*[A-Z]){3})(?=.*[A-Z][0-9]+[A-Z])(?=.*[0-9][A-Z]+[0-9])[A-Z0-9]{10,13}")

_BANK_ACCOUNT = re.compile(r"[A-Z]{2}[0-9]{2}[A-Z0-9]{11,30}")
# A word long enough for a name: capitalised, small, or all capitals and longer, as short ones are ordinary prefixes.
_LONG_WORD = re.compile(r"[A-Z][a-z]{3,}|(?<![A-Za-z])[a-z]{4,}|[A-Z]{5,}")

NAME = "a person's name"
SHARED = 3  # codes with the same word: a prefix of the shop rather than a client
_CALLED = ("tel", "phone", "fon", "mob", "mobile", "cell")
WORDS = Path(__file__).resolve().parent / "identifier_words.toml"


@functools.cache
def _words(kind: str) -> frozenset[str]:
    """Words of one kind, in lower case."""
    return frozenset(str(tomllib.loads(WORDS.read_text(encoding="utf-8"))[kind]).split())


def luhn(digits: str) -> bool:
    """Whether the last digit is the check digit of those before it."""
    doubled = (int(c) * (1 + at % 2) for at, c in enumerate(reversed(digits)))
    return sum(value - 9 if value > 9 else value for value in doubled) % 10 == 0


def _device_number(text: str) -> bool:
    joined = re.sub(r"(?<=[0-9])[-/._ ](?=[0-9])", "", text)
    return any(len(run) in (15, 19, 20) and luhn(run) for run in _DIGITS.findall(joined))


def _bank_account(text: str) -> bool:
    """Whether the check digits of an account number are right (IBAN: ISO 13616, modulo 97; from memory)."""
    if not _BANK_ACCOUNT.fullmatch(text):
        return False
    return int("".join(str(int(c, 36)) for c in text[4:] + text[:4])) % 97 == 1


def _telephone(text: str) -> bool:
    if _A_DATE.fullmatch(text):
        return False
    grouped = _TELEPHONE_GROUPS.fullmatch(text) and sum(c.isdigit() for c in text) >= 9
    return bool(_TELEPHONE.search(text) or grouped)


@functools.lru_cache(maxsize=4096)  # codes differ in their digits, seldom in their letters
def _name(letters: str) -> bool:
    words = [word for word in _WORD.findall(letters) if len(word) > 1]
    plain = [word.casefold() for word in words]
    titled = len(words) > 1 and not _words("titles").isdisjoint(plain)
    if titled or not _words("given_names").isdisjoint(plain):
        return True
    called = [word for word in words if len(word) > 2 and word[0].isupper() and word[1:].islower()]
    return len([word for word in called if word.casefold() not in _words("trade_words")]) >= 2


def _plainly(text: str) -> str | None:
    """What a text that looks like an ordinary code reads like, whatever its digits from 1 to 9; None for any other."""
    if not text or _PLAIN_DIGITS.fullmatch(text):
        return ""
    plain = _PLAIN_CODE.fullmatch(text)
    if plain and plain[1].casefold() not in _CALLED and len(text) - len(plain[1]) <= 12:
        return NAME if _name(plain[1]) else ""
    return None


def reads_like(text: str) -> str:
    """What of a client's a text reads like, in words; empty for an ordinary code."""
    if (told := _plainly(text)) is not None:
        return told
    if _EMAIL.search(text):
        return "an e-mail address"
    if _device_number(text):
        return "a device's number (its check digit is right)"
    if _telephone(text):
        return "a telephone number"
    if _bank_account(text):
        return "a bank account (its check digits are right)"
    if _SERIAL.fullmatch(text):
        return "a device's serial number"
    return NAME if _name(_DIGITS.sub("0", text)) else ""


def all_read_like(words: Words) -> dict[int, str]:
    """Places of the texts that read like something of a client's, and what each reads like.

    Parameters
    ----------
    words : ndarray of uint64, shape (k, n)
        The texts; see ``packed_texts.py``. Ordinary codes are looked at once a shape, for a log may hold millions.
    """
    codes, kinds = shapes(words)
    doubtful = [number for number, shape in enumerate(kinds) if _plainly(shape) != ""]
    at = np.flatnonzero(np.isin(codes, doubtful))
    told = zip(at.tolist(), map(reads_like, unpacked(words[:, at])), strict=True)
    return {place: what for place, what in told if what}


def with_lone_words(words: Words) -> list[int]:
    """Places of job codes with a word that hardly any other shares: "Schmidt" among "J-0001", "J-0002" and "J-0003".

    A shop's own codes share their words. Nothing is told of the first few jobs, before a way of writing shows. Codes of
    one shape hold the same words, and are taken together.
    """
    codes, kinds = shapes(words)
    own = [{word.casefold() for word in _LONG_WORD.findall(shape)} for shape in kinds]
    if not any(own):
        return []
    _, once = np.unique(numbered(words)[0], return_index=True)  # a code that stands twice counts once
    held: Counter[str] = Counter()
    for mine, times in zip(own, np.bincount(codes[once], minlength=len(kinds)).tolist(), strict=True):
        held.update(dict.fromkeys(mine, times))
    n = int(words.any(axis=0).sum())
    rare = {word for word, times in held.items() if times < SHARED <= n - times} - _words("trade_words")
    alone = [number for number, mine in enumerate(own) if mine & rare]
    return np.flatnonzero(np.isin(codes, alone)).tolist()
