"""One typed answer: read by the same rules as a cell of the log, and written the plain way."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from analysis.errors import ReworkError
from analysis.records.convert import Context, convert
from analysis.records.dictionary import BY_NAME, WORD_OF, Column, Kind
from analysis.records.problems import quoted
from analysis.records.rules_bench import range_todo
from analysis.records.settings import Settings
from analysis.records.texts import Texts

_NEAR = 70.0  # rapidfuzz's ratio, 0 to 100; found by trying typing slips on the declared codes
_HINTS = 3  # words named at most


class AnswerError(ReworkError):
    """An answer cannot be taken; the words say what would do."""


@dataclass(frozen=True)
class Rules:
    """What reading an answer depends on besides the answer.

    Parameters
    ----------
    settings : Settings
        The shop's, for missing codes and the order of dates.
    today : date
        Later dates are refused.
    """

    settings: Settings
    today: dt.date

    def read(self, column: Column, text: str) -> str:
        """Read an answer.

        Returns
        -------
        str
            The value as it is written in the log; decimals with a point. Empty for a blank.

        Raises
        ------
        AnswerError
            If 'rework check' would refuse it.
        """
        text = text.strip()
        if column.kind is Kind.CHOICE:
            text = one_of(text, column.codes)
        # A tab as delimiter lets a decimal comma through; it is written as the file writes it.
        converted = convert(Texts.of([text]), column, Context(self.settings, "\t", self.today))
        if converted.bad:
            bad = converted.bad[0][2]
            raise AnswerError(f"{column.name}: {quoted(text)} must be {bad.rule}.", todo=bad.todo)
        value = converted.coded.values[0]
        if value is None:
            return ""
        if column.kind in (Kind.NUMBER, Kind.INTEGER):
            beyond = (column.low is not None and value < column.low) or (
                column.high is not None and value > column.high
            )
            if beyond:
                todo = range_todo(column.name, value)
                raise AnswerError(f"{column.name}: {quoted(text)} must be {column.rule}.", todo=todo)
            return "0" if text.casefold() in column.zero_words else text.replace(",", ".")
        if column.kind is Kind.YES_NO:
            return WORD_OF[value]
        return str(value)


def near(text: str, known: tuple[str, ...] | list[str]) -> list[str]:
    """Known words that look like a text, the likest first."""
    found = process.extract(text.casefold(), {k: k.casefold() for k in known}, scorer=fuzz.ratio, limit=_HINTS)
    return [key for _, score, key in found if score >= _NEAR]


def one_of(text: str, codes: tuple[str, ...]) -> str:
    """A code by its number in the list, by three or more letters that begin only one, or as it is.

    Raises
    ------
    AnswerError
        If it is none of them.
    """
    plain = text.casefold().replace(" ", "_").replace("-", "_")
    if not text or plain in codes:
        return plain
    if text.isascii() and text.isdigit() and 1 <= int(text) <= len(codes):
        return codes[int(text) - 1]
    begun = [code for code in codes if len(plain) >= 3 and code.startswith(plain)]
    if len(begun) == 1:
        return begun[0]
    likely = begun or near(plain, codes)
    todo = f"Did you mean {' or '.join(likely)}?" if likely else f"One of: {', '.join(codes)}."
    raise AnswerError(f"{quoted(text)} is none of the codes.", todo=todo)


def find_cell(path: str) -> tuple[str, int, Column]:
    """Table, row (1 if not given) and column of ``table.column`` or ``table.row.column``.

    Raises
    ------
    AnswerError
        If there is no such table or column, with what looks like it.
    """
    table, _, rest = path.strip().partition(".")
    number, _, name = rest.rpartition(".")
    if table not in BY_NAME:
        hint = near(table, list(BY_NAME)) or list(BY_NAME)
        raise AnswerError(f"no table is called '{table}'.", todo=f"Write TABLE.COLUMN; TABLE is {' or '.join(hint)}.")
    if name not in BY_NAME[table].by_name:
        hint = near(name, BY_NAME[table].names) or list(BY_NAME[table].names)
        raise AnswerError(f"{table}.csv has no column '{name}'.", todo=f"Perhaps {' or '.join(hint)}?")
    if number and not (number.isascii() and number.isdigit() and 1 <= int(number) <= 200):
        raise AnswerError(f"'{number}' is no number of a row.", todo=f"Write {table}.1.{name} for the first row.")
    return table, int(number or 1), BY_NAME[table][name]
