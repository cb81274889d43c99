"""Every command of every guide runs on the demo, and each sentence a guide quotes stands where it says it does."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from analysis import cli, cli_shared
from analysis.report import render
from analysis.report.guide_pages import GUIDES, guides
from tests.report import notebook_cells
from tests.report.guide_quotes import page_text, plain, quotes

BLOCK = re.compile(r"^```sh\n(.*?)^```", re.M | re.S)
DUTIES = {"before_the_monthly_meeting", "at_the_counter", "when_a_client_asks", "before_you_compare_people"}
HEADINGS = ("What not to conclude", "Cautions", "What to do next")
GUIDE_FILES = sorted(GUIDES.glob("*.md"))
SLOW = {
    "at_the_counter",
    "before_you_compare_people",
}  # their pages take a minute; what they quote is held against the page in the page's own test
RUN = [pytest.param(path, marks=[pytest.mark.slow] if path.stem in SLOW else []) for path in GUIDE_FILES]


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
    monkeypatch.setattr(cli, "MODELS", tmp_path / "models")
    monkeypatch.setattr(render, "execute", notebook_cells.execute)
    return tmp_path


@pytest.mark.parametrize("guide", RUN, ids=lambda path: path.stem)
def test_every_command_runs_and_every_quoted_sentence_is_there(guide, bench, capsys):
    said: dict[str, str] = {}
    for command in commands(guide):
        status = cli.main(shlex.split(command)[1:])
        printed = capsys.readouterr()
        assert status == 0, f"{command}: {printed.err}"
        name = " ".join(shlex.split(command)[:2])
        said[name] = said.get(name, "") + printed.out
    pages = {path.name: path for path in (bench / "reports").glob("*.html")}
    for where, sentence in quotes(guide):
        found = plain(said[where]) if where.startswith("rework ") else page_text(pages[where])
        assert plain(sentence) in found, f"{guide.name} quotes {where}"


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
