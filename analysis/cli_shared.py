"""What the commands that make pages share: where things lie, which log, where the page goes."""

from __future__ import annotations

import argparse
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent
DEMO = PROJECT / "data_demo"
REPORTS = PROJECT / "reports"


def needs_checkout(command: argparse.ArgumentParser) -> None:
    """Mark a command that uses notebooks/, data_demo/ or reports/, which a copy in site-packages lacks."""
    command.set_defaults(from_checkout=True)


def out_argument(command: argparse.ArgumentParser) -> None:
    """Add the folder of what a command publishes."""
    command.add_argument("--out", type=Path, default=REPORTS, metavar="FOLDER", help="where the page goes (reports/)")
    needs_checkout(command)


def page_arguments(command: argparse.ArgumentParser) -> None:
    """Add the log, which may be left out for the demo, and the folder of the page."""
    command.add_argument("log", type=Path, nargs="?", help="folder that holds jobs.csv; without it, the demo")
    out_argument(command)


def log_or_demo(args: argparse.Namespace) -> Path:
    """The log named, or the demo with a word that it is one."""
    if args.log is None:
        print("No log named: the demo log of an invented workshop.")
        return DEMO
    log: Path = args.log
    return log
