"""The command ``rework``: arguments only; the work is done elsewhere in the package."""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence
from pathlib import Path

from analysis import __version__
from analysis.cli_compare import add_compare_command
from analysis.cli_evidence import add_evidence_commands
from analysis.cli_month import add_month_command
from analysis.cli_shared import (
    DEMO,
    PROJECT,
    REPORTS,
    command_adder,
    hyphenated,
    log_argument,
    log_or_demo,
    needs_checkout,
    out_argument,
    page_arguments,
    private_page,
    refuse_unwritable_places,
)
from analysis.cli_verify import add_verify_command
from analysis.errors import ReworkError

CANNOT_RUN = 2


def _to_stderr(text: str) -> None:
    print(text, file=sys.stderr)


def _check(args: argparse.Namespace) -> int:
    from analysis.questions.contrasts import contrasts_for
    from analysis.records.check import check_log
    from analysis.records.log import FILES
    from analysis.records.problems import as_csv, as_json
    from analysis.records.settings import examine_settings
    from analysis.records.whole_texts import export_text

    report = check_log(args.log)
    if args.csv:
        export_text(as_csv(report.problems), args.csv, args.log, FILES)
    if args.page:
        from analysis.report.check_page import publish_check

        print(f"Page written to {publish_check(args.log, args.page, say=_to_stderr)}", file=sys.stderr)
    if args.json:
        print(as_json(report.problems))
    else:
        for line in report.lines():
            print(line)
        print(report.text)
    contrasts_for(examine_settings(args.log)[0].extra_contrasts)  # last, so that everything else has been told
    return report.exit_status


def _blank_log(args: argparse.Namespace) -> int:
    from analysis.records.blank import blank_log

    for path in blank_log(args.folder):
        print(path)
    return 0


def _import(args: argparse.Namespace) -> int:
    from analysis.records.check import check_log
    from analysis.records.importing.run import import_files
    from analysis.records.importing.saying import import_lines

    done = import_files(args.files, args.into, args.mapping, args.apply_changes)
    report = check_log(args.into)
    for line in import_lines(done, report):
        print(line)
    return 1 if done.questions else report.exit_status


def _enter(args: argparse.Namespace) -> int:
    import datetime as dt

    from analysis.records.entering.command import enter

    ways = {"settings": args.set, "presets": args.preset, "answers": args.answers, "write_presets": args.write_presets}
    enter(args.log, args.job, today=dt.date.today(), read_line=input, say=print, **ways)
    return 0


def _column(args: argparse.Namespace) -> int:
    from analysis.records.describe import describe_column

    print(describe_column(args.name))
    return 0


def _table_schema(args: argparse.Namespace) -> int:
    from analysis.records.table_schema import write_schemas

    for path in write_schemas(args.folder):
        print(path)
    return 0


def _dictionary(args: argparse.Namespace) -> int:
    from analysis.report.dictionary_page import publish_dictionary

    print(f"Dictionary written to {publish_dictionary(args.out, say=print)}")
    return 0


def _review(args: argparse.Namespace) -> int:
    import datetime as dt

    from analysis.report.monthly import publish_review

    path = publish_review(log_or_demo(args), args.month, args.out, say=print, today=dt.date.today())
    print(f"Review written to {path}")
    return 0


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
        note=_to_stderr,
    )
    return 0


def _assess_flags(assess: argparse.ArgumentParser) -> None:
    """A flag for every column known before work, named as in the dictionary."""
    from analysis.records.dictionary import DONORS, JOBS, KnownAt, Role

    early = (KnownAt.INTAKE, KnownAt.ASSESSMENT)
    of_job = [c for c in JOBS.columns if c.role in (Role.PREDICTOR, Role.MONEY) and c.known_at in early]
    of_donor = [DONORS[name] for name in ("donor_age_years", "known_good", "prior_installs_n")]
    log_argument(assess)
    for column in (*of_job, *of_donor):
        about = f"{column.help} Allowed: {column.rule}.".replace("%", "%%")
        donor = "Of a donor you could use, shown as an option. " if column in of_donor else ""
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
    assess.set_defaults(facts=[*(c.name for c in (*of_job, *of_donor)), "start_share"])


