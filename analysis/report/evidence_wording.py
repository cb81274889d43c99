"""The words of the sheet for clients, one file a language, and how a country writes numbers and dates."""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.errors import ReworkError

HALF = 1e-9  # 29 of 200 is 14.5 %, and a hair less in binary
FOLDER = Path(__file__).resolve().parent / "evidence_words"


def languages() -> tuple[str, ...]:
    """Codes of the languages shipped."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


@dataclass(frozen=True)
class Words:
    """Words of one language, written as one country does.

    Parameters
    ----------
    code : str
        Language with country, such as "de-AT".
    texts : mapping
        The file's tables.
    form : mapping of str to str
        How numbers and dates are written.
    """

    code: str
    texts: Mapping[str, Any]
    form: Mapping[str, str]

    def say(self, name: str, /, **values: object) -> str:
        """A text by "table.key", its braces filled."""
        table, key = name.split(".")
        return str(self.texts[table][key]).format(**values)

    def listed(self, name: str) -> list[str]:
        """A list of texts by "table.key"."""
        table, key = name.split(".")
        return [str(text) for text in self.texts[table][key]]

    def count(self, n: int) -> str:
        """A whole number."""
        return f"{n:,}".replace(",", self.form["thousands"])

    def number(self, value: float, digits: int = 0) -> str:
        """A number with so many decimals."""
        whole, _, rest = f"{value:.{digits}f}".partition(".")
        return self.count(int(whole)) + (self.form["decimal"] + rest if rest else "")

    def _hundredths(self, share: float) -> str:
        """Whole percents, halves up as spreadsheets round; a decimal where a whole number would wrongly say none or all."""
        digits = 1 if 0 < share < 0.01 or 0.99 < share < 1 else 0
        steps = math.floor(share * 10 ** (2 + digits) + 0.5 + HALF)
        return self.number(steps / 10**digits, digits)

    def percent(self, share: float) -> str:
        """A share; "–" where there is none."""
        return "–" if math.isnan(share) else self.form["percent"].format(n=self._hundredths(share))

    def between(self, low: float, high: float) -> str:
        """An interval of shares; "–" where there is none."""
        if math.isnan(low) or math.isnan(high):
            return "–"
        return self.form["range"].format(low=self._hundredths(low), high=self._hundredths(high))

    def day(self, day: pd.Timestamp) -> str:
        """A date in words."""
        return self.form["date"].format(d=day.day, m=day.month, month=self._month(day.month), y=day.year)

    def month(self, month: pd.Period) -> str:
        """A month in words."""
        return self.form["month"].format(m=month.month, month=self._month(month.month), y=month.year)

    def _month(self, number: int) -> str:
        return self.listed("months.names")[number - 1]

    def together(self, names: Sequence[str]) -> str:
        """Names in a list: "a, b and c"."""
        if len(names) < 2:
            return "".join(names)
        first = self.say("classes.comma").join(names[:-1])
        return self.say("classes.and", a=first, b=names[-1])


@functools.cache
def _file(language: str) -> dict[str, Any]:
    return tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8"))


def words_for(code: str) -> Words:
    """Words by a code such as "de" or "en-US"; without a country, the first of the file.

    Raises
    ------
    ReworkError
        If there is no such language, or it has no such country.
    """
    language, _, country = code.strip().replace("_", "-").partition("-")
    if language.lower() not in languages():
        todo = f"Known: {', '.join(languages())}. Another one is a file beside analysis/report/evidence_words/en.toml."
        raise ReworkError(f"There are no words for the language '{code}'.", todo=todo)
    texts = _file(language.lower())
    country = country.upper() or next(iter(texts["formats"]))
    if country not in texts["formats"]:
        known = ", ".join(f"{language.lower()}-{name}" for name in texts["formats"])
        raise ReworkError(f"There are no number formats for '{code}'.", todo=f"Known: {known}.")
    return Words(f"{language.lower()}-{country}", texts, texts["formats"][country])
