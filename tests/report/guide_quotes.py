"""Sentences of the demo that the guides quote, held against the pages they name."""

from __future__ import annotations

import re
from pathlib import Path

from bs4 import BeautifulSoup

from analysis.report.guide_pages import GUIDES

QUOTE = re.compile(r"^> \*\*([^*]+):\*\* (.+)$", re.M)


def quotes(guide: Path) -> list[tuple[str, str]]:
    """Where each sentence of a guide is from, and the sentence."""
    return QUOTE.findall(guide.read_text(encoding="utf-8"))


def plain(text: str) -> str:
    """Text as a reader compares it: one space between words, no invisible joiners."""
    return re.sub(r"\s+", " ", text.replace("\u2060", ""))


def page_text(page: Path) -> str:
    """What a page says, as a reader compares it."""
    return plain(BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib").get_text(" "))


def assert_quoted_rightly(page: Path) -> None:
    """Every sentence that any guide quotes from a page of this name stands on it."""
    found = [text for guide in GUIDES.glob("*.md") for where, text in quotes(guide) if where == page.name]
    assert found, f"no guide quotes {page.name}"
    told = page_text(page)
    for sentence in found:
        assert plain(sentence) in told
