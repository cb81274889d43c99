"""The README's commands, the CI script and the command's help agree with one another."""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.cli import _parser, main
from analysis.cli_shared import hyphenated
from analysis.records.dictionary import TABLES

ROOT = Path(__file__).resolve().parents[2]


def readme_commands() -> list[str]:
    return re.findall(r"^python3 -m venv .*$", (ROOT / "README.md").read_text(encoding="utf-8"), re.M)


def test_the_readme_has_its_two_commands():
    assert len(readme_commands()) == 2


def test_ci_runs_exactly_the_readme_test_command():
    ci_lines = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert readme_commands()[1] in ci_lines


def test_constraints_name_no_host():
    text = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8")
    assert "//" not in text
    assert re.search(r"^pandas==", text, re.M)


@pytest.mark.parametrize(
    "command",
    [
        "check",
        "blank-log",
        "import",
        "enter",
        "column",
        "table-schema",
        "dictionary",
        "review",
        "assess",
        "counter",
        "evidence",
        "seal",
        "recount",
        "compare",
        "month",
        "index",
        "verify",
        "methods",
    ],
)
def test_every_command_explains_itself_with_an_example(command, capsys):
    with pytest.raises(SystemExit) as stop:
        main([command, "--help"])
    assert stop.value.code == 0
    assert f"rework {command}" in capsys.readouterr().out.split("Example:")[1]


def test_the_module_form_works():
    done = subprocess.run([sys.executable, "-m", "analysis", "--version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("rework-outcomes ")


def options() -> list[tuple[str, object]]:
    """Every command with each of its options and arguments."""
    parser = _parser()
    commands = next(a for a in parser._actions if isinstance(a, argparse._SubParsersAction))
    return [(name, action) for name, sub in commands.choices.items() for action in sub._actions]


@pytest.mark.parametrize(("command", "action"), options(), ids=lambda v: v if isinstance(v, str) else v.dest)
def test_every_option_is_explained(command, action):
    assert action.help
    assert f"rework {command}" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_every_option_is_shown_in_a_document_or_used_by_a_test():
    """But facts of an intake, which are the columns of the dictionary."""
    texts = [ROOT / "README.md", *(ROOT / "notebooks" / "guide").glob("*.md"), *(ROOT / "tests").rglob("*.py")]
    told = "".join(path.read_text(encoding="utf-8") for path in texts)
    facts = {f"--{name.replace('_', '-')}" for table in TABLES for name in table.names}
    dead = [
        f"{command} {option}"
        for command, action in options()
        for option in action.option_strings
        if option.startswith("--") and option not in facts and option not in told
    ]
    assert dead == []


def test_an_option_may_be_typed_as_its_column_is_called():
    assert list(map(hyphenated, ("--device_age_years=3", "--json", "my_log", "-x_y", "a_b=--c_d"))) == [
        "--device-age-years=3",
        "--json",
        "my_log",
        "-x_y",
        "a_b=--c_d",
    ]


def test_an_intake_typed_with_the_columns_own_names_is_the_same_intake(monkeypatch):
    taken = []
    monkeypatch.setattr("analysis.report.assess_command.run_assess", lambda *given, **more: taken.append(given[2]))
    for spelled in ("--intake-damage", "--intake_damage"):
        assert main(["assess", "my_log", spelled, "wet_thing", "--json"]) == 0
    assert taken[0] == taken[1]
    assert taken[0]["intake_damage"] == "wet_thing"
