"""A copy of the package alone, as an install that is not editable leaves it, says what it lacks; checks still run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    shutil.copytree(ROOT / "analysis", folder / "analysis", ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def rework(site: Path, *args: str) -> subprocess.CompletedProcess[str]:
    paths = {"PYTHONPATH": str(site), "PYTHONDONTWRITEBYTECODE": "1"}
    command = [sys.executable, "-m", "analysis", *args]
    return subprocess.run(command, cwd=site, env={**os.environ, **paths}, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "args", [("review",), ("compare",), ("month",), ("check", str(ROOT / "data_demo"), "--page", "out")]
)
def test_what_needs_the_checkout_says_so_in_one_line(site, args):
    done = rework(site, *args)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "install with --editable" in done.stderr
    assert len(done.stderr.splitlines()) == 2
    assert {path.name for path in site.iterdir()} == {"analysis"}


def test_what_does_not_need_it_runs(site):
    done = rework(site, "check", str(ROOT / "data_demo"))
    assert (done.returncode, done.stderr) == (0, "")
