"""Every command of every guide runs on the demo, and each sentence a guide quotes stands where it says it does."""

from __future__ import annotations

import builtins
import datetime as dt
import re
import shlex
import shutil
from pathlib import Path

import pytest
from bs4 import BeautifulSoup

from analysis import cli, cli_counter, cli_shared
from analysis.report import render
from analysis.report.guide_pages import GUIDES, ORDER, guides
from tests.records.importing import messy_workbook
from tests.report import notebook_cells
from tests.report.guide_quotes import page_text, plain, quotes

BLOCK = re.compile(r"^```sh\n(.*?)^```", re.M | re.S)
DUTIES = {
    "bringing_in_your_log",
    "before_the_monthly_meeting",
    "at_the_counter",
    "when_a_client_asks",
    "before_you_compare_people",
}
HEADINGS = ("What not to conclude", "Cautions", "What to do next")
GUIDE_FILES = sorted(GUIDES.glob("*.md"))
SLOW = {
    "at_the_counter",
    "before_you_compare_people",
}  # their pages take a minute; what they quote is held against the page in the page's own test
BRINGING_IN = GUIDES / "bringing_in_your_log.md"  # begins without a log and has a test of its own
RUN = [
    pytest.param(path, marks=[pytest.mark.slow] if path.stem in SLOW else [])
    for path in GUIDE_FILES
    if path != BRINGING_IN
]
READING_SPEED = 240  # words a minute, aloud a little less; common practice, no source


