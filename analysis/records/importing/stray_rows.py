"""Rows below the headings that are no job, donor or test: totals, notes, legends."""

from __future__ import annotations

from collections.abc import Mapping

from analysis.records.importing.words import TOTALS, plain_words
from analysis.records.problems import quoted

_DIGIT_SHARE = 0.9  # of a sheet's codes; then one without a digit is a total or a note
_FEWEST = 5  # codes that say how codes look


def stray_rows(codes: Mapping[int, str]) -> dict[int, str]:
    """Rows of totals, and rows whose code has no digit where nearly all codes have one.

    Parameters
    ----------
    codes : mapping of int to str
        Row number to its code.

    Returns
    -------
    dict of int to str
        Row number to what it seems to be.
    """
    with_digit = sum(any(c.isdigit() for c in code) for code in codes.values())
    mostly = len(codes) >= _FEWEST and with_digit >= _DIGIT_SHARE * len(codes)
    out = {}
    for number, code in codes.items():
        if plain_words(code) in TOTALS:
            out[number] = "a row of totals"
        elif mostly and not any(c.isdigit() for c in code):
            out[number] = f"its code {quoted(code)} has no digit, unlike the others: a note or a total?"
    return out
