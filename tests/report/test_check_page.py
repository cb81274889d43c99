"""The check as a page: each fault with its row, text from the log inert, gates of every page."""

from __future__ import annotations

import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO, main
from analysis.records.problems import Severity
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
    table = next(t for t in soup.find_all("table") if t.caption.get_text().startswith("Faults"))
    rows = [[cell.get_text() for cell in row.find_all(["th", "td"])] for row in table.tbody.find_all("tr")]
    assert {(row[0], row[2]) for row in rows} == {("jobs.csv:2", "bench_hours"), ("jobs.csv:2", "board_family")}
    assert all(row[6].startswith("J-1,2024-03-02,phone,<script>") for row in rows)


@pytest.mark.browser
def test_the_page_behaves_in_a_browser_and_runs_nothing(page, running_browser):
    assert_page_behaves(page, running_browser)


def test_a_clean_log_says_so():
    view = check_page.build(DEMO)
    assert "The log is clean" in check_page.first_screen(view)._repr_html_()
    assert "none" in check_page.problems_grid(view, Severity.FAULT, "Faults")._repr_html_()
