"""One look: what every published page shares, held by the gates of each (``gates.py``), so that none is rendered twice.

Verdict words, percents, intervals and n are written one way; head and foot have the same parts; in the browser, colours
of words come from the palette, everything that can be used is reached by Tab with a visible outline, and in print
neither a row nor a picture is cut and nothing runs over the sheet's edge.
"""

from __future__ import annotations

import re
from typing import Any

from bs4 import BeautifulSoup

from analysis.report.exporting import TEMPLATES

VERDICT_HEADS = re.compile(r"^(verdict|against the others|twelve months say)$")
VERDICT = re.compile(
    r"^(–|cannot tell( from chance)?|(clear|leaning)(, (above|below)|: (more|fewer) (than expected|failures))?)$"
)
FOREIGN = re.compile(r"significan(t|ce)|inconclusive|can't tell|can not tell|not clear from", re.I)
INTERVAL_HEADS = re.compile(r"interval|\brange\b|limits|usual for so many")
NUMBER = r"\d+(?:\.\d+)?"
INTERVAL = re.compile(rf"^(–|{NUMBER}–{NUMBER}(?: %)?|[−+]{NUMBER} to [−+]?{NUMBER}|{NUMBER} to [−+]{NUMBER}|0 to 0)$")
STRAY = {
    "a percent sign without its space": re.compile(r"\d%"),
    "n without its sign": re.compile(r"\bn \d|\bn=\d"),
    "a hyphen for a minus": re.compile(r"(?<=[\s(])-\d"),
    "a dash after a sign": re.compile(rf"[−+]{NUMBER}–"),
    "an interval in words though it has no sign": re.compile(
        rf"\((?:80 % |95 % |usual )?(?!0 to 0){NUMBER} to {NUMBER}[);,]"
    ),
    "a number with a separator": re.compile(r"\d,\d{3}\b"),
}
EXEMPT = ("verification", "log-check", "guide-")  # they quote reference data, cells of a log, what a person types
SHEET_MARGINS_PX = 680  # 180 mm between the margins of A4, at 96 dots an inch
SHEET_HEIGHT_PX = 1000


def assert_one_look(name: str, soup: BeautifulSoup) -> None:
    """Hold a page's text and structure against the standard; ``name`` is its file's."""
    _assert_head_and_foot(soup)
    for table in soup.find_all("table"):
        _assert_cells(table)
    for caption in (image.find_parent("figure").figcaption for image in soup.find_all("img")):
        assert re.search(r"[^.] \(n = \d+\)$", caption.get_text()), f"a picture without its n: {caption.get_text()}"
    seen = _text(soup)
    assert not (found := FOREIGN.search(seen)), f"a verdict in other words: {_near(seen, found)}"
    if soup.body.get("class") == ["sheet"] or name.startswith(EXEMPT):
        return  # numbers of a sheet are written as its reader's country does
    for what, pattern in STRAY.items():
        assert not (found := pattern.search(seen)), f"{what}: {_near(seen, found)}"


def _near(text: str, found: re.Match[str]) -> str:
    return text[max(0, found.start() - 30) : found.end() + 20]


def _text(soup: BeautifulSoup) -> str:
    """What a reader sees, without code and without what is quoted from sheets for clients."""
    copy = BeautifulSoup(str(soup), "html5lib")
    for link in copy.select('a[href^="evidence-"]'):
        (link.find_parent("li") or link).decompose()
    for tag in copy.find_all(["style", "pre", "code"]):
        tag.decompose()
    return " ".join(copy.get_text(" ").split())


def _assert_head_and_foot(soup: BeautifulSoup) -> None:
    header, footer = soup.body.header, soup.body.footer
    classes = [" ".join(tag.get("class", [tag.name])) for tag in header.find_all(["p", "h1"])]
    expected = ["shop", "h1", "period"]
    assert [each for each in classes if each not in ("invented", "draft")] == expected, f"the head holds {classes}"
    assert re.search(r"\d+\.\d+\.\d+", header.select_one(".period").get_text()), "the head names no version"
    assert footer.p.get_text(strip=True), "no foot"
    invented = "(invented)" in header.select_one(".shop").get_text()
    assert not invented or header.find("p")["class"] == ["invented"], "an invented workshop without its mark"


