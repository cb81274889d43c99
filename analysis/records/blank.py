"""A ready-to-fill log folder, derived from the dictionary."""

from __future__ import annotations

from pathlib import Path

from analysis.errors import LogError
from analysis.records.describe import column_text
from analysis.records.dictionary import TABLES
from analysis.records.settings import FILE, settings_file

GUIDE = "HOW_TO_FILL.txt"


def guide_text() -> str:
    """How to fill the files: what each column is, in the order of the files."""
    lines = [
        "How to fill this log",
        "",
        "At the bench: rework enter THIS_FOLDER asks for one job at a time; --write-presets keeps your usual settings.",
        "Or open the .csv files in any spreadsheet or text editor and save them as CSV again. One row a thing; leave",
        "blank what you do not know. Only jobs.csv is needed, and in it only the columns marked 'required'.",
        "Never write a client's name, telephone or serial number anywhere. Then run: rework check THIS_FOLDER",
        "",
        "What is worth writing down, and what for:",
        "  first_boot_result or boot_tests.csv   first-boot rate; further attempts need boot_tests.csv",
        "  bench_hours_so_far in boot_tests.csv  how many bench hours it takes until a board boots",
        "  chip_sides.csv                        cleaning passes, pads lost and where",
        "  heat_steps.csv                        temperatures, where somebody typed them",
        "  donors.csv                            donor age and lots",
        "  failure_cause and cause_evidence      what failed, and how sure anyone is of it",
        "",
    ]
    for table in TABLES:
        lines += [f"{table.file}: one row for {table.what}", ""]
        lines += [f"  {line}" for column in table.columns for line in column_text(column).splitlines()]
        lines.append("")
    return "\n".join(lines)


def blank_log(folder: Path) -> list[Path]:
    """Write empty tables with headings, commented settings and a guide.

    Returns
    -------
    list of Path
        The files made.

    Raises
    ------
    LogError
        If one of the files exists already, or the folder cannot be made.
    """
    folder = Path(folder)
    files = {table.file: ",".join(table.names) + "\n" for table in TABLES}
    files |= {FILE: settings_file(), GUIDE: guide_text()}
    there = [name for name in files if (folder / name).exists()]
    if there:
        todo = "Choose a new folder name; nothing was written."
        raise LogError(f"{folder} already holds {', '.join(there)}.", rule="Nothing is overwritten.", todo=todo)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise LogError(f"{folder} cannot be written: {error.strerror}.", todo="Choose another folder.") from None
    return [folder / name for name in files]
