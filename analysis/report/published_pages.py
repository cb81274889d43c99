"""What a published page says at its top, read from the page itself: title, origin, first sentences."""

from __future__ import annotations

import re
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

from analysis.report.page import MONTH_IN_NUMBERS, UNFINISHED, Statement


@dataclass(frozen=True)
class PublishedPage:
    """The top of a page in a folder.

    Parameters
    ----------
    name : str
        File name.
    title, shop, period : str
        The h1; the bench; period, day of making and version as they stand there.
    invented : bool
        Whether it carries the banner for invented data.
    sentences : tuple of Statement
        Lines of its first screen.
    """

    name: str
    title: str
    shop: str
    period: str
    invented: bool
    sentences: tuple[Statement, ...]

    @property
    def log_hash(self) -> str:
        """Beginning of the hash of the log it was made from; empty where no log was."""
        found = re.search(r"· log ([0-9a-f]+) ·", self.period)
        return found[1] if found else ""

    @property
    def month(self) -> Statement | None:
        """Its line of the month in numbers, where it has one."""
        return next((each for each in self.sentences if each.label == MONTH_IN_NUMBERS), None)

    @property
    def unfinished(self) -> bool:
        """Whether it reviews a month that was not over: it says so, or was made before the month ended."""
        made = re.search(r"made on ([0-9]{4}-[0-9]{2})", self.period)
        in_its_month = made is not None and self.name == f"review-{made[1]}.html"
        return in_its_month or any(each.label == UNFINISHED for each in self.sentences)


class _Top(HTMLParser):
    """Collects the texts of the places that a top is made of, in order."""

    PLACES = ("shop", "period", "label", "says", "detail", "invented")

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, str]] = []
        self._open: list[str] = []  # place of each open element; empty for any other

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        classes = str(dict(attrs).get("class") or "").split()
        place = "title" if tag == "h1" else next((name for name in self.PLACES if name in classes), "")
        if tag not in ("meta", "br", "img"):  # those have no end
            self._open.append(place)
        if place:
            self.found.append((place, ""))

    def handle_endtag(self, tag: str) -> None:
        if self._open:
            self._open.pop()

    def handle_data(self, data: str) -> None:
        if any(self._open) and self.found:
            place, text = self.found[-1]
            self.found[-1] = (place, text + data)

    def all_of(self, place: str) -> list[str]:
        """Texts of a place."""
        return [" ".join(text.split()) for name, text in self.found if name == place]

    def statements(self) -> tuple[Statement, ...]:
        """Lines of the first screen: each begins with its label."""
        lines: list[dict[str, str]] = []
        for place, text in self.found:
            if place == "label":
                lines.append({})
            if lines and place in ("label", "says", "detail"):
                lines[-1][place] = " ".join(text.split())
        return tuple(Statement(line["label"], line.get("says", ""), line.get("detail", "")) for line in lines)


def read_page(path: Path) -> PublishedPage | None:
    """Read the top of a page; None where it cannot be read or is no page of this suite."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None
    start, _, rest = text.partition('<ul class="first">')
    screen = rest.partition("</ul>")[0]
    head = start if screen else start.partition("</header>")[0]
    top = _Top()
    top.feed(re.sub(r"<style>.*?</style>", "", head, flags=re.DOTALL) + f"<ul>{screen}</ul>")
    title, shop, period = (" ".join(top.all_of(place)[:1]) for place in ("title", "shop", "period"))
    if not title or not period:
        return None
    return PublishedPage(path.name, title, shop, period, bool(top.all_of("invented")), top.statements())
