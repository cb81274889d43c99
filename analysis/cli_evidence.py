"""The commands ``rework evidence``, ``seal`` and ``recount``: arguments only."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from analysis.cli_shared import log_argument, log_or_demo, page_arguments


def _evidence(args: argparse.Namespace) -> int:
    from analysis.report.evidence_sheet import publish_evidence

    period = {"half": args.half, "first": args.first, "last": args.last}
    extra = {"intake": args.intake, "language": args.language, "recount_file": args.recount_file}
    publish_evidence(log_or_demo(args), args.out, say=print, **period, **extra)
    return 0


def _seal(args: argparse.Namespace) -> int:
    from analysis.report.evidence_seal import run_seal

    run_seal(args.log, args.until, say=print)
    return 0


def _recount(args: argparse.Namespace) -> int:
    from analysis.report.evidence_recount import recount_sheet

    return 0 if recount_sheet(args.sheet, args.log, say=print) else 1


def add_evidence_commands(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the commands for what clients are shown.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    evidence = add(
        "evidence",
        _evidence,
        "Make the one-page sheet for clients, each rate with its jobs.",
        "rework evidence my_log --half 2024H1 --language de",
        more="From a sealed log it can be recounted; without a seal it is a draft and says so. A half-year with fewer"
        " than ten closed jobs gives no sheet.",
        guide="when_a_client_asks",
    )
    evidence.add_argument(
        "--half", default="", metavar="YYYYHN", help="half-year, such as 2024H1 (the latest that ended)"
    )
    evidence.add_argument(
        "--from", dest="first", default="", metavar="YYYY-MM", help="chosen months; the whole log is shown beside them"
    )
    evidence.add_argument("--until", dest="last", default="", metavar="YYYY-MM", help="last of the chosen months")
    evidence.add_argument(
        "--language",
        default="en",
        metavar="CODE",
        help="language, with a country for numbers and dates: de, en-US, de-CH",
    )
    evidence.add_argument(
        "--intake",
        action="append",
        default=[],
        metavar="COLUMN=VALUE",
        help="a fact of the client's own device, such as intake_damage=liquid; adds what past jobs like it say",
    )
    evidence.add_argument("--recount-file", type=Path, metavar="FILE", help="also the redacted CSV for a named auditor")
    page_arguments(evidence)

    seal = add(
        "seal",
        _seal,
        "Seal the log until a day: later changes show.",
        "rework seal my_log --until 2024-09-30",
        more="Writes salted hashes of its rows, one more line in seals/ledger.jsonl, and prints a fingerprint: hand it"
        " to somebody else on the same day. A log with faults is refused, since jobs set aside would be missing.",
        guide="when_a_client_asks",
    )
    log_argument(seal, "folder that holds jobs.csv; a folder 'seals' is added to it")
    seal.add_argument("--until", required=True, metavar="YYYY-MM-DD", help="last day; it must be over")

    recount = add(
        "recount",
        _recount,
        "Count a sheet again from its sealed log.",
        "rework recount reports/evidence-2024H1.html my_log",
        more="Compares every sealed row, every total and every word. Exit status 0 it matches, 1 it does not and where,"
        " 2 cannot run.",
        guide="when_a_client_asks",
    )
    recount.add_argument("sheet", type=Path, metavar="PAGE", help="page made by 'rework evidence'")
    log_argument(recount, "folder of the sealed log")
