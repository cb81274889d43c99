"""The command ``rework month``: arguments only."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path


def _month(args: argparse.Namespace) -> int:
    from analysis.report.month import publish_month

    publish_month(args.log, args.month, args.out, say=print)
    return 0


def add_month_command(add: Callable[..., argparse.ArgumentParser], demo: Path, reports: Path) -> None:
    """Add the command that makes every page of a month.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    demo : Path
        The log taken when none is named.
    reports : Path
        Where pages go.
    """
    month = add(
        "month",
        _month,
        "Make every page of a month, two at a time: review, accept or decline, techniques, technicians, log check.",
        "rework month my_log --month 2024-09",
    )
    month.add_argument(
        "log", type=Path, nargs="?", default=demo, help="folder that holds jobs.csv; without it, the demo"
    )
    month.add_argument("--month", default="", metavar="YYYY-MM", help="without it, the latest complete month")
    month.add_argument("--out", type=Path, default=reports, metavar="FOLDER", help="where the pages go (reports/)")
