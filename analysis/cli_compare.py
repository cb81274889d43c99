"""The command ``rework compare``: arguments only."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from analysis.cli_shared import log_or_demo, page_arguments, private_page


def _compare(args: argparse.Namespace) -> int:
    """One technician's page, a plan, the analysis of a plan on the techniques' page alone; else both pages."""
    from analysis.report.technician_pages import publish_technician, publish_technicians
    from analysis.report.technique_pages import publish_techniques, write_plan

    log = log_or_demo(args)
    if args.technician:
        print(private_page(publish_technician(log, args.technician, args.out, say=print), args.technician))
    elif args.plan_out:
        write_plan(log, args.plan_out, print, args.plan_jobs, args.random_seed)
    else:
        path = publish_techniques(log, args.out, print, args.plan, args.plan_jobs, args.random_seed)
        print(f"Page written to {path}")
        if not args.plan:
            print(f"Page written to {publish_technicians(log, args.out, say=print)}")
    return 0


def add_compare_command(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the command that puts technicians and techniques side by side.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    compare = add(
        "compare",
        _compare,
        "Compare ways of working, and technicians, on like boards; never a ranking.",
        "rework compare my_log\n  rework compare my_log --plan-out plan.csv",
        more="Two pages: techniques, and technicians. Tell your people before you compare them; labour and"
        " data-protection law may forbid it or ask for consent.",
        guide="before_you_compare_people",
    )
    instead = compare.add_mutually_exclusive_group()
    instead.add_argument(
        "--technician",
        default="",
        metavar="CODE",
        help="instead: the private page of one technician's own figures, for that technician alone",
    )
    instead.add_argument(
        "--plan-out", type=Path, metavar="FILE", help="instead: write the list of a plan that decides by lot, to print"
    )
    instead.add_argument(
        "--plan", type=Path, metavar="FILE", help="instead: only the techniques' page, with the analysis of such a list"
    )
    compare.add_argument(
        "--plan-jobs", type=int, default=0, metavar="N", help="jobs of the next plan (0: what fits a year)"
    )
    compare.add_argument(
        "--random-seed",
        type=int,
        metavar="N",
        help="seed of its lots (default: a fresh one for every list, noted in it)",
    )
    page_arguments(compare)
