"""A sheet held against its log: its counts, the sealed rows, and every word of the page."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from difflib import SequenceMatcher
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from analysis.errors import ReworkError
from analysis.questions.evidence_facts import Mark, SheetFacts, mark_of, read_facts
from analysis.questions.recount import Recount, recount
from analysis.records.problems import quoted, visible
from analysis.records.sealing.ledger import read_ledger
from analysis.records.settings import read_settings
from analysis.report.evidence_page import FACTS_CLASS
from analysis.report.evidence_sheet import sheet_html
from analysis.report.evidence_view import SheetView, rows_told
from analysis.report.evidence_wording import words_for

LARGEST = 1 << 22  # characters; a sheet has some 15,000
TOLD = 8
NOTHING = "nothing"


class _Reader(HTMLParser):
    """Texts of a page in order, its attributes, and the facts for machines."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self.facts = ""
        self._in: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._in.append(f"{tag}.{dict(attrs).get('class') or ''}")
        if tag == "meta":
            self._in.pop()

    def handle_endtag(self, tag: str) -> None:
        while self._in and self._in.pop().partition(".")[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        at = self._in[-1] if self._in else ""
        if at == f"code.{FACTS_CLASS}":
            self.facts += data
        elif data.strip() and not at.startswith("style."):
            # Signs that only keep a line from breaking say nothing.
            self.texts.append(" ".join(data.replace("\u2060", "").split()))


@dataclass(frozen=True)
class Sheet:
    """A sheet read back."""

    html: str
    facts: SheetFacts
    texts: list[str]


def read_sheet(path: Path) -> Sheet:
    """Read a published sheet.

    Raises
    ------
    ReworkError
        If the file cannot be read or is no sheet.
    """
    todo = "Name a page made by 'rework evidence', unchanged."
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise ReworkError(f"{path} cannot be read: {error.strerror}.", todo=todo) from None
    except UnicodeDecodeError:
        raise ReworkError(f"{path} is no page of text.", todo=todo) from None
    if len(text) > LARGEST:
        raise ReworkError(f"{path} is far larger than a sheet.", todo=todo)
    reader = _Reader()
    reader.feed(text)
    try:
        found: Any = json.loads(reader.facts)
    except ValueError:
        raise ReworkError(f"{path} carries no numbers for a recount.", todo=todo) from None
    return Sheet(text, read_facts(found), reader.texts)


def texts_differing(sheet: list[str], made: list[str]) -> list[tuple[str, str]]:
    """Places where the words of two pages differ: what the sheet says, what the log gives."""
    out = []
    for kind, a0, a1, b0, b1 in SequenceMatcher(None, sheet, made, autojunk=False).get_opcodes():
        if kind != "equal":
            out.append((" … ".join(sheet[a0:a1]), " … ".join(made[b0:b1])))
    return out


def _made_again(sheet: Sheet, found: Recount, folder: Path) -> str:
    """The page as the log gives it, under the sheet's own mark; empty when the log cannot be counted."""
    if found.evidence is None:
        return ""
    settings = read_settings(folder)
    mark: Mark = sheet.facts.mark
    if found.seal is not None:  # what the ledger says of the seal, not what the page does
        mark = mark_of(read_ledger(folder)[: found.seal.seal], mark.definitions, mark.code)
    words = words_for(sheet.facts.language)
    view = SheetView(found.evidence, words, mark, settings.shop_name, settings.invented, found.alike)
    return sheet_html(view)


def _apart(texts: tuple[str, str]) -> tuple[str, str]:
    """Two texts from shortly before where they part."""
    same = next((at for at, (a, b) in enumerate(zip(*texts, strict=False)) if a != b), min(map(len, texts)))
    start = max(0, same - 24)
    shown = [("… " if start else "") + text[start:] if text else "" for text in texts]
    return (quoted(shown[0], 70) if shown[0] else NOTHING, quoted(shown[1], 70) if shown[1] else NOTHING)


def _page_lines(sheet: Sheet, made: str, same_code: bool) -> list[str]:
    """Where the page differs from the one made again: its words, or only what is around them."""
    if not made or made == sheet.html:
        return []
    reader = _Reader()
    reader.feed(made)
    words = texts_differing(sheet.texts, reader.texts)
    out = [f"the page reads {says}, the log gives {gives}" for says, gives in map(_apart, words[:TOLD])]
    if len(words) > TOLD:
        out.append(f"… and {len(words) - TOLD} more places of the page that differ")
    if not words and same_code:
        out.append("the page's words are the same, but its mark-up or style was changed")
    return out


def _notes(found: Recount, marked_up: bool) -> list[str]:
    """What is no fault by itself, but worth a look."""
    out = []
    if found.code:
        out.append(f"counted by code {visible(found.code[0])}; this is {found.code[1]}.")
    if found.code and marked_up:
        out.append(
            "the words are the same, but mark-up or style differ. Another version may draw a page otherwise, but so does"
            " whoever hides a line: lay it beside the page that 'rework evidence' makes now."
        )
    if found.minimum:
        says, now = found.minimum
        out.append(f"the sheet takes {says} jobs for a group; minimum_class_n in bench.toml is {now} now.")
    return out


def _lines(found: Recount) -> list[str]:
    out = []
    if found.seal is None:
        out.append("the sheet names a seal that is not in this log's ledger")
    out += rows_told(found.rows)
    for each in found.totals[:TOLD]:
        says, gives = (NOTHING if n is None else n for n in (each.sheet, each.log))
        out.append(f"total '{visible(each.name)}': the sheet says {says}, the log gives {gives}")
    if len(found.totals) > TOLD:
        out.append(f"… and {len(found.totals) - TOLD} more totals that differ")
    if found.definitions:
        out.append(f"the sheet counts by definitions {visible(found.definitions[0])}, here are {found.definitions[1]}")
    if found.grouping:
        says, gives = found.grouping
        out.append(f"the sheet puts damage together as {visible(says)}; the rule gives {gives}")
    if found.refused:
        out.append(f"the log cannot be counted again: {found.refused}")
    return out


def recount_sheet(path: Path, folder: Path, say: Callable[[str], None]) -> bool:
    """Count a sheet again and say what was found.

    Returns
    -------
    bool
        Whether everything matches.

    Raises
    ------
    ReworkError
        If the sheet or the log cannot be read, or the sheet is a draft.
    """
    sheet = read_sheet(path)
    if not sheet.facts.mark.seal:
        todo = "Seal the log with 'rework seal' and make the sheet again."
        raise ReworkError(f"{path} is a draft from a log that was not sealed; nothing can confirm it.", todo=todo)
    found = recount(sheet.facts, Path(folder))
    made = _made_again(sheet, found, Path(folder))
    lines = [*_lines(found), *_page_lines(sheet, made, same_code=not found.code)]
    if not lines and found.seal is not None:
        counts = len(sheet.facts.totals)
        rows = sum(found.seal.rows.values())
        say(
            f"Matches: {rows} sealed rows unchanged since {found.seal.sealed_on}, {counts} totals and every word the same."
        )
    else:
        say("Does not match:")
        for line in lines:
            say(f"  {line}")
    for note in _notes(found, marked_up=not lines and bool(made) and made != sheet.html):
        say(f"Note: {note}")
    return not lines
