"""The index links the pages that are there with their own first sentences, no private one, and leads nowhere else."""

from __future__ import annotations

import datetime as dt
import shutil

import pytest
from bs4 import BeautifulSoup

from analysis.cli import main
from analysis.errors import RenderError
from analysis.report import month as month_pages
from analysis.report.index_page import standing_alone
from analysis.report.page import MONTH_IN_NUMBERS, UNFINISHED, FirstScreen, PageHead, Statement
from analysis.report.plain_page import page_html
from analysis.report.published_pages import read_page
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text


def put(folder, name, title, says, log_hash="aaaa", invented=True):
    """A small page of a log."""
    head = PageHead(title, "Bench <1>", "650 jobs", log_hash, invented)
    first = FirstScreen([Statement("First", says, "likely range 60–70 %"), Statement("Jobs left out", "All used.")])
    (folder / name).write_text(page_html(head, [first]), encoding="utf-8")


def index_of(folder) -> BeautifulSoup:
    assert main(["index", "--out", str(folder)]) == 0
    assert_page_is_sound(folder / "index.html")
    return BeautifulSoup((folder / "index.html").read_text(encoding="utf-8"), "html5lib")


@pytest.fixture
def folder(tmp_path):
    put(tmp_path, "review-2024-08.html", "Monthly review, August 2024", "11 of 15 booted.", "bbbb")
    put(tmp_path, "review-2024-09.html", "Monthly review, September 2024", "10 of 14 <booted> & more.")
    put(tmp_path, "counter.html", "Accept or decline", "The model is used.", "bbbb")
    put(tmp_path, "evidence-2024H1.html", "How often", "88 of 124.")
    for private in ("technician-t2.html", "guesses-t2.html"):
        put(tmp_path, private, "For T2 alone", "private words")
    (tmp_path / "techniques.html").write_text("<p>no page of ours</p>", encoding="utf-8")
    return tmp_path


def test_each_page_is_linked_with_its_own_first_sentences(folder):
    soup = index_of(folder)
    assert [link["href"] for link in soup.select(".pages h3 a")] == [
        "review-2024-09.html",
        "counter.html",
        "evidence-2024H1.html",
    ]
    text = visible_text(soup)
    for words in ("10 of 14 <booted> & more.", "The model is used.", "88 of 124.", "Bench <1>", "log aaaa"):
        assert words in text
    assert "To a client give the sheet alone." in text
    assert text.count("likely range 60–70 %") == 1  # of the sheet alone
    earlier = soup.find(id="earlier-months").find_next("ul")
    assert earlier.a["href"] == "review-2024-08.html"
    assert "11 of 15 booted." in earlier.get_text()


def test_no_private_page_is_named(folder):
    soup = index_of(folder)
    assert "T2" not in soup.get_text()
    assert not [link for link in soup.find_all("a", href=True) if "t2" in link["href"]]


def test_another_state_of_the_log_and_invented_data_are_told(folder):
    soup = index_of(folder)
    items = {item.a["href"]: item.get_text() for item in soup.select(".pages > li")}
    assert "another state of the log" in items["counter.html"]
    assert "another state of the log" not in items["review-2024-09.html"]
    assert soup.select_one("p.invented")
    put(folder, "counter.html", "Accept or decline", "Ours.", invented=False)
    soup = index_of(folder)
    assert not soup.select_one("p.invented")
    items = {item.a["href"]: item.get_text() for item in soup.select(".pages > li")}
    assert "Invented data." in items["review-2024-09.html"]
    assert "Invented data." not in items["counter.html"]


def test_the_month_in_numbers_stands_at_the_top_once(folder):
    says = "14 devices came in: 13 accepted and 1 declined. 9 jobs closed; data recovered from 7 of 9."
    first = FirstScreen(
        [Statement(MONTH_IN_NUMBERS, says, "Not a rate of success, for quick jobs close first. See elsewhere.")]
    )
    head = PageHead("Monthly review, October 2024", "Bench <1>", "650 jobs", "aaaa", True)
    (folder / "review-2024-10.html").write_text(page_html(head, [first]), encoding="utf-8")
    text = visible_text(index_of(folder))
    assert text.count(says) == 1
    assert "quick jobs close first." in text
    assert "See elsewhere" not in text
    assert text.index(says) < text.index("Accept or decline")


