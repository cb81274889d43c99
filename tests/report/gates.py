"""Gates that every published page must pass; used for all pages."""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from typing import Any

from bs4 import BeautifulSoup

from tests.report.accessibility import looked_at
from tests.report.one_look import assert_looks, assert_one_look

WIDTHS = (360, 768, 1280)


def assert_page_is_sound(path: Path) -> None:
    """Parse a page: self-contained, one h1, real alternative text, captions and scope, no script, nothing stray."""
    text = path.read_text(encoding="utf-8")
    soup = BeautifulSoup(text, "html5lib")
    assert soup.html["lang"]
    assert soup.title.get_text(strip=True)
    assert not soup.find_all(["script", "link", "iframe", "object", "embed", "base", "form"])
    for tag in soup.find_all(True):
        for name, value in tag.attrs.items():
            assert not name.startswith("on"), f"event handler {name}"
            if name in ("src", "href", "srcset", "action", "poster", "data"):
                beside = tag.name == "a" and name == "href" and leads_to_a_page(path, str(value))
                assert beside or str(value).startswith(("data:image/png", "#")), f"{tag.name} {name} leaves the page"
    assert not re.search(r"url\((?!data:)|@import", "".join(style.string or "" for style in soup.find_all("style")))
    assert soup.find("meta", attrs={"name": "viewport"})
    assert len(soup.find_all("main")) == 1
    assert len(soup.find_all("h1")) == 1
    levels = [int(tag.name[1]) for tag in soup.find_all(re.compile("^h[1-6]$"))]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert all(tag.get_text(strip=True) for tag in soup.find_all(re.compile("^h[1-6]$"))), "an empty heading"
    _assert_pictures_and_tables(soup)
    names = [tag["id"] for tag in soup.find_all(id=True)]
    assert len(names) == len(set(names)), "two places of the page share a name"
    assert all(link["href"][1:] in names for link in soup.find_all("a", href=re.compile("^#")))
    assert_one_look(path.name, soup)
    seen = visible_text(soup)
    for stray in ("nan", "NaN", "None", "<NA>", "Traceback", "Series(", "DataFrame", "<Figure", "{}", "object at 0x"):
        assert not re.search(rf"(?<![\w]){re.escape(stray)}(?![\w])", seen), f"'{stray}' on the page"


def leads_to_a_page(path: Path, link: str) -> bool:
    """Whether a link names a page that lies beside this one, and a place that is on it."""
    name, _, place = link.partition("#")
    there = path.parent / name
    if not re.fullmatch(r"[\w-]+\.html", name) or not there.is_file():
        return False
    return not place or f'id="{place}"' in there.read_text(encoding="utf-8")


def _assert_pictures_and_tables(soup: BeautifulSoup) -> None:
    assert not soup.find_all("svg"), "no gate looks at the words of an svg"
    for image in soup.find_all("img"):
        assert len(image.get("alt", "").split()) >= 4, "an image without real alternative text"
        assert image.find_parent("figure").figcaption.get_text(strip=True)
    assert all(caption.get_text(strip=True) for caption in soup.find_all("figcaption"))
    for table in soup.find_all("table"):
        assert table.caption.get_text(strip=True)
        assert all(head.get("scope") in ("col", "row") for head in table.find_all("th"))
        region = table.find_parent(attrs={"role": "region"})
        assert region["tabindex"] == "0", "a table that scrolls cannot be reached by keyboard"
        assert region["aria-label"].strip()


def visible_text(soup: BeautifulSoup) -> str:
    """Text a reader sees, the folded code left out."""
    copy = BeautifulSoup(str(soup), "html5lib")
    for tag in copy.find_all(["style", "details"]):
        tag.decompose()
    return copy.get_text(" ", strip=True)


def printed_pages(path: Path, browser: Any) -> int:
    """Sheets of A4 that a page takes in print."""
    page = browser.new_page()
    page.goto(path.resolve().as_uri())
    pdf = page.pdf(format="A4", print_background=True)
    page.close()
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def assert_page_behaves(path: Path, browser: Any) -> None:
    """Open a page in a browser: nothing leaves the file, no error, no horizontal scroll, prints on A4, accessible."""
    page = browser.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(path.resolve().as_uri())
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        scroll = page.evaluate("document.documentElement.scrollWidth")
        assert scroll <= width, f"{scroll} px wide on a screen of {width} px"
    outside = [url for url in asked if not url.startswith(("data:", path.resolve().as_uri()))]
    assert not outside, f"requests left the file: {outside[:3]}"
    assert not errors, errors[:3]
    assert len(page.pdf(format="A4")) > 10_000
    for width in (WIDTHS[0], WIDTHS[-1]):
        page.set_viewport_size({"width": width, "height": 800})
        # Colours are the same at every width; a phone shows too little of a wide table to judge them there.
        found = looked_at(page, contrast=width == WIDTHS[-1])
        assert not found.broken, found.broken
        assert not found.unjudged, found.unjudged
        assert found.passed > 20
    assert_looks(page)
    page.close()
