"""Questions made from the dictionary: one column, or several of a row in one line."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from analysis.records.describe import column_text
from analysis.records.dictionary import BY_NAME, Column, Kind
from analysis.records.entering.cells import AnswerError, Rules, near
from analysis.records.entering.session import Question
from analysis.records.settings import Settings

_MOST_OPTIONS = 12
_AMOUNTS = ("fee_amount", "donor_cost")


def listed(codes: Sequence[str]) -> str:
    """Codes with their numbers on one line."""
    return "  " + "  ".join(f"{n} {code}" for n, code in enumerate(codes, start=1))


def unit_of(column: Column, settings: Settings) -> str:
    """What an answer is given in; empty where the title says it."""
    unit = settings.currency if column.name in _AMOUNTS else column.unit
    return unit if unit not in column.title else ""


def _alike(code: str) -> str:
    return re.sub(r"[\W_]", "", code).casefold()


class Asked:
    """Makes the questions of one sitting.

    Parameters
    ----------
    rules : Rules
        How answers are read.
    """

    def __init__(self, rules: Rules) -> None:
        self._rules = rules
        self._insisted: set[str] = set()

    def column(
        self,
        table: str,
        name: str,
        *,
        number: int = 1,
        default: str = "",
        required: bool = False,
        known: Sequence[str] = (),
        about: str = "",
    ) -> Question:
        """Ask for one cell; ``known`` are the codes that the log has in this column, ``about`` names the row."""
        column = BY_NAME[table][name]
        unit = "yes or no" if column.kind is Kind.YES_NO else unit_of(column, self._rules.settings)
        codes = column.codes or (tuple(known) if len(known) <= _MOST_OPTIONS else ())
        return Question(
            f"{table}.{name}#{number}",
            f"{about}{column.title}{f' ({unit})' if unit else ''}",
            self._own_code(column, known) if column.kind is Kind.KEY else lambda text: self._rules.read(column, text),
            default,
            required,
            column_text(column),
            listed(codes) if codes else "",
        )

    def _own_code(self, column: Column, known: Sequence[str]) -> Callable[[str], str]:
        """Reads a code of the shop's own: by number in the list, or as typed; a likely slip must be typed twice."""
        by_number = len(known) <= _MOST_OPTIONS and not any(code.isdigit() for code in known)

        def read(text: str) -> str:
            if text in known:
                return text
            if by_number and text.isascii() and text.isdigit() and 1 <= int(text) <= len(known):
                return known[int(text) - 1]
            if column.references == "jobs.job_id" and known:
                likely = near(text, list(known))
                todo = f"Did you mean {' or '.join(likely)}?" if likely else "Look for it in jobs.csv."
                raise AnswerError(f"there is no job '{text}' in the log.", todo=todo)
            twins = [code for code in known if _alike(code) == _alike(text)]
            if twins and text not in self._insisted:
                self._insisted.add(text)
                todo = f"Did you mean {twins[0]}? Type {text} once more to use it as another code."
                raise AnswerError(f"'{text}' is not in the log.", todo=todo)
            return self._rules.read(column, text)

        return read

    def line(
        self, table: str, names: Sequence[str], *, key: str, text: str, needed: int = 0, known_codes: bool = True
    ) -> Question:
        """Ask for several cells of a row in one line, parted by spaces; - stands for a blank one.

        The first ``needed`` of them cannot be blank. The answer kept is what :func:`cells_of` takes apart.
        """
        columns = [BY_NAME[table][name] for name in names]

        def read(typed: str) -> str:
            words = typed.replace(";", " ").split()
            if len(words) > len(columns):
                order = " ".join(names)
                raise AnswerError(f"{len(words)} values for {len(columns)} columns.", todo=f"In this order: {order}.")
            cells = ["" if word == "-" else self._rules.read(c, word) for c, word in zip(columns, words, strict=False)]
            blank = [c.name for c, cell in zip(columns, [*cells, *[""] * len(columns)], strict=False) if not cell]
            missing = [name for name in names[:needed] if name in blank]
            if missing:
                raise AnswerError(f"{' and '.join(missing)} cannot be left out.")
            return " ".join(cell or "-" for cell in cells)

        options = [f"  {c.title}: {', '.join(c.codes)}" for c in columns if c.codes] if known_codes else []
        help_text = "\n".join(["In one line, parted by spaces:", *map(column_text, columns)])
        return Question(f"{table}.{key}", text, read, help=help_text, options="\n".join(options))


def cells_of(names: Sequence[str], answer: str) -> dict[str, str]:
    """The cells of a line, without the blank ones."""
    return {name: word for name, word in zip(names, answer.split(), strict=False) if word != "-"}
