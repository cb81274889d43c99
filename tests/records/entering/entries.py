"""An entry, the log it goes to, and Python run beside the test: what the tests of storing share."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

from analysis.records.entering.entry import Entry

ROOT = Path(__file__).resolve().parents[3]
INTAKE = {"received_date": "2024-05-02", "intake_damage": "liquid", "decision": "accepted"}
TEST = {"test_no": "1", "test_date": "2024-05-04", "boot_result": "short"}
ENTRY = Entry("J-5", True, True, INTAKE, rows={"boot_tests": (TEST,), "donors": ({"donor_id": "D-3"},)})


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.glob("*.csv")}


def run(code: str, *arguments: object, **options) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, **options)
