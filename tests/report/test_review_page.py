"""The monthly review of the demo: sound as HTML, well-behaved in a browser, true to the numbers."""

from __future__ import annotations

import re

import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO, main
from analysis.questions.review import build_review
from analysis.questions.review_summary import read_summary
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text


@pytest.fixture(scope="module")
def review():
    return build_review(DEMO)


@pytest.fixture(scope="module")
def text(demo_review):
    return visible_text(BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib"))


def test_the_page_is_sound(demo_review):
    assert_page_is_sound(demo_review)


@pytest.mark.browser
def test_the_page_behaves_in_a_browser(demo_review, running_browser):
    assert_page_behaves(demo_review, running_browser)


def test_the_page_says_that_the_data_are_invented(text):
    assert text.startswith("Skip to the page Invented data.") or "Invented data." in text[:200]


def test_the_first_screen_answers_in_order(demo_review, review):
    soup = BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib")
    labels = [tag.get_text() for tag in soup.select(".first .label")]
    assert labels[:2] == ["The month in numbers", "First boot"]
    assert labels[2:] == ["Biggest cause of failure", "One thing to watch", "Jobs left out"]
    first = soup.select(".first .says")[1].get_text()
    assert first.startswith(f"{review.now.observed} of {review.now.n} jobs booted")
    assert f"{review.now.expected:.1f} were to be expected" in first
    left_out = soup.select(".first .says")[4].get_text()
    assert left_out.startswith(f"{review.cohort.ledger.left_out} of 650 jobs")


def test_statistical_terms_stay_off_the_first_screen(demo_review):
    soup = BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib")
    first = soup.select_one(".first").get_text().lower()
    for word in ("holm", "e-value", "cusum", "odds", "likelihood", "firth", "wilson", "p =", "significant"):
        assert word not in first


def test_the_ledger_adds_up_on_the_page(demo_review):
    soup = BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib")
    table = next(t for t in soup.find_all("table") if t.caption.get_text().startswith("Where every row went"))
    counts = [int(cell.get_text().replace("−", "-")) for cell in table.find_all("td")]
    assert sum(counts[:-1]) == counts[-1]
    assert counts[0] == 650


def test_every_picture_and_rate_carries_its_n(demo_review):
    soup = BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib")
    captions = [tag.get_text() for tag in soup.find_all("figcaption")]
    assert len(captions) >= 8
    assert all(re.search(r"\(n = \d+\)$", caption) for caption in captions)


def test_the_page_names_no_technician(text, review):
    for name in review.log.tables["technicians"]["technician_id"]:
        assert not re.search(rf"\b{name}\b", text)


def test_no_path_of_the_machine_is_on_the_page(demo_review):
    html = demo_review.read_text(encoding="utf-8")
    assert "log_folder = &#39;data_demo&#39;" in html
    assert str(DEMO.parent) not in html


def test_the_page_leaves_a_summary_for_the_next_review(demo_review, review):
    left = read_summary(demo_review.with_suffix(".json"))
    assert (left.month, left.log_hash) == (review.month, review.log.hash)
    assert left.watched
    assert {"chart", "value", "rng_seed"} <= set(left.limits[0])


def test_the_rest_of_the_working_paper_is_there(demo_review, text):
    soup = BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib")
    titles = [tag.get_text() for tag in soup.find_all("h2")]
    for title in (
        "Since last month",
        "Watching over time",
        "What changed",
        "What failed and why",
        "Jobs to talk about",
    ):
        assert title in titles
    assert "No earlier review lies beside this page" in text
    assert len(soup.select("details.job")) == len(soup.select("details.job table"))
    assert len(soup.select("details.job")) >= 1


def test_cautions_and_definitions_are_there(text):
    for words in (
        "Leaded solder",
        "Disconnect batteries",
        "client's only copy",
        "makers' data sheets prevail",
        "First-boot success.",
        "Recovered.",
        "not causes",
    ):
        assert words in text


def test_the_command_publishes_and_says_where(tmp_path, capsys, monkeypatch):
    called = {}

    def stand_in(folder, month, out, say, today):
        called.update(folder=folder, month=month, out=out)
        say("  Rates")
        return out / "review-2024-08.html"

    monkeypatch.setattr("analysis.report.monthly.publish_review", stand_in)
    assert main(["review", "--month", "2024-08", "--out", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "demo log of an invented workshop" in out
    assert "review-2024-08.html" in out
    assert (called["folder"], called["month"]) == (DEMO, "2024-08")


@pytest.mark.parametrize(
    ("month", "told"),
    [("2024-13", "is not a month"), ("september", "is not a month"), ("1999-01", "holds nothing for")],
)
def test_a_wrong_month_is_refused_before_anything_runs(tmp_path, capsys, month, told):
    assert main(["review", "--month", month, "--out", str(tmp_path / "out")]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
