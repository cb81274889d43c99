"""The README is read in five minutes, its commands parse and say what their help says, and its links lead somewhere."""

from __future__ import annotations

import argparse
import re
import shlex
from pathlib import Path

import pytest

from analysis.cli import _parser

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDES = sorted((ROOT / "notebooks" / "guide").glob("*.md"))
TEXTS = [ROOT / "README.md", ROOT / "reports" / "README.md", *GUIDES]
WORDS_A_MINUTE = 240  # slow silent reading; common practice, no source
ROW = re.compile(r"^\| `rework ([^`]+)` \| (.+) \|$", re.M)
LINK = re.compile(r"\]\(([^)]+)\)")


def commands() -> dict[str, argparse.ArgumentParser]:
    subparsers = next(a for a in _parser()._actions if isinstance(a, argparse._SubParsersAction))
    return dict(subparsers.choices)


def typed(text: str) -> list[str]:
    """Every line to be typed that begins with rework; continued lines in one piece, remarks left out."""
    blocks = "\n".join(re.findall(r"^```sh\n(.*?)^```", text, re.M | re.S)).replace("\\\n", " ")
    return re.findall(r"^rework .*$", blocks, re.M)


def test_the_readme_is_read_in_five_minutes():
    assert len(README.split()) <= 5 * WORDS_A_MINUTE


def test_the_readme_begins_with_the_job():
    first = README.split("\n\n")[1]
    assert first.startswith("A board-level rework technician recovers data from phones")


def test_the_readme_lists_every_command_with_the_line_of_its_help():
    rows = {shlex.split(line)[0]: (shlex.split(line), what) for line, what in ROW.findall(README)}
    assert set(rows) == set(commands())
    for name, (words, what) in rows.items():
        _parser().parse_args(words)
        assert " ".join((commands()[name].description or "").split("\n\n")[0].split()) == what


@pytest.mark.parametrize("text", TEXTS, ids=lambda path: path.stem)
def test_every_command_to_be_typed_parses(text):
    for line in typed(text.read_text(encoding="utf-8")):
        _parser().parse_args(shlex.split(line, comments=True)[1:])


@pytest.mark.parametrize("name", list(commands()))
def test_every_example_of_a_help_parses(name):
    examples = commands()[name].format_help().split("Example:")[1].partition("Guide:")[0].replace("\\\n", " ")
    lines = re.findall(r"^ *(rework .*)$", examples, re.M)
    assert lines
    for line in lines:
        _parser().parse_args(shlex.split(line)[1:])


@pytest.mark.parametrize("name", list(commands()))
def test_every_guide_named_by_a_help_is_there(name):
    for guide in re.findall(r"notebooks/guide/\w+\.md", commands()[name].format_help()):
        assert (ROOT / guide).is_file()


@pytest.mark.parametrize("text", TEXTS, ids=lambda path: path.stem)
def test_every_link_leads_to_a_file(text):
    for link in LINK.findall(text.read_text(encoding="utf-8")):
        assert (text.parent / link).exists(), link


def test_every_guide_is_named():
    """The second part of the audit is named by the first."""
    named = README + (ROOT / "notebooks" / "guide" / "audit_by_spreadsheet.md").read_text(encoding="utf-8")
    for guide in GUIDES:
        assert guide.name in named or guide.read_text(encoding="utf-8").partition("\n")[0][2:] in named
