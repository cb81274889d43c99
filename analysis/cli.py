"""The command ``rework``: arguments only; the work is done elsewhere in the package."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence
from pathlib import Path

from analysis import __version__
from analysis.cli_compare import add_compare_command
from analysis.cli_counter import add_counter_commands
from analysis.cli_evidence import add_evidence_commands
from analysis.cli_log import add_log_commands
from analysis.cli_month import add_month_commands
from analysis.cli_shared import DEMO, PROJECT, command_adder, hyphenated, refuse_unwritable_places
from analysis.cli_verify import add_verify_command
from analysis.errors import ReworkError

CANNOT_RUN = 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="rework",
        description="Outcome statistics for a board-level rework bench: a log of past jobs in, a reviewed month out.",
        epilog="Start with:\n  rework review                          the demo month of an invented workshop\n"
        "  rework import jobs.xlsx --into my_log  your own spreadsheet\n"
        "  rework check my_log                    every fault at once\n\n"
        "Each command explains itself: rework COMMAND --help. Each duty has a guide in notebooks/guide/.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"rework-outcomes {__version__}")
    add = command_adder(parser.add_subparsers(dest="command", required=True, metavar="COMMAND"))
    add_log_commands(add)
    add_month_commands(add)
    add_counter_commands(add)
    add_evidence_commands(add)
    add_compare_command(add)
    add_verify_command(add)
    return parser


def _printable(message: object) -> str:
    """A message whose quoted names cannot steer the terminal."""
    return "".join(c if c.isprintable() or c == "\n" else f"\\x{ord(c):02x}" for c in str(message))


def _refuse_without_checkout(args: argparse.Namespace) -> None:
    """The pages are made from what lies beside the package, which a copy in site-packages lacks."""
    used = getattr(args, "from_checkout", False) or getattr(args, "page", None)
    if used and not ((PROJECT / "notebooks").is_dir() and DEMO.is_dir()):
        found = (
            f"'rework {args.command}' needs notebooks/ and data_demo/, which are not beside {Path(__file__).parent}."
        )
        raise ReworkError(found, todo="In the folder of this suite, install with --editable, as in its README.")


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line; return its exit status."""
    args = _parser().parse_args([hyphenated(text) for text in (sys.argv[1:] if argv is None else argv)])
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a letter shows its number instead
            stream.reconfigure(errors="backslashreplace")
    try:
        _refuse_without_checkout(args)
        refuse_unwritable_places(args)
        status: int = args.run(args)
    except ReworkError as error:
        print(f"rework: {_printable(error)}", file=sys.stderr)
        return CANNOT_RUN
    except BrokenPipeError:
        sys.stderr.close()  # the reader went away (for example `| head`); nothing is wrong
        return CANNOT_RUN
    except OSError as error:
        where = f" {_printable(error.filename)}" if error.filename else ""
        print(f"rework: cannot read or write{where}: {error.strerror}.", file=sys.stderr)
        return CANNOT_RUN
    except KeyboardInterrupt:
        print("rework: interrupted; nothing was changed.", file=sys.stderr)
        return 130
    return status