def _counter(args: argparse.Namespace) -> int:
    from analysis.report.counter_pages import publish_counter, publish_guesses

    log = log_or_demo(args)
    if args.technician:
        print(private_page(publish_guesses(log, args.technician, args.out, say=print), args.technician))
        return 0
    print(f"Page written to {publish_counter(log, args.start_share, args.out, say=print)}")
    return 0


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

    importing = add(
        "import",
        _import,
        "Bring your own spreadsheet into a log; what is unsure is asked.",
        "rework import jobs.xlsx --into my_log",
        more="What each heading and word means is proposed and written to import.toml in the log; what is unsure is a"
        ' "?" there and a question here. Put the answer in its place and run the same command again. Run it each month'
        " with the new sheet: it adds what is new and shows what changed. What could not be placed stands in"
        " not_placed.csv with the reason. Exit status 0 all placed or decided and the log clean, 1 questions or faults"
        " are left, 2 cannot run.",
        guide="bringing_in_your_log",
    )
    importing.add_argument("files", type=Path, nargs="+", metavar="FILE", help=".xlsx, .ods or CSV; only ever read")
    importing.add_argument(
        "--into", type=Path, required=True, metavar="LOG", help="folder of the log; made or added to"
    )
    importing.add_argument(
        "--mapping", type=Path, metavar="FILE", help="what headings and words mean, to edit (LOG/import.toml)"
    )
    importing.add_argument(
        "--apply-changes",
        nargs="?",
        const=True,
        default=False,
        type=lambda codes: frozenset(codes.split(",")),
        metavar="CODE,CODE",
        help="also set cells of the log that the sheet says otherwise: all, or those of the jobs named",
    )

    blank = add(
        "blank-log",
        _blank_log,
        "Make empty tables, with settings and how to fill them.",
        "rework blank-log my_log",
        guide="bringing_in_your_log",
    )
    blank.add_argument("folder", type=Path, metavar="LOG", help="folder to make; existing files are never overwritten")

    enter = add(
        "enter",
        _enter,
        "Enter a job by questions at the bench, or continue one.",
        "rework enter my_log\n  rework enter my_log --job J-0701 --preset 'processor, whole move' "
        "--set boot_tests.boot_result=short",
        more="An entry is checked first and written whole or not at all; after a fault only the answers at fault are"
        " asked again. The files before it stay as NAME.csv.previous. Flags do the same for scripts.",
        guide="bringing_in_your_log",
    )
    log_argument(enter)
    enter.add_argument("--job", default="", metavar="CODE", help="the job; 'next' with flags for the next free code")
    enter.add_argument(
        "--set",
        action="append",
        default=[],
        metavar="TABLE.COLUMN=VALUE",
        help="a cell; TABLE.2.COLUMN for a second row",
    )
    enter.add_argument("--preset", action="append", default=[], metavar="NAME", help="a preset of presets.toml")
    enter.add_argument("--answers", type=Path, metavar="FILE", help="enter answers that could not be written before")
    enter.add_argument("--write-presets", action="store_true", help="make a presets.toml to fill, and nothing else")

    check = add(
        "check",
        _check,
        "List every fault at once: file, line, job, column, rule, what to do.",
        "rework check my_log\n  rework check my_log --page reports",
        more="Faults come first, like warnings in one line. Your files are only read. Exit status 0 clean, 1 faults, 2"
        " cannot run.",
        guide="bringing_in_your_log",
    )
    log_argument(check)
    check.add_argument("--json", action="store_true", help="print the faults as JSON instead of lines")
    check.add_argument("--csv", type=Path, metavar="FILE", help="also write the faults to this CSV file")
    check.add_argument("--page", type=Path, metavar="FOLDER", help="also make a page of it, each fault with its row")

    column = add(
        "column", _column, "Explain one column: what it means, what it may hold.", "rework column pad_grade_found"
    )
    column.add_argument("name", metavar="COLUMN", help="heading of the column")

    dictionary = add("dictionary", _dictionary, "Explain all columns, as a page.", "rework dictionary")
    out_argument(dictionary)

    schema = add(
        "table-schema",
        _table_schema,
        "Write the columns as Table Schema files, for other validators.",
        "rework table-schema schemas",
        more="Table Schema is an open standard.",
    )
    schema.add_argument("folder", type=Path, metavar="FOLDER", help="where the files go")

    review = add(
        "review",
        _review,
        "Make the monthly review, one HTML page.",
        "rework review my_log --month 2024-09",
        more="Without --month the latest month that is over is taken: the log has an entry of its last day or later, or"
        " it is the month before today and the log's last entry lies in it. Leave review-YYYY-MM.json beside the page:"
        " the next review in the same folder reads it and says what became of what was to be watched.",
        guide="before_the_monthly_meeting",
    )
    page_arguments(review)
    review.add_argument("--month", default="", metavar="YYYY-MM", help="without it, the latest complete month")
    add_month_command(add)

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
