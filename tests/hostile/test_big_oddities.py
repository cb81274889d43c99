"""Half a gigabyte of one oddity: told in a line or two, within time and memory, whatever it is. Slow suite."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

from tests.hostile.commands import ROOT

SIZE = 500_000_000
HEAD = b"job_id,received_date,intake_damage,decision,board_family\n"
ROW = b"J-1,2024-01-02,drop,declined,\n"
MOST_GIB = 8
ODDITIES = {
    "one key without end": lambda: HEAD + ROW[:-1] + b"d" * SIZE + b"\n",
    "one code without end": lambda: HEAD + b"J-1,2024-01-02," + b"d" * SIZE + b",declined,\n",
    "a heading without end": lambda: HEAD[:-1] + b"," + b"x" * SIZE + b"\n" + ROW,
    "a line of delimiters": lambda: HEAD + b"," * (SIZE // 4) + b"\n",
    "a quotation mark never closed": lambda: HEAD + b'"' + ROW * (SIZE // len(ROW)),
    "quotation marks only": lambda: HEAD + b'"' * SIZE,
    "NUL bytes only": lambda: HEAD + b"\0" * SIZE,
    "the same job again and again": lambda: HEAD + ROW * (SIZE // 8 // len(ROW)),
}
CODE = """
import resource, sys
from analysis.cli import main
status = main(["check", sys.argv[1]])
print("peak", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
sys.exit(status)
"""


@pytest.mark.slow
@pytest.mark.parametrize("oddity", ODDITIES)
def test_half_a_gigabyte_of_an_oddity_is_told_of(tmp_path, oddity):
    (tmp_path / "jobs.csv").write_bytes(ODDITIES[oddity]())
    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", CODE, str(tmp_path)], cwd=ROOT, capture_output=True, text=True, timeout=600, check=False
    )
    assert "Traceback" not in done.stdout + done.stderr, done.stderr[-2000:]
    assert done.returncode in (0, 1)
    assert "jobs.csv" in done.stdout
    peak = int(done.stdout.rsplit("peak", 1)[1]) / 2**20
    print(f"{oddity}: {time.monotonic() - began:.0f} s, peak memory {peak:.1f} GiB")
    assert peak < MOST_GIB
