"""The command ``rework compare``: arguments only."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path


def _compare(args: argparse.Namespace) -> int:
    from analysis.report.technician_pages import publish_technician, publish_technicians

    if args.technician:
        publish_technician(args.log, args.technician, args.out, say=print)
        return 0
    publish_technicians(args.log, args.out, say=print)
    return 0


def add_compare_command(add: Callable[..., argparse.ArgumentParser], demo: Path, reports: Path) -> None:
    """Add the command that puts technicians and techniques side by side.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    demo : Path
        The log taken when none is named.
    reports : Path
        Where pages go.
    """
    compare = add(
        "compare",
        _compare,
        "Compare technicians fairly: easy and hard boards side by side, never a ranking.",
        "rework compare my_log",
    )
    compare.add_argument(
        "log", type=Path, nargs="?", default=demo, help="folder that holds jobs.csv; without it, the demo"
    )
    compare.add_argument(
        "--technician",
        default="",
        metavar="CODE",
        help="instead: the private page of one technician's own figures, for that technician alone",
    )
    compare.add_argument("--out", type=Path, default=reports, metavar="FOLDER", help="where the pages go (reports/)")
