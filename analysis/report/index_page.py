"""The index: the pages of a folder, each with the sentences of its own first screen; earlier months below."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from html import escape
from pathlib import Path
from typing import Any

from analysis import __version__
from analysis.report import glossary
from analysis.report.guide_pages import Guide, guide_html, guides
from analysis.report.page import Caution, FirstScreen, PageHead, Prose, Statement
from analysis.report.plain_page import Contents, Heading, page_html
from analysis.report.published_pages import PublishedPage, read_page
from analysis.report.publishing import publish

NAME = "index.html"
REVIEW = re.compile(r"review-[0-9]{4}-[0-9]{2}\.html")
# Pages are listed by name, so that a technician's private page in the same folder never is.
OF_THE_LOG = ("counter.html", "techniques.html", "technicians.html", "log-check.html")
OF_THE_SUITE = ("methods.html", "verification.html", "log-dictionary.html")
BENCH_ONLY = (
    "This index and the pages of the month are for the bench; what they say of technicians is nobody else's. To a client"
    " give the sheet alone."
)
SHEET = re.compile(r"evidence-[\w-]+\.html")


@dataclass(frozen=True)
class Found:
    """The pages of a folder, by their place on the index."""

    reviews: tuple[PublishedPage, ...]  # of months that were over, the latest first
    unfinished: tuple[PublishedPage, ...]  # of months that were not
    of_the_log: tuple[PublishedPage, ...]
    sheets: tuple[PublishedPage, ...]
    of_the_suite: tuple[PublishedPage, ...]

    @property
    def of_logs(self) -> tuple[PublishedPage, ...]:
        """Those that were made from a log."""
        return self.reviews + self.of_the_log + self.unfinished + self.sheets


def look(folder: Path) -> Found:
    """Find the pages of a folder."""
    names = sorted(path.name for path in folder.glob("*.html"))

    def read(chosen: Sequence[str]) -> tuple[PublishedPage, ...]:
        return tuple(page for name in chosen if (page := read_page(folder / name)))

    reviews = read([name for name in reversed(names) if REVIEW.fullmatch(name)])
    sheets = read([name for name in names if SHEET.fullmatch(name)])
    known = {name: [n for n in group if n in names] for name, group in (("log", OF_THE_LOG), ("suite", OF_THE_SUITE))}
    over = tuple(page for page in reviews if not page.unfinished)
    unfinished = tuple(page for page in reviews if page.unfinished)
    return Found(over, unfinished, read(known["log"]), sheets, read(known["suite"]))


# What a sentence says of places on its own page leads nowhere here.
ELSEWHERE = re.compile(r"[;,] (?:[^.;,]*\bstands? below|and the table [^.;]* below [^.;]*)(?=[.;])")
# From and to, in the languages that sheets are written in.
DAYS = re.compile(r"\b(?:from|vom) (.*?[0-9]{4} (?:to|bis) .*?[0-9]{4})")


def standing_alone(says: str) -> str:
    """A quoted sentence without what points to a place of the page it comes from."""
    return ELSEWHERE.sub("", says)


def sheet_title(page: PublishedPage) -> str:
    """Title of a sheet with its period, and the kind of device of a sheet for one: all sheets have the same h1."""
    days = DAYS.search(page.period)
    device = [each.label for each in page.sentences[1:2]] if "-device-" in page.name else []
    return f"{page.title}: {' · '.join([days[1] if days else page.name, *device])}"


def origin(page: PublishedPage, head: PageHead) -> str:
    """Shop, period, log, day and version of a page as far as the head of the index does not say them."""
    said = {f"made on {dt.date.today().isoformat()}", f"log {head.log_hash[:12]}", f"version {__version__}"}
    parts = [part for part in page.period.split(" · ") if part not in said]
    return " · ".join([*([page.shop] if page.shop != head.shop else []), *parts])


@dataclass(frozen=True)
class Listed:
    """Pages with links, origin and first sentences.

    Parameters
    ----------
    pages : sequence of PublishedPage
        What to list.
    head : PageHead
        Head of the index: what stands there is not said again at every page.
    log_hash : str
        Beginning of the hash of the log that the latest review was made from; another one is told.
    at_top : sequence of Statement
        What stands at the top of the index and is not said again.
    sheets : bool
        Whether these are sheets: their period is in the title, and the quiet second lines hold their likely ranges.
    """

    pages: Sequence[PublishedPage]
    head: PageHead
    log_hash: str = ""
    at_top: Sequence[Statement | None] = ()
    sheets: bool = False

    def _item(self, page: PublishedPage) -> str:
        told = ["Invented data."] if page.invented and not self.head.invented else []
        if self.log_hash and page.log_hash and page.log_hash != self.log_hash:
            told.append("Made from another state of the log than the review above.")
        shown = [each for each in page.sentences if each not in self.at_top]
        first = FirstScreen([s if self.sheets else replace(s, says=standing_alone(s.says), detail="") for s in shown])
        notes = "".join(f"<p><strong>{text}</strong></p>" for text in told)
        title = sheet_title(page) if self.sheets else page.title
        link = f'<h3><a href="{escape(page.name)}">{escape(title)}</a></h3>'
        return f'<li>{link}<p class="period">{escape(origin(page, self.head))}</p>{notes}{first._repr_html_() if shown else ""}</li>'

    def _repr_html_(self) -> str:
        return f'<ul class="pages">{"".join(map(self._item, self.pages))}</ul>'


@dataclass(frozen=True)
class Links:
    """Links with a few words each."""

    items: Sequence[tuple[str, str, str]]

    def _repr_html_(self) -> str:
        return (
            "<ul>"
            + "".join(
                f'<li><a href="{escape(name)}">{escape(title)}</a>{": " if says else ""}{escape(says)}</li>'
                for name, title, says in self.items
            )
            + "</ul>"
        )


def _short(page: PublishedPage, head: PageHead) -> tuple[str, str, str]:
    says = standing_alone(page.sentences[0].says) if page.sentences else origin(page, head)
    return page.name, page.title, f"{says} Invented data." if page.invented and not head.invented else says


def page_head(found: Found) -> PageHead:
    """Title; shop and log of the latest review, else of whatever page there is."""
    first = next(iter(found.of_logs), None)
    about = found.reviews[0].title if found.reviews else "No review yet"
    invented = bool(found.of_logs) and all(page.invented for page in found.of_logs)
    shop, log_hash = (first.shop, first.log_hash) if first else ("Pages", "")
    return PageHead("Pages of the bench", shop, about, log_hash, invented)


def _month(latest: Sequence[PublishedPage]) -> list[Any]:
    """The latest month in numbers, as its review says them."""
    lines = [(page.title, page.month) for page in latest if page.month is not None]
    found = [replace(line, label=title, detail=re.sub(r"\. .*", ".", line.detail)) for title, line in lines]
    return [FirstScreen(found)] if found else []


def parts(found: Found, guide_list: Sequence[Guide]) -> list[Any]:
    """The index in order."""
    head = page_head(found)
    out: list[Any] = [Heading("Latest month")]
    latest, earlier = found.reviews[:1], found.reviews[1:]
    log_hash = latest[0].log_hash if latest else ""
    now = latest + found.of_the_log
    if now:
        out.append(Listed(now, head, log_hash, [page.month for page in latest]))
    elif not found.unfinished:
        out.append(Prose(["No page of a log lies in this folder yet. 'rework month my_log' makes them."]))
    if found.unfinished:
        out += [Heading("Not over yet"), Listed(found.unfinished, head)]
    if found.sheets:
        out += [Heading("Sheets for clients"), Listed(found.sheets, head, sheets=True)]
    if earlier:
        out += [Heading("Earlier months"), Links([_short(page, head) for page in earlier])]
    if found.of_logs:
        out.append(Caution([BENCH_ONLY]))
    if guide_list:
        links = [(guide.name, guide.title, guide.for_whom) for guide in guide_list]
        words = (glossary.NAME, glossary.TITLE, "What each means, in plain language.")
        out += [Heading("Guides, a duty each"), Links([*links, words])]
    if found.of_the_suite:
        out += [Heading("How the numbers are made"), Links([_short(page, head) for page in found.of_the_suite])]
    return [*_month(latest), Contents([part for part in out if isinstance(part, Heading)]), *out]


def publish_index(folder: Path, say: Callable[[str], None]) -> Path:
    """Publish ``index.html`` over the pages of a folder, and the guides and the glossary beside it.

    Raises
    ------
    RenderError
        If the folder is a file or cannot be written; what was there stays.
    """
    known = guides()
    for guide in known:
        publish(guide_html(guide), folder / guide.name)
    publish(glossary.words_html(), folder / glossary.NAME)
    found = look(folder)
    publish(page_html(page_head(found), parts(found, known)), folder / NAME)
    say(f"Index written to {folder / NAME}")
    return folder / NAME