def commands(guide: Path) -> list[str]:
    """Lines that are to be typed; commands of other programs stand in guides of their own tests."""
    lines = [line for block in BLOCK.findall(guide.read_text(encoding="utf-8")) for line in block.splitlines()]
    return [line for line in lines if line.startswith("rework ")]


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with the demo as my_log; pages land in its reports, made in this process."""
    shutil.copytree(cli.DEMO, tmp_path / "my_log")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(cli_shared, "REPORTS", tmp_path / "reports")
    monkeypatch.setattr(cli_counter, "MODELS", tmp_path / "models")
    monkeypatch.setattr(render, "execute", notebook_cells.execute)
    return tmp_path


class Typed:
    """Types the commands of a guide, one after the other, and keeps what each kind of command said."""

    def __init__(self, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.bench, self.capsys, self.said = bench, capsys, {}

    def status(self, command: str) -> int:
        """Exit status of a command."""
        status = cli.main(shlex.split(command)[1:])
        printed = self.capsys.readouterr()
        assert status != cli.CANNOT_RUN, f"{command}: {printed.err}"
        name = " ".join(shlex.split(command)[:2])
        self.said[name] = self.said.get(name, "") + printed.out
        return status

    def assert_quoted(self, guide: Path) -> None:
        """Every sentence the guide quotes was said, or stands on the page it names."""
        pages = {path.name: path for path in (self.bench / "reports").glob("*.html")}
        for where, sentence in quotes(guide):
            found = plain(self.said[where]) if where.startswith("rework ") else page_text(pages[where])
            assert plain(sentence) in found, f"{guide.name} quotes {where}"


@pytest.mark.parametrize("guide", RUN, ids=lambda path: path.stem)
def test_every_command_runs_and_every_quoted_sentence_is_there(guide, bench, capsys):
    typed = Typed(bench, capsys)
    for command in commands(guide):
        assert typed.status(command) == 0, command
    typed.assert_quoted(guide)


def test_a_sheet_comes_in_as_its_guide_says(bench, capsys, monkeypatch):
    shutil.rmtree(bench / "my_log")
    shutil.copy(messy_workbook.HERE / "messy_workbook.xlsx", bench / "jobs.xlsx")
    answers = {"damage at intake": "liquid", "decision": "declined"}
    monkeypatch.setattr(builtins, "input", lambda asked: next((a for q, a in answers.items() if q in asked), ""))
    assert 'cat = "drop"' in BRINGING_IN.read_text(encoding="utf-8")
    assert ("Jobs", "Damage", "values.cat", "drop") in messy_workbook.ANSWERS
    typed = Typed(bench, capsys)
    first, *rest = commands(BRINGING_IN)
    assert typed.status(first) == 1  # questions are left
    messy_workbook.answer(bench / "my_log" / "import.toml")
    ends = {command: typed.status(command) for command in rest}
    assert ends == {
        "rework import jobs.xlsx --into my_log": 1,  # no question, but the fault that the guide shows
        "rework check my_log": 1,
        "rework enter my_log --write-presets": 0,
        "rework enter my_log": 0,
    }
    assert "question" not in (bench / "my_log" / "not_placed.csv").read_text(encoding="utf-8")
    typed.assert_quoted(BRINGING_IN)
    assert "10 answers" in typed.said["rework enter"]  # of a declined device, as the guide says


def test_a_recount_says_what_the_guide_of_the_ledger_shows(bench, capsys):
    shown = (GUIDES / "audit_times_and_ledger.md").read_text(encoding="utf-8").split("```\n")[1]
    sealed = re.search(r"since (\d{4}-\d\d-\d\d),", shown)[1]
    typed = Typed(bench, capsys)
    for command in ("seal my_log --until 2024-09-30", "evidence my_log --half 2024H1"):
        assert typed.status(f"rework {command}") == 0
    recount = "rework recount reports/evidence-2024H1.html my_log"
    assert typed.status(recount) == 0
    jobs = bench / "my_log" / "jobs.csv"
    text = jobs.read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if line.startswith("J-0445,"))
    jobs.write_text(text.replace(line, line.replace(",not_recovered,", ",stopped_by_client,")), encoding="utf-8")
    assert typed.status(recount) == 1
    said = typed.said["rework recount"].replace(dt.date.today().isoformat(), sealed)
    typed_lines = [line for line in shown.splitlines() if line and not line.startswith("$")]
    assert said.splitlines() == typed_lines


def test_the_guide_to_the_review_names_its_sections(demo_review):
    guide = (GUIDES / "before_the_monthly_meeting.md").read_text(encoding="utf-8")
    named = re.findall(r"^\| ([A-Z][^|]*) \|", guide, re.M)
    page = BeautifulSoup(demo_review.read_text(encoding="utf-8"), "html5lib")
    assert named == [heading.get_text() for heading in page.find_all("h2")][: len(named)]
    assert len(named) == len(page.find_all("h2")) - 1  # all but how things are counted


@pytest.mark.parametrize("guide", GUIDE_FILES, ids=lambda path: path.stem)
def test_a_guide_is_read_in_four_minutes(guide):
    assert len(guide.read_text(encoding="utf-8").split()) <= 4 * READING_SPEED


def test_every_duty_has_its_guide_with_its_parts():
    assert {path.stem for path in GUIDE_FILES} >= DUTIES
    for path in GUIDE_FILES:
        text = path.read_text(encoding="utf-8")
        if path.stem in DUTIES:
            assert commands(path)
            assert len(quotes(path)) >= 3
            assert "the workshop and its data are invented" in text
            assert all(f"## {heading}" in text for heading in HEADINGS)


@pytest.mark.parametrize("guide", GUIDE_FILES, ids=lambda path: path.stem)
def test_commands_named_in_passing_exist_with_their_options(guide):
    text = BLOCK.sub("", guide.read_text(encoding="utf-8"))
    for command in re.findall(r"`(rework [^`…]+)`", text):
        words = shlex.split(" ".join(command.split()))[1:]
        if len(words) > 1 and not words[1].isupper():  # "rework recount PAGE LOG" names places, not a command to type
            cli._parser().parse_args(words)


def test_every_guide_has_a_page_of_its_own():
    names = [guide.name for guide in guides()]
    assert len(set(names)) == len(GUIDE_FILES)
    assert all(guide.title and "#" not in guide.title for guide in guides())
    assert all(re.search(r"\bFor (whoever|the owner|the auditor)\b", guide.for_whom) for guide in guides())


def test_guides_are_listed_as_in_the_readme():
    named = re.findall(r"notebooks/guide/(\w+)\.md", (cli.PROJECT / "README.md").read_text(encoding="utf-8"))
    listed = [guide.path.stem for guide in guides()]
    assert [stem for stem in listed if stem in named and stem in ORDER] == [stem for stem in named if stem in ORDER]
    assert set(ORDER) == DUTIES
