"""The verification page: the whole table, as printed; what fails is said in words and in red; what was not run too."""

from __future__ import annotations

import re

import pytest
from bs4 import BeautifulSoup

from analysis.cli import main
from analysis.report.plain_page import page_html
from tests.reference.check import Check
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text
from tests.studies.record import Finding, Result
from tests.verification import page as verification
from tests.verification.page import Study

GOOD = Check("survival", "A 1990", "S(6)", "published value seen", (1.0, 2.0, 3.0, 4.0), (1.0, 2.0, 3.0, 4.0))
BAD = Check("survival", "B 1991", "SE", "reference software only", (-1.0,), (-1.1,), 9)
HELD = Finding("coverage", 0.951, 0.015, 200, 0.93, 0.97)
MISSED = Finding("bias", 0.3, 0.05, 200, -0.15, 0.15, "0 within three Monte Carlo errors")


def study(*findings: Finding, changes: int | None = 0, uncommitted: tuple[str, ...] = ()) -> Study:
    command = "python -m tests.studies.points --fits 400"
    return Study(
        "points", "Is it so?", Result("points", command, "2026-11-26", "abc", uncommitted, 9.6, findings, ""), changes
    )


def text_of(checks, found) -> str:
    html = page_html(verification.page_head(checks, found), verification.parts(checks, found))
    return visible_text(BeautifulSoup(html, "html5lib"))


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The page as the command makes it, and what it prints."""
    out = tmp_path_factory.mktemp("verify")
    assert main(["verify", "--out", str(out)]) == 0
    return out / "verification.html"


def test_the_page_is_sound_and_holds_every_check(made):
    assert_page_is_sound(made)
    soup = BeautifulSoup(made.read_text(encoding="utf-8"), "html5lib")
    told = soup.select_one(".first .says").get_text()
    n = int(re.match(r"(\d+) of \1 outside checks hold\.", told)[1])
    assert sum("digits agreed, of needed" in table.thead.get_text() for table in soup.find_all("table")) > 5
    rows = [
        row for table in soup.find_all("table") if "expected" in table.thead.get_text() for row in table.tbody("tr")
    ]
    assert len(rows) == n
    assert not soup.select(".fails")


@pytest.mark.browser
def test_the_page_behaves_in_a_browser(made, running_browser):
    assert_page_behaves(made, running_browser)


def test_what_fails_is_said_in_capitals_in_red_and_first():
    found = [study(HELD, MISSED)]
    html = page_html(verification.page_head([GOOD, BAD], found), verification.parts([GOOD, BAD], found))
    soup = BeautifulSoup(html, "html5lib")
    first = soup.select_one(".first").get_text(" ")
    assert "1 of 2 outside checks hold." in first
    assert "1 of 2 claims hold" in first
    assert "FAILS : survival, B 1991: SE; simulation points: bias." in first  # the word is an element of its own
    # The first screen, the row of the engine, the check, and the claim; each a word in a class of its own.
    assert [mark.get_text() for mark in soup.select("strong.fails")] == ["FAILS"] * 4
    assert "1.0 of 9" in soup.get_text()
    assert not verification.sound([GOOD, BAD], [])
    assert not verification.sound([GOOD], found)
    assert verification.sound([GOOD], [study(HELD)])


def test_a_check_is_shown_with_what_was_expected_and_got():
    text = text_of([GOOD], [study(HELD)])
    assert "A 1990 S(6) published value seen 1, 2, 3, … (4 numbers) 1, 2, 3, … (4 numbers) 16.0 of 7 holds" in text
    assert "coverage 0.93 to 0.97 0.951 0.015 200 holds" in text


def test_when_a_study_was_run_is_said_as_it_is():
    assert "What it runs has not changed since" in study(HELD).when
    assert "Not run since: 3 later commits changed what it runs" in study(HELD, changes=3).when
    assert "cannot be told here" in study(HELD, changes=None).when
    assert "1 file differed from that commit" in study(HELD, uncommitted=("analysis/a.py",)).when
    never = Study("points", "Is it so?", None, None)
    assert never.when.startswith("Not run: no result is kept.")
    assert "Never kept: points." in text_of([GOOD], [never])
    assert "shown, nothing claimed" in text_of([GOOD], [study(Finding("slope", 1.0, 0.1, 9))])


def test_a_folder_that_is_a_file_is_told(tmp_path, monkeypatch, capfd):
    from tests.verification import __main__ as command

    place = tmp_path / "file"
    place.write_text("", encoding="utf-8")
    monkeypatch.setattr(command, "run_all", lambda: [GOOD])
    monkeypatch.setattr("sys.argv", ["x", "--out", str(place)])
    assert command.main() == 2
    assert "rework: " in capfd.readouterr().err
