"""Lint, format and types are part of the one test command."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, capture_output=True, text=True, check=False)


def test_ruff_finds_nothing():
    done = run("ruff", "check", "--output-format", "concise", ".")
    assert done.returncode == 0, done.stdout + done.stderr


def test_everything_is_formatted():
    done = run("ruff", "format", "--check", ".")
    assert done.returncode == 0, done.stdout + done.stderr


def test_types_hold():
    done = run("mypy")
    assert done.returncode == 0, done.stdout + done.stderr
