"""A jobs.csv of 500 MB: read or refused in words, within bounded memory, without a hang."""

from __future__ import annotations

import subprocess
import sys

import pytest

from analysis.records.dictionary import JOBS
from tests.hostile.commands import ROOT

MEGABYTES = 500
ROWS_A_PIECE = 20_000
MOST_MEMORY_GIB = 12


@pytest.mark.slow
def test_half_a_gigabyte_of_jobs_is_answered(tmp_path):
    columns = ["job_id", "received_date", "board_family", "intake_damage", "decision", "decline_reason"]
    assert set(columns) <= set(JOBS.by_name)
    path, rows = tmp_path / "jobs.csv", 0
    with path.open("w", encoding="utf-8") as file:
        file.write(",".join(columns) + "\n")
        while file.tell() < MEGABYTES * 10**6:
            family = "F" * 60  # the longest a code may be, nearly
            file.writelines(
                f"J-{rows + i},2024-03-{1 + i % 28:02d},{family},drop,declined,price\n" for i in range(ROWS_A_PIECE)
            )
            rows += ROWS_A_PIECE
    code = (
        "import resource, sys\nfrom analysis.cli import main\nstatus = main(['check', sys.argv[1]])\n"
        "print('peak', resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)\nsys.exit(status)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], cwd=ROOT, capture_output=True, text=True, timeout=1200, check=False
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    assert f"jobs.csv {rows} rows" in done.stdout
    peak = int(done.stdout.rsplit("peak", 1)[1]) / 2**20
    print(f"{rows} rows, {path.stat().st_size / 1e6:.0f} MB, peak memory {peak:.1f} GiB")
    assert peak < MOST_MEMORY_GIB
