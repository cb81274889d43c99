"""Many short texts as whole numbers, eight bytes each, so that millions are compared, sorted and looked up at once.

``words`` of n texts have shape (k, n): eight bytes of each text, then the next eight, NUL bytes behind its end. UTF-8
sorts as the texts do. A missing text is an empty one here; keys, which this is for, are never empty.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Words = NDArray[np.uint64]
Ints = NDArray[np.integer]

WORD = 8  # bytes compared as one number
_MIXER = np.uint64(0x9E3779B97F4A7C15)  # odd, with bits all over: 2^64 over the golden ratio (common practice)
# Each byte as it shapes a text: 1 to 9 alike, everything else itself.
_SHAPE = np.arange(256, dtype=np.uint8)
_SHAPE[ord("1") : ord("9") + 1] = ord("1")


def packed(texts: Sequence[str | None]) -> Words:
    """Texts as words; a NUL in a text, which could not be told from its end, counts as another sign no code has."""
    cells = [text.replace("\0", "\1").encode() if text else b"" for text in texts]
    count = max(1, -(-max(map(len, cells), default=0) // WORD))
    return np.ascontiguousarray(np.array(cells, dtype=f"S{WORD * count}").view("<u8").reshape(-1, count).T)


def joined(words: Words) -> bytes:
    """The texts with a line end between each two, in UTF-8; none is made a text of its own."""
    letters = np.full((words.shape[1], WORD * len(words) + 1), ord("\n"), dtype=np.uint8)
    letters[:, :-1] = np.ascontiguousarray(words.T).view(np.uint8)
    return letters[letters != 0].tobytes()[:-1]


def unpacked(words: Words) -> list[str]:
    """The texts again."""
    if not words.shape[1]:
        return []
    texts = joined(words).decode().split("\n")
    if len(texts) == words.shape[1]:
        return texts
    each = np.ascontiguousarray(words.T).view(f"S{WORD * len(words)}")[:, 0]  # some text holds a line end
    return [letters.decode() for letters in each.tolist()]


def numbered(words: Words) -> tuple[NDArray[np.intp], Words]:
    """For each text the number of its kind, in the order they come, and the words of each kind."""
    if len(words) == 1:
        codes, first = pd.factorize(words[0])
        return codes, first[None]
    mixed = words[0].copy()
    for more in words[1:]:
        mixed *= _MIXER
        mixed += more
    codes, _ = pd.factorize(mixed)
    kinds = words[:, _first_of_each(codes)]
    alike = all((part[codes] == own).all() for part, own in zip(kinds, words, strict=True))
    return (codes, kinds) if alike else _numbered_in_turn(words)


def _first_of_each(codes: NDArray[np.intp]) -> NDArray[np.intp]:
    """Where each kind stands first; kinds are numbered in the order they come."""
    return np.flatnonzero(np.diff(np.maximum.accumulate(codes), prepend=-1))


def _numbered_in_turn(words: Words) -> tuple[NDArray[np.intp], Words]:
    """The same where different texts came to one number when mixed, which chance alone hardly ever does."""
    codes, _ = pd.factorize(words[0])
    for more in words[1:]:
        own, others = pd.factorize(more)
        codes, _ = pd.factorize(codes * len(others) + own)
    return codes, words[:, _first_of_each(codes)]


def ranked(words: Words) -> tuple[NDArray[np.int64], Words]:
    """For each text its place among the different ones, sorted as texts, and those, in that order."""
    order = np.lexsort([part.byteswap() for part in words[::-1]])  # the first letter weighs most
    there = words[:, order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (there[:, 1:] != there[:, :-1]).any(axis=0)
    ranks = np.empty(len(order), dtype=np.int64)
    ranks[order] = np.cumsum(new) - 1
    return ranks, there[:, new]


def places(words: Words, among: Words) -> NDArray[np.int64]:
    """For each text the first place where it stands among others; -1 where it does not, and for an empty one."""
    count, n = max(len(words), len(among)), among.shape[1]
    together = np.zeros((count, n + words.shape[1]), dtype=np.uint64)
    together[: len(among), :n], together[: len(words), n:] = among, words
    codes, _ = numbered(together)
    first = np.full(int(codes.max(initial=-1)) + 1, -1, dtype=np.int64)
    first[codes[:n][::-1]] = np.arange(n)[::-1]
    return np.where(words.any(axis=0), first[codes[n:]], -1)


def shapes(words: Words) -> tuple[NDArray[np.intp], list[str]]:
    """For each text the number of its shape, in which every digit from 1 to 9 is a 1, and the shapes.

    Codes differ in their digits, seldom in anything else: what does not depend on which digits they are need only be
    looked at once a shape.
    """
    plain = np.ascontiguousarray(words.T)
    shaped = _SHAPE[plain.view(np.uint8)].view(np.uint64).reshape(plain.shape)
    codes, kinds = numbered(np.ascontiguousarray(shaped.T))
    return codes, unpacked(kinds)
