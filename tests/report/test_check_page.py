"""The check as a page: each fault with its row, text from the log inert, gates of every page."""

from __future__ import annotations

import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO, main
from analysis.records.problems import Problem, Severity, by_kind
from analysis.report import check_page
from tests.files import base, write
from tests.report.gates import assert_page_behaves, assert_page_is_sound


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    tables = base()
    tables["jobs"][0] |= {"bench_hours": "88", "board_family": "<script>alert(1)</script>"}
    tables["jobs"][1]["intake_damage"] = "Liquid"
    folder = write(tmp_path_factory.mktemp("log"), tables)
    out = tmp_path_factory.mktemp("pages")
    assert main(["check", str(folder), "--page", str(out)]) == 1
    return out / "log-check.html"


def test_the_page_is_sound_and_shows_each_fault_with_its_row(page):
    assert_page_is_sound(page)
    soup = BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib")
    tables = [t for t in soup.find_all("table") if t.caption.get_text().startswith("Faults")]
    assert {t.find_previous("h3").get_text()[3:] for t in tables} == {
        "bench_hours in jobs.csv: 1 fault",
        "board_family in jobs.csv: 1 fault",
    }
    for table in tables:
        [row] = [[cell.get_text() for cell in row.find_all(["th", "td"])] for row in table.tbody.find_all("tr")]
        assert row[:2] == ["2", "J-1"]
        assert row[3].startswith("J-1,2024-03-02,phone,<script>")
        assert table.find_previous("p").get_text().startswith("Rule: ")


def finding(line: int, severity: Severity, text: str = "blank") -> Problem:
    return Problem("jobs.csv", line, f"J{line}", "outcome", text, "a rule", "Do it.", severity, "code")


def test_like_findings_say_once_what_to_do_and_name_every_place():
    warned = [finding(line, Severity.WARNING) for line in range(2, 49)]
    html = check_page.Kinds("Warnings", by_kind(warned), {})._repr_html_()
    assert html.count("Do it.") == 1
    assert "47 warnings" in html
    assert all(f"{p.line} ({p.job})" in html for p in warned)
    faults = [finding(line, Severity.FAULT, f"'{line}'") for line in range(2, 49)]
    html = check_page.Kinds("Faults", by_kind(faults), {})._repr_html_()
    assert html.count("<tr>") == 1 + check_page.MOST_ROWS
    assert all(f">{p.line}<" in html or f"{p.line} ({p.job})" in html for p in faults)


@pytest.mark.browser
def test_the_page_behaves_in_a_browser_and_runs_nothing(page, running_browser):
    assert_page_behaves(page, running_browser)


def test_a_clean_log_says_so():
    view = check_page.build(DEMO)
    assert "The log is clean" in check_page.first_screen(view)._repr_html_()
    assert "none" in check_page.problems_by_kind(view, Severity.FAULT, "Faults")._repr_html_()
