"""Workbooks (.xlsx, .xlsm, .ods): values read with calamine, never calculated anew."""

from __future__ import annotations

import datetime as dt
import zipfile
import zlib
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from analysis.errors import LogError
from analysis.records.importing.grid import Cell, Kind, Row, Sheet
from analysis.records.importing.workbook_parts import Parts, look_inside

_OLD = b"\xd0\xcf\x11\xe0"


def written(value: Any) -> Cell | None:
    """A value as the cell that shows it: 1 stays "1", never "1.0"; a day is an ISO date; None is blank."""
    if isinstance(value, str):
        return Cell(value) if value.strip() else None
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, int | float):
        return Cell(format(Decimal(f"{value:.15g}"), "f"), Kind.REAL)
    if isinstance(value, dt.datetime):
        midnight = value.time() == dt.time()
        return Cell(value.date().isoformat() if midnight else value.isoformat(" ", "minutes"), Kind.REAL)
    if isinstance(value, dt.date):
        return Cell(value.isoformat(), Kind.REAL)
    if isinstance(value, dt.time):
        return Cell(value.isoformat("seconds"))
    if isinstance(value, dt.timedelta):
        minutes, seconds = divmod(int(value.total_seconds()), 60)
        return Cell(f"{minutes // 60}:{minutes % 60:02}:{seconds:02}")
    return None


def _rows(values: Sequence[Sequence[Any]], unread: dict[tuple[int, int], str]) -> dict[int, Row]:
    rows: dict[int, dict[int, Cell]] = {}
    for number, line in enumerate(values, start=1):
        row = {at: cell for at, value in enumerate(line) if (cell := written(value)) is not None}
        if row:
            rows[number] = row
    for (number, at), text in unread.items():
        rows.setdefault(number, {}).setdefault(at, Cell(text, Kind.UNREAD))
    return dict(sorted(rows.items()))


def _guarded(path: Path) -> Parts:
    """Refuse what cannot be a readable workbook before anything reads it whole."""
    if path.read_bytes()[:4] == _OLD:
        todo = "Take the password off, or save it as .xlsx, .ods or CSV."
        raise LogError("the workbook has a password or is of the old kind.", todo=todo, where=str(path))
    try:
        return look_inside(path)
    except (
        zipfile.BadZipFile,
        KeyError,
        SyntaxError,
        ValueError,
        EOFError,
        NotImplementedError,
        RuntimeError,
        zlib.error,
    ) as error:
        todo = "Open it in your spreadsheet and save it again as .xlsx, .ods or CSV."
        raise LogError(f"the workbook is damaged or no workbook ({error}).", todo=todo, where=str(path)) from None


def workbook_sheets(path: Path) -> list[Sheet]:
    """Read every sheet that holds anything, hidden ones included. The file is opened for reading only.

    Raises
    ------
    LogError
        If it is damaged, has a password, or its cells lie too far apart to be read.
    """
    from python_calamine import CalamineWorkbook, SheetTypeEnum

    parts = _guarded(path)
    try:
        with CalamineWorkbook.from_path(str(path)) as book:
            names = [meta.name for meta in book.sheets_metadata if meta.typ == SheetTypeEnum.WorkSheet]
            sheets = [
                Sheet(
                    path.name,
                    name,
                    _rows(book.get_sheet_by_name(name).to_python(skip_empty_area=False), parts.unread.get(name, {})),
                )
                for name in names
            ]
    except BaseException as error:  # a panic inside the reader is no Exception
        if isinstance(error, KeyboardInterrupt | SystemExit | MemoryError):
            raise
        todo = "Open it in your spreadsheet and save it again as .xlsx, .ods or CSV."
        raise LogError(f"the workbook cannot be read ({error}).", todo=todo, where=str(path)) from None
    return [sheet for sheet in sheets if sheet.rows]
