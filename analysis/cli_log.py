"""The commands that bring in, write, check and explain a log: arguments only."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from analysis.cli_shared import log_argument, out_argument, to_stderr


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

        print(f"Page written to {publish_check(args.log, args.page, say=to_stderr)}", file=sys.stderr)
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


def add_log_commands(add: Callable[..., argparse.ArgumentParser]) -> None:
    """Add the commands about a log and its columns.

    Parameters
    ----------
    add : callable
        Makes a command from its name, what runs it, what it does and an example.
    """
    _add_import(add)
    blank = add(
        "blank-log",
        _blank_log,
        "Make empty tables, with settings and how to fill them.",
        "rework blank-log my_log",
        guide="bringing_in_your_log",
    )
    blank.add_argument("folder", type=Path, metavar="LOG", help="folder to make; existing files are never overwritten")
    _add_enter(add)
    _add_check(add)
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


def _add_import(add: Callable[..., argparse.ArgumentParser]) -> None:
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


def _add_enter(add: Callable[..., argparse.ArgumentParser]) -> None:
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


def _add_check(add: Callable[..., argparse.ArgumentParser]) -> None:
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
