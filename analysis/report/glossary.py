"""Words of the pages in plain language, from one place; also as a page beside the others."""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass
from html import escape
from pathlib import Path

from analysis.cohort.outcomes import DEFINITIONS
from analysis.report.page import PageHead
from analysis.report.plain_page import page_html

NAME = "words.html"
TITLE = "Words of the pages"
FILE = Path(__file__).resolve().parent / "methods" / "glossary.toml"


@functools.cache
def glossary() -> dict[str, str]:
    """Word to meaning, in alphabetical order; the fixed definitions are among them word by word."""
    words = tomllib.loads(FILE.read_text(encoding="utf-8"))["words"]
    both = words | DEFINITIONS
    return {word: both[word] for word in sorted(both, key=str.casefold)}


@dataclass(frozen=True)
class Definitions:
    """Words with their meaning."""

    words: dict[str, str]

    def _repr_html_(self) -> str:
        return f"<dl>{''.join(f'<dt>{escape(word)}</dt><dd>{escape(text)}</dd>' for word, text in self.words.items())}</dl>"


def words_html() -> str:
    """The page of all words."""
    return page_html(PageHead(TITLE, "Glossary", "From A to Z", "", False), [Definitions(glossary())])
