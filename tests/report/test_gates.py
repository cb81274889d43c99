"""The gates of the pages refuse what they are there to refuse: each fault alone, in a page that is otherwise sound."""

from __future__ import annotations

import base64

import pytest

from analysis.report.page import Grid
from tests.report.gates import assert_page_behaves, assert_page_is_sound

DOT = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
SOUND = f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Sample</title><style>body {{ margin: 0; }}</style></head>
<body><a href="#main">Skip</a><main id="main"><h1>Sample</h1><h2 id="rates">Rates</h2><p>12 of 18 booted.</p>
<figure><img src="data:image/png;base64,{base64.b64encode(DOT).decode()}" alt="One dot on white ground">
<figcaption>A dot (n = 1)</figcaption></figure>
{Grid("Jobs by month", ["month", "jobs"], [["May", "3"]])._repr_html_()}
<details><summary>Code</summary><pre>None</pre></details></main></body></html>"""

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
    "an empty caption": ("A dot (n = 1)", " "),
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
    ],
)
def test_what_only_a_browser_sees_is_refused(tmp_path, running_browser, good, bad, told):
    with pytest.raises(AssertionError, match=told):
        assert_page_behaves(page(tmp_path, SOUND.replace(good, bad, 1)), running_browser)