def _assert_cells(table: Any) -> None:
    heads = [head.get_text() for head in table.thead.find_all("th")]
    rows = [[cell.get_text() for cell in row.find_all(["th", "td"])] for row in table.tbody.find_all("tr")]
    for at, head in enumerate(heads):
        cells = [row[at].replace("\u00a0", " ") for row in rows]
        if VERDICT_HEADS.search(head):
            assert all(map(VERDICT.search, cells)), f"verdicts in other words: {set(cells)}"
        if INTERVAL_HEADS.search(head) and all(re.search(r"\d", cell) for cell in cells if cell != "–"):
            wrong = [cell for cell in cells if not INTERVAL.search(cell)]
            assert not wrong, f"intervals under '{head}' written otherwise: {wrong[:3]}"


def palette() -> set[str]:
    """Colours that the style sheets give to words, as a browser tells them."""
    sheets = ("bench/page.css", "plain/plain.css", "sheet/sheet.css")
    css = "".join((TEMPLATES / name).read_text(encoding="utf-8") for name in sheets)
    found = re.findall(r"(?:--(?:ink|quiet|accent)|[{; ]color): (#[0-9a-f]{6})", css)
    return {f"rgb({int(c[1:3], 16)}, {int(c[3:5], 16)}, {int(c[5:7], 16)})" for c in found}


COLOURS_OF_WORDS = """() => {
  const used = new Set(), walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode())
    if (walk.currentNode.data.trim()) used.add(getComputedStyle(walk.currentNode.parentElement).color);
  return [...used]; }"""

USABLE = """() => {
  const scrolls = e => e.scrollWidth > e.clientWidth + 1 && /auto|scroll/.test(getComputedStyle(e).overflowX);
  const all = [...document.querySelectorAll('*')].filter(e => e.checkVisibility() &&
    (e.matches('a[href], summary, [tabindex="0"]') || scrolls(e)));
  all.forEach((e, at) => e.dataset.usable = at);
  window.reached = {};
  document.addEventListener('focusin', ({target}) => {
    const style = getComputedStyle(target);
    window.reached[target.dataset.usable] = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
  });
  return all.map(e => e.outerHTML.slice(0, 80)); }"""

CUT_IN_PRINT = """([width, height]) => {
  const wrong = [];
  for (const e of document.querySelectorAll('tbody tr, figure, .caution, .first li')) {
    const box = e.getBoundingClientRect();
    if (!box.height) continue;
    if (getComputedStyle(e).breakInside !== 'avoid') wrong.push('may be cut: ' + e.outerHTML.slice(0, 80));
    if (box.height > height) wrong.push('taller than a sheet: ' + e.outerHTML.slice(0, 80));
    if (box.right > width + 1) wrong.push('wider than a sheet: ' + e.outerHTML.slice(0, 80));
  }
  for (const e of document.querySelectorAll('h2, h3, caption, thead'))
    if (getComputedStyle(e).breakAfter !== 'avoid') wrong.push('may be left behind: ' + e.outerHTML.slice(0, 80));
  return wrong; }"""


def assert_looks(page: Any) -> None:
    """Hold an open page's colours, keyboard and print against the standard; leaves it in print."""
    foreign = set(page.evaluate(COLOURS_OF_WORDS)) - palette()
    assert not foreign, f"words in colours beyond the palette: {foreign}"
    usable = page.evaluate(USABLE)
    for _ in usable:
        page.keyboard.press("Tab")
    reached = page.evaluate("window.reached")
    missed = [html for at, html in enumerate(usable) if str(at) not in reached]
    assert not missed, f"Tab does not reach {len(missed)}: {missed[:3]}"
    dim = [html for at, html in enumerate(usable) if not reached[str(at)]]
    assert not dim, f"focus is not seen on {dim[:3]}"
    page.emulate_media(media="print")
    page.set_viewport_size({"width": SHEET_MARGINS_PX, "height": SHEET_HEIGHT_PX})
    wrong = page.evaluate(CUT_IN_PRINT, [SHEET_MARGINS_PX, SHEET_HEIGHT_PX])
    assert not wrong, wrong[:3]
