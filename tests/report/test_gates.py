"""The gates of the pages refuse what they are there to refuse: each fault alone, in a page that is otherwise sound."""

from __future__ import annotations

import base64

import pytest

from analysis.report.exporting import TEMPLATES
from analysis.report.page import Grid
from tests.report.gates import assert_page_behaves, assert_page_is_sound

DOT = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
CSS = (TEMPLATES / "bench" / "page.css").read_text(encoding="utf-8")
SOUND = f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Sample</title><style>{CSS}</style></head>
<body><a class="skip" href="#main">Skip</a>
<header><p class="invented" role="note">Invented data.</p><p class="shop">Bench (invented)</p>
<h1>Sample</h1><p class="period">650 jobs · version 0.1.0</p></header>
<main id="main"><h2 id="rates">Rates</h2><p>12 of 18 booted.</p>
<figure><img src="data:image/png;base64,{base64.b64encode(DOT).decode()}" alt="One dot on white ground">
<figcaption>A dot <span>(n = 1)</span></figcaption></figure>
{Grid("Jobs by month", ["month", "jobs", "95 % interval", "verdict"], [["May", "3", "1–4", "clear"]])._repr_html_()}
<details><summary>Code</summary><pre>None</pre></details></main>
<footer><p>Local codes prevail.</p></footer></body></html>"""

FAULTS = {
    "remote picture": ('src="data:', 'src="https://pictures.example/a.png" title="data:'),
    "protocol-relative link": ('href="#main"', 'href="//pages.example/"'),
    "a link to a page that is not there": ('href="#main"', 'href="other.html"'),
    "a link to no place of a page": ('href="#main"', 'href="page.html#gone"'),
    "a link to another folder": ('href="#main"', 'href="../page.html"'),
    "script": ("<p>12", "<script>1</script><p>12"),
    "event handler": ("<p>12", "<p onclick='x()'>12"),
    "style from elsewhere": ("body {", "@import 'a.css'; body {"),
    "font from elsewhere": ("margin: 0", "background: url(a.png)"),
    "no language": ('lang="en"', ""),
    "no title": ("<title>Sample</title>", "<title> </title>"),
    "no viewport": ('name="viewport"', 'name="other"'),
    "two h1": ("<h2 id", "<h1>Again</h1><h2 id"),
    "a level skipped": ("<h2 id", "<h3>Deep</h3><h2 id"),
    "an empty heading": ("<p>12", "<h2> </h2><p>12"),
    "no alternative text": ("One dot on white ground", ""),
    "filler for alternative text": ("One dot on white ground", "image"),
    "an empty caption": ("A dot <span>(n = 1)</span>", " "),
    "a picture without its n": (" <span>(n = 1)</span>", ""),
    "a caption with a stop before its n": ("A dot", "A dot."),
    "an invented workshop without its mark": ('<p class="invented" role="note">Invented data.</p>', ""),
    "a head without its period": ('<p class="period">650 jobs · version 0.1.0</p>', ""),
    "a head without its version": (" · version 0.1.0", ""),
    "no foot": ("Local codes prevail.", ""),
    "a verdict in other words": ("<td>clear</td>", "<td>likely</td>"),
    "a verdict spelled otherwise": ("<td>clear</td>", "<td>Can not tell</td>"),
    "a foreign verdict in a sentence": ("12 of 18 booted", "A significant rise"),
    "an interval written otherwise": ("1–4", "1 to 4"),
    "an interval in words in a sentence": ("12 of 18", "12 (9 to 14) of 18"),
    "a dash after a sign": ("12 of 18", "12 (−3–14) of 18"),
    "a percent sign without its space": ("12 of 18", "67% of 18"),
    "n without its sign": ("12 of 18", "67 %, n 18"),
    "a hyphen for a minus": ("12 of 18", "-12 of 18"),
    "a number with a separator": ("12 of 18", "1,200 of 1800"),
    "a table without caption": ("<caption>Jobs by month</caption>", ""),
    "a heading without scope": (' scope="col"', ""),
    "a table out of the keyboard's reach": (' tabindex="0"', ""),
    "a link to nowhere": ('href="#main"', 'href="#gone"'),
    "two places of one name": ("<p>12", '<p id="rates">12'),
    "nan": ("12 of 18", "nan of 18"),
    "None": ("12 of 18", "None of 18"),
    "an object as text": ("12 of 18", "&lt;Figure size 640x480&gt; of 18"),
}


def page(tmp_path, text):
    path = tmp_path / "page.html"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_sound_page_passes(tmp_path):
    assert_page_is_sound(page(tmp_path, SOUND))


def test_a_link_to_a_page_beside_it_passes(tmp_path):
    for link in ("page.html", "page.html#rates"):
        assert_page_is_sound(page(tmp_path, SOUND.replace('href="#main"', f'href="{link}"')))


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_refused(tmp_path, fault):
    good, bad = FAULTS[fault]
    assert good in SOUND
    with pytest.raises((AssertionError, KeyError, AttributeError)):
        assert_page_is_sound(page(tmp_path, SOUND.replace(good, bad, 1)))


@pytest.mark.browser
def test_a_sound_page_behaves(tmp_path, running_browser):
    assert_page_behaves(page(tmp_path, SOUND), running_browser)


@pytest.mark.browser
@pytest.mark.parametrize(
    ("good", "bad", "told"),
    [
        ("<p>12", '<p style="width: 400px">12', "px wide on a screen of 360 px"),
        ("<p>12", "<p><img src='http://127.0.0.1:9/a.png'>12", "requests left the file"),
        ("<p>12", "<script>throw Error('x')</script><p>12", "x"),
        ("<p>12", "<script>console.error('amiss')</script><p>12", "amiss"),
        ("<p>12", "<p style='color: #b00000'>12", "beyond the palette"),
        ('<a class="skip"', '<a tabindex="-1" class="skip"', "Tab does not reach"),
        ("<p>12", "<p style='width: 5em; overflow: auto; white-space: nowrap'>12", "scrollable-region-focusable"),
        ("summary:focus-visible, ", "summary:focus-visible { outline: none; } ", "focus is not seen"),
        ("figure { margin: 1.2rem 0; break-inside: avoid; }", "figure { margin: 1.2rem 0; }", "may be cut"),
        ("tr { break-inside: avoid; }", "", "may be cut"),
        ("<p>12 of 18 booted.</p>", "<div class='caution' style='height: 1200px'></div>", "taller than a sheet"),
        ("<td>3</td>", "<td><div style='width: 900px'>3</div></td>", "wider than a sheet"),
        ("h2, h3, caption, thead, h2 + p", "h3, caption, thead, h2 + p", "may be left behind"),
    ],
)
def test_what_only_a_browser_sees_is_refused(tmp_path, running_browser, good, bad, told):
    with pytest.raises(AssertionError, match=told):
        assert_page_behaves(page(tmp_path, SOUND.replace(good, bad, 1)), running_browser)
