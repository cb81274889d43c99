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
    return _techniques(args, lambda: publish_technicians(args.log, args.out, say=print))


def _techniques(args: argparse.Namespace, technicians: Callable[[], object]) -> int:
    """A plan is written, or analysed on the techniques' page alone; else both pages are made."""
    from analysis.report.technique_pages import publish_techniques, write_plan

    if args.plan_out:
        write_plan(args.log, args.plan_out, print, args.plan_jobs, args.random_seed)
        return 0
    publish_techniques(args.log, args.out, print, args.plan, args.plan_jobs, args.random_seed)
    if not args.plan:
        technicians()
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
        "Compare ways of working, and technicians, fairly: easy and hard boards side by side, never a ranking.",
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
    compare.add_argument(
        "--plan-out", type=Path, metavar="FILE", help="instead: write the list of a plan that decides by lot, to print"
    )
    compare.add_argument(
        "--plan", type=Path, metavar="FILE", help="instead: only the techniques' page, with the analysis of such a list"
    )
    compare.add_argument(
        "--plan-jobs", type=int, default=0, metavar="N", help="jobs of the next plan (0: what fits a year)"
    )
    compare.add_argument("--random-seed", type=int, default=20, metavar="N", help="seed of its lots (20)")
    compare.add_argument("--out", type=Path, default=reports, metavar="FOLDER", help="where the pages go (reports/)")
