"""The command ``rework month``: arguments only."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from analysis.cli_shared import log_or_demo, page_arguments


def _month(args: argparse.Namespace) -> int:
    from analysis.report.month import publish_month

    publish_month(log_or_demo(args), args.month, args.out, say=print)
    return 0


def add_month_command(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the command that makes every page of a month.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    month = add(
        "month",
        _month,
        "Make every page of a month, two at a time: review, accept or decline, techniques, technicians, log check.",
        "rework month my_log --month 2024-09",
    )
    month.add_argument("--month", default="", metavar="YYYY-MM", help="without it, the latest complete month")
    page_arguments(month)
