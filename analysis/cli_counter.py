"""The commands ``rework assess`` and ``counter``: arguments only."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

from analysis.cli_shared import (
    REPORTS,
    log_argument,
    log_or_demo,
    needs_checkout,
    page_arguments,
    private_page,
    to_stderr,
)

MODELS = REPORTS / ".models"  # fitted models; may be deleted at any time


def _assess(args: argparse.Namespace) -> int:
    from analysis.report.assess_command import run_assess

    run_assess(
        args.log,
        MODELS,
        {name: getattr(args, name) for name in args.facts},
        waiting=args.waiting,
        take_share=args.take_share,
        random_seed=args.random_seed,
        after_test=args.after_test,
        as_text=not args.json,
        read_line=input,
        say=print,
        note=to_stderr,
    )
    return 0


def _assess_flags(assess: argparse.ArgumentParser) -> None:
    """A flag for every column known before work, named as in the dictionary."""
    from analysis.records.dictionary import DONOR_FACTS, JOBS, KnownAt, Role

    early = (KnownAt.INTAKE, KnownAt.ASSESSMENT)
    of_job = [c for c in JOBS.columns if c.role in (Role.PREDICTOR, Role.MONEY) and c.known_at in early]
    log_argument(assess)
    for column in (*of_job, *DONOR_FACTS):
        about = f"{column.help} Allowed: {column.rule}.".replace("%", "%%")
        donor = "Of a donor you could use, shown as an option. " if column in DONOR_FACTS else ""
        flag = f"--{column.name.replace('_', '-')}"
        assess.add_argument(flag, default="", metavar="VALUE", help=f"{donor}{about}")
    assess.add_argument(
        "--start-share", default="", metavar="PERCENT", help="of a staged fee, the share due at the start and kept"
    )
    assess.add_argument(
        "--after-test", type=int, default=0, metavar="N", help="instead: is another attempt worth it after N failures?"
    )
    assess.add_argument(
        "--waiting", type=Path, metavar="FILE", help="a CSV of waiting intakes (job_id and the columns)"
    )
    assess.add_argument(
        "--take-share",
        type=float,
        metavar="PERCENT",
        help="with --waiting: take a random share of those to discuss, if their clients know and agree",
    )
    assess.add_argument(
        "--random-seed", type=int, default=1, metavar="N", help="for --take-share; the same gives the same"
    )
    assess.add_argument("--json", action="store_true", help="print JSON instead of lines")
    assess.set_defaults(facts=[*(c.name for c in (*of_job, *DONOR_FACTS)), "start_share"])


def _counter(args: argparse.Namespace) -> int:
    from analysis.report.counter_pages import publish_counter, publish_guesses

    log = log_or_demo(args)
    if args.technician:
        print(private_page(publish_guesses(log, args.technician, args.out, say=print), args.technician))
        return 0
    print(f"Page written to {publish_counter(log, args.start_share, args.out, say=print)}")
    return 0


def add_counter_commands(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the commands of the counter: one device, and the page behind it.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    assess = add(
        "assess",
        _assess,
        "Accept or decline a device: chance, range, money, past jobs like it.",
        "rework assess my_log --intake-damage liquid --prior-rework elsewhere --device-age-years 3 \\\n"
        "    --fee-basis no_result_no_fee --fee-amount 650 --donor-cost 120\n"
        "  rework assess my_log --waiting waiting.csv",
        more="Without flags it asks. Accept: the expected margin is positive over the whole 80 % interval of the"
        " chance. Decline: negative over all of it. Discuss: neither. Outside our experience: nothing like it in the"
        " log, and no number is made up. Facts of a donor change no recommendation.",
        guide="at_the_counter",
    )
    _assess_flags(assess)
    needs_checkout(assess)

    counter = add(
        "counter",
        _counter,
        "Make the page behind `assess`: how far to trust it, last year, a card to print.",
        "rework counter my_log",
        guide="at_the_counter",
    )
    page_arguments(counter)
    counter.add_argument(
        "--start-share",
        type=float,
        default=0.0,
        metavar="PERCENT",
        help="of staged fees, the share due at the start, for the replay (without it bench.toml's, else 30)",
    )
    counter.add_argument(
        "--technician",
        default="",
        metavar="CODE",
        help="instead: the private page of one technician's guesses, for that technician alone",
    )