def test_a_month_that_is_not_over_is_not_the_latest(folder):
    head = PageHead("Monthly review, October 2024", "Bench <1>", "650 jobs", "aaaa", True)
    first = FirstScreen([Statement(UNFINISHED, "The log ends.", ""), Statement(MONTH_IN_NUMBERS, "3 devices came in.")])
    (folder / "review-2024-10.html").write_text(page_html(head, [first]), encoding="utf-8")
    today = dt.date.today()
    put(folder, f"review-{today:%Y-%m}.html", "Monthly review, now", "1 of 2 booted.")
    soup = index_of(folder)
    latest = soup.find(id="latest-month").find_next("ul")
    assert latest.a["href"] == "review-2024-09.html"
    apart = soup.find(id="not-over-yet").find_next("ul")
    assert {link["href"] for link in apart.find_all("a")} == {"review-2024-10.html", f"review-{today:%Y-%m}.html"}
    assert "3 devices came in." in apart.get_text()
    assert "Monthly review, September 2024" in soup.select_one("header .period").get_text()


def test_what_the_head_says_is_not_said_at_every_page(folder):
    put(folder, "counter.html", "Accept or decline", "Ours.")
    text = index_of(folder).body.get_text(" ")
    for once in ("Bench <1>", "log aaaa", "Invented data."):
        assert text.count(once) == 1, once
    put(folder, "counter.html", "Accept or decline", "Ours.", "bbbb")
    assert "log bbbb" in visible_text(index_of(folder))


def test_what_points_elsewhere_is_left_out_and_numbers_stay():
    told = "No word on heat yet; the reason of each setting stands below."
    assert standing_alone(told) == "No word on heat yet."
    kept = "To be clear, a technician would have to stand 20 points above or 25 points below the bench's average."
    assert standing_alone(kept) == kept


def test_two_sheets_have_two_titles(folder):
    period = "Devices received from 1 January 2024 to 30 June 2024, a fixed half-year. Counted on 1 July 2024."
    likely = [Statement("Data recovered", "5 of 9"), Statement("A device like yours (Liquid)", "2 of 4")]
    for name in ("evidence-2024H1.html", "evidence-2024H1-device-liquid.html"):
        page = page_html(PageHead("How often", "Bench <1>", period, "", True), [FirstScreen(likely)])
        (folder / name).write_text(page, encoding="utf-8")
    titles = [link.get_text() for link in index_of(folder).select('.pages h3 a[href^="evidence"]')]
    assert len(set(titles)) == 2
    assert all("1 January 2024 to 30 June 2024" in title for title in titles)
    assert sum("Liquid" in title for title in titles) == 1


def test_an_empty_folder_says_how_to_begin(tmp_path):
    assert "rework month my_log" in visible_text(index_of(tmp_path / "new"))


def test_a_file_in_the_place_of_the_folder_is_told(tmp_path, capsys):
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert main(["index", "--out", str(tmp_path / "file")]) == 2
    assert "is a file" in capsys.readouterr().err


def test_what_a_page_says_is_read_from_the_page(demo_review):
    found = read_page(demo_review)
    assert found.title.startswith("Monthly review, ")
    assert found.invented
    assert len(found.log_hash) == 12
    soup = BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib").select_one(".first")
    assert [s.says for s in found.sentences] == [tag.get_text() for tag in soup.select(".says")]
    assert [s.label for s in found.sentences] == [tag.get_text() for tag in soup.select(".label")]
    assert read_page(demo_review.with_name("gone.html")) is None


@pytest.mark.browser
def test_the_index_and_the_guides_behave_in_a_browser(folder, demo_review, running_browser):
    shutil.copy(demo_review, folder)
    index_of(folder)
    guides = sorted(folder.glob("guide-*.html"))
    assert guides
    for path in (folder / "index.html", folder / "words.html", *guides):
        assert_page_is_sound(path)
        assert_page_behaves(path, running_browser)


def test_the_month_leaves_an_index_also_when_a_page_fails(tmp_path, monkeypatch, capsys):
    def good(order, say):
        put(order.out, "counter.html", "Accept or decline", "The model is used.")
        return order.out / "counter.html"

    def bad(order, say):
        raise RenderError("the disk is full", todo="Make room.")

    monkeypatch.setattr(month_pages, "PAGES", {"good": good, "bad": bad})
    monkeypatch.setattr(month_pages, "can_be_copied", lambda: False, raising=False)
    assert main(["month", "--out", str(tmp_path)]) == 2
    assert "The model is used." in (tmp_path / "index.html").read_text(encoding="utf-8")
    assert "the disk is full" in capsys.readouterr().err
