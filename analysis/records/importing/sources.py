"""Source files to sheets. Sources are only ever read."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from analysis.errors import LogError
from analysis.records.importing.csv_file import csv_sheet
from analysis.records.importing.grid import Sheet
from analysis.records.importing.workbook import workbook_sheets

WORKBOOKS = (".xlsx", ".xlsm", ".ods")
TEXTS = (".csv", ".tsv", ".txt")


def _sheets_of(path: Path) -> list[Sheet]:
    ending = path.suffix.lower()
    if ending in WORKBOOKS:
        return workbook_sheets(path)
    if ending in TEXTS:
        return [csv_sheet(path)]
    todo = "Save it from your spreadsheet as .xlsx, .ods or CSV."
    rule = f"a file that ends in {', '.join((*WORKBOOKS, *TEXTS))}"
    raise LogError("not a kind of file that can be imported.", rule=rule, todo=todo, where=str(path))


def read_sources(paths: Sequence[Path]) -> list[Sheet]:
    """Read every sheet of every file; blank sheets are left out.

    Raises
    ------
    LogError
        If a file cannot be read, or nothing stands in any.
    """
    sheets: list[Sheet] = []
    for path in paths:
        try:
            sheets += [sheet for sheet in _sheets_of(Path(path)) if sheet.rows]
        except OSError as error:
            todo = "Close it in other programs and look at its name and permissions."
            raise LogError(f"cannot be opened ({error.strerror}).", todo=todo, where=str(path)) from None
    if not sheets:
        raise LogError("nothing stands in the file.", todo="Name a file with jobs.", where=str(paths[0]))
    return sheets
