"""The same work by R packages, where R is installed."""

from __future__ import annotations

import subprocess
from functools import cache
from pathlib import Path

import numpy as np

from tests.benchmarks.data import rows_of

SCRIPT = Path(__file__).with_name("peers.R")


@cache
def installed(package: str) -> bool:
    """Whether R knows a package."""
    code = f'quit(status = !requireNamespace("{package}", quietly = TRUE))'
    return subprocess.run(["Rscript", "-e", code], capture_output=True, check=False).returncode == 0


def step(work: str):
    """A step that R times itself: reading the rows does not count."""

    def prepare(n: int, folder: Path):
        rows, path = rows_of(n), folder / f"rows-{n}.csv"
        if not path.exists():
            table = np.column_stack([rows.y, rows.x[:, 1:], rows.group, rows.time, rows.event])
            heading = ",".join(["y", *rows.names[1:], "group", "time", "event"])
            np.savetxt(path, table, "%.10g", ",", header=heading, comments="")

        def run() -> float:
            done = subprocess.run(
                ["Rscript", str(SCRIPT), work, str(path)], capture_output=True, text=True, check=False
            )
            if done.returncode:
                raise RuntimeError(done.stderr[-400:])
            return float(done.stdout.split()[-1])

        return run

    return prepare
