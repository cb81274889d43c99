"""What a workbook's XML says that its reader does not: formulas without a value, error values, far-away cells.

Formats: ECMA-376 (SpreadsheetML) and OASIS OpenDocument 1.3; only the elements named here are looked at.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO
from xml.etree import ElementTree

from analysis.errors import LogError

MOST_BYTES = 1 << 30  # unpacked; more is a mistake or an attack
MOST_CELLS = 20_000_000  # the rectangle that a reader sets up for a sheet, blank cells included
_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


@dataclass
class Parts:
    """Cells that hold no usable value: sheet name to (row from 1, column from 0) to what stands there."""

    unread: dict[str, dict[tuple[int, int], str]] = field(default_factory=dict)


def _plain(tag: str) -> str:
    return tag.rpartition("}")[2]


def _elements(stream: IO[bytes], wanted: set[str]) -> Iterator[ElementTree.Element]:
    """Each finished element of a kind, forgotten afterwards so that a large sheet costs little memory."""
    for _, element in ElementTree.iterparse(stream, events=("end",)):
        if _plain(element.tag) in wanted:
            yield element
            element.clear()


def _place(reference: str) -> tuple[int, int]:
    match = _REFERENCE.fullmatch(reference)
    if not match:
        raise ValueError(f"cell name {reference[:20]!r}")
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - 64
    return int(match[2]), column - 1


def _refuse_far_cells(path: Path, sheet: str, rows: int, columns: int) -> None:
    if rows * columns > MOST_CELLS:
        raise LogError(
            f"sheet '{sheet}' reaches over {rows} rows and {columns} columns.",
            rule=f"a sheet of at most {MOST_CELLS} cells, blank ones between included",
            todo="Delete the stray cell far from the others, or save the sheet as CSV.",
            where=str(path),
        )


def _xlsx_sheets(archive: zipfile.ZipFile) -> dict[str, str]:
    """Sheet name to the part that holds it."""
    relations = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    targets = {item.get("Id", ""): item.get("Target", "") for item in relations}
    out = {}
    for item in ElementTree.fromstring(archive.read("xl/workbook.xml")).iter():
        if _plain(item.tag) != "sheet":
            continue
        identity = next((value for key, value in item.attrib.items() if _plain(key) == "id"), "")
        target = targets.get(identity, "")
        out[item.get("name", "")] = posixpath.normpath(posixpath.join("/xl", target)).lstrip("/")
    return out


def _xlsx_cells(path: Path, sheet: str, stream: IO[bytes]) -> dict[tuple[int, int], str]:
    unread = {}
    rows = columns = 0
    for cell in _elements(stream, {"c"}):
        children = {_plain(child.tag): child.text or "" for child in cell}
        if not children or not cell.get("r"):
            continue
        row, column = _place(cell.get("r", ""))
        rows, columns = max(rows, row), max(columns, column + 1)
        if cell.get("t") == "e":
            unread[row, column] = children.get("v", "an error value")
        elif "f" in children and not children.get("v") and "is" not in children:
            unread[row, column] = f"={children['f']}"
    _refuse_far_cells(path, sheet, rows, columns)
    return unread


def _attribute(element: ElementTree.Element, name: str) -> str:
    return next((value for key, value in element.attrib.items() if _plain(key) == name), "")


def _ods_cells(path: Path, stream: IO[bytes]) -> dict[str, dict[tuple[int, int], str]]:
    """Formulas without a value, and how far each table reaches."""
    out: dict[str, dict[tuple[int, int], str]] = {}
    for table in _elements(stream, {"table"}):
        name = _attribute(table, "name")
        unread = out.setdefault(name, {})
        rows = columns = row = 0
        for line in table.iter():
            if _plain(line.tag) != "table-row":
                continue
            column, filled = 0, False
            for cell in line:
                repeated = int(_attribute(cell, "number-columns-repeated") or 1)
                has_value = bool(_attribute(cell, "value-type"))
                if has_value or len(cell):
                    filled, columns = True, max(columns, column + repeated)
                elif formula := _attribute(cell, "formula"):
                    unread[row + 1, column] = formula
                column += repeated
            row += int(_attribute(line, "number-rows-repeated") or 1)
            rows = row if filled else rows
        _refuse_far_cells(path, name, rows, columns)
    return out


def look_inside(path: Path) -> Parts:
    """Look through a workbook's XML.

    Raises
    ------
    LogError
        If it is encrypted, unpacks to too much, or its cells lie too far apart.
    zipfile.BadZipFile, KeyError, ValueError, ElementTree.ParseError
        If it is no workbook; the caller words it.
    """
    with zipfile.ZipFile(path) as archive:
        if sum(item.file_size for item in archive.infolist()) > MOST_BYTES:
            todo = "Save the sheet with the jobs as CSV."
            raise LogError("the workbook unpacks to more than 1 GB.", todo=todo, where=str(path))
        names = set(archive.namelist())
        if "content.xml" in names:
            if "META-INF/manifest.xml" in names and b"encryption-data" in archive.read("META-INF/manifest.xml"):
                todo = "Take the password off and save it again."
                raise LogError("the workbook has a password.", todo=todo, where=str(path))
            with archive.open("content.xml") as stream:
                return Parts(_ods_cells(path, stream))
        parts = Parts()
        for sheet, part in _xlsx_sheets(archive).items():
            if part in names:
                with archive.open(part) as stream:
                    parts.unread[sheet] = _xlsx_cells(path, sheet, stream)
        return parts
