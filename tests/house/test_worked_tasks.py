"""The worked tasks of DEVELOPERS.md fit the files as they are and, with -m slow, come out as they say."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TASKS = ("To add a column", "To add a contrast", "To add a report language")
APPLY = ["git", "apply", "-C1"]


def blocks(task: str) -> list[tuple[str, str]]:
    """Kind and content of every block of a task, in order."""
    section = TEXT.split(f"\n## {task}\n")[1].split("\n## ")[0]
    return re.findall(r"^```(\w+)\n(.*?)^```$", section, re.M | re.S)


def diffs(task: str) -> list[str]:
    return [content for kind, content in blocks(task) if kind == "diff"]


@pytest.mark.parametrize("task", TASKS)
def test_every_block_of_a_task_fits_the_files_as_they_are(task):
    for block in diffs(task):
        done = subprocess.run(
            [*APPLY, "--check", "-"], cwd=ROOT, input=block, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, f"write this block of DEVELOPERS.md anew:\n{block}\n{done.stderr}"
    for kind, content in blocks(task):
        assert kind in ("diff", "sh", "toml", "python")
        assert kind != "toml" or tomllib.loads(content)


def test_each_task_has_something_to_add_and_to_run():
    for task in TASKS:
        kinds = [kind for kind, _ in blocks(task)]
        assert "sh" in kinds
        assert {"diff", "toml"} & set(kinds)


@pytest.mark.slow
@pytest.mark.parametrize("task", [task for task in TASKS if diffs(task)])
def test_a_task_followed_to_the_letter_ends_well(task, tmp_path):
    """In a copy of the files as they are; a test of a task that needs more than its blocks would fail here."""
    copy = tmp_path / "copy"
    shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".venv", ".*_cache", "__pycache__", ".kept", ".models"))
    (copy / ".venv").symlink_to(sys.prefix, target_is_directory=True)
    here = os.environ | {"PYTHONPATH": str(copy)}
    for kind, content in blocks(task):
        command = [*APPLY, "-"] if kind == "diff" else ["sh", "-e"]
        done = subprocess.run(command, cwd=copy, input=content, capture_output=True, text=True, check=False, env=here)
        assert done.returncode == 0, f"{content}\n{done.stdout[-3000:]}{done.stderr[-3000:]}"
