"""What the commands that make pages share: where things lie, which log, where the page goes."""

from __future__ import annotations

import argparse
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent
DEMO = PROJECT / "data_demo"
REPORTS = PROJECT / "reports"


def command_adder(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
) -> Callable[..., argparse.ArgumentParser]:
    """Make what adds a command: all of them explain themselves in the same order.

    Returns
    -------
    callable
        Takes the name, what runs it, one line that the README repeats, an example, what else one must know, and the
        guide of the duty; gives the command's parser.
    """

    def add(
        name: str,
        run: Callable[[argparse.Namespace], int],
        what: str,
        example: str,
        *,
        more: str = "",
        guide: str = "",
    ) -> argparse.ArgumentParser:
        about = "\n\n".join(textwrap.fill(part, 79) for part in (what, more) if part)
        beside = f"\n\nGuide: notebooks/guide/{guide}.md" if guide else ""
        command = commands.add_parser(
            name,
            help=what,
            description=about,
            epilog=f"Example:\n  {example}{beside}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        command.set_defaults(run=run)
        return command

    return add


def hyphenated(argument: str) -> str:
    """An option as the commands call it, also where it is typed with the underscores of its column."""
    option, equals, value = argument.partition("=")
    return option.replace("_", "-") + equals + value if option.startswith("--") else argument


def to_stderr(text: str) -> None:
    """Say something beside the result, so that the result alone can be piped on."""
    print(text, file=sys.stderr)


def log_argument(command: argparse.ArgumentParser, about: str = "folder that holds jobs.csv") -> None:
    """Add the log, which must be named."""
    command.add_argument("log", type=Path, metavar="LOG", help=about)


def needs_checkout(command: argparse.ArgumentParser) -> None:
    """Mark a command that uses notebooks/, data_demo/ or reports/, which a copy in site-packages lacks."""
    command.set_defaults(from_checkout=True)


def out_argument(command: argparse.ArgumentParser) -> None:
    """Add the folder of what a command publishes."""
    command.add_argument("--out", type=Path, default=REPORTS, metavar="FOLDER", help="where the page goes (reports/)")
    needs_checkout(command)


def page_arguments(command: argparse.ArgumentParser) -> None:
    """Add the log, which may be left out for the demo, and the folder of the page."""
    about = "folder that holds jobs.csv; without it, the demo of an invented workshop"
    command.add_argument("log", type=Path, nargs="?", metavar="LOG", help=about)
    out_argument(command)


def refuse_unwritable_places(args: argparse.Namespace) -> None:
    """Look at every place that a command is told to write to before it begins: afterwards its work would be lost.

    Raises
    ------
    ReworkError
        If a folder takes no file.
    """
    folders = [getattr(args, name, None) for name in ("out", "page")]
    files = [getattr(args, name, None) for name in ("csv", "plan_out", "recount_file")]
    # A device such as /dev/stdout is written to as it is.
    folders += [file.parent for file in files if file and not (file.exists() and not file.is_file())]
    if any(folders):
        from analysis.report.publishing import refuse_unwritable

        for folder in filter(None, folders):
            refuse_unwritable(folder)


def private_page(path: Path, code: str) -> str:
    """Where the page of one technician lies, and for whom."""
    return f"Private page written to {path}; it is for {code} alone."


def log_or_demo(args: argparse.Namespace) -> Path:
    """The log named, or the demo with a word that it is one."""
    if args.log is None:
        print("No log named: the demo log of an invented workshop.")
        return DEMO
    log: Path = args.log
    return log
