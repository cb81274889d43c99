"""The mapping as a TOML file that people edit: read with tomllib, completed with tomlkit, which keeps their edits."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, Item, Table

from analysis.errors import SettingsError
from analysis.records.importing.code_help import with_code_lines
from analysis.records.importing.headings_guess import with_plain_words
from analysis.records.importing.mapping import ASKED, OPEN, SURE, ColumnMap, SheetMap
from analysis.records.importing.mapping_check import column_type_mistakes, sheet_mistakes, sheet_type_mistakes
from analysis.records.importing.proposal import Proposal, Remark, Remarks
from analysis.records.problems import visible

FILE = "import.toml"
ANSWERED = "answered"
_QUESTION = "# QUESTION: "
_HEAD = """\
 How the headings and words of a shop's spreadsheet become the log. Written by 'rework import'; edit it and run
 the same command again. A "?" is a question: put the answer in its place. Until then what it is about is left out.
   to      "table.column" of the log ('rework dictionary' explains them), "ignored", or "personal" (client data:
           neither taken over nor copied to not_placed.csv)
   values  what a word of the sheet means: a code or "blank"; one that says several things settles several columns:
           "declined - no donor" = "declined, jobs.decline_reason=no_donor". For a number: "~340" = "340"
   unit    unit of the numbers in the sheet;  dates  "day_first" or "month_first";  decimal  "comma" or "point"
   tidy    spaces in codes become hyphens
"""
_COLUMN_FIELDS = [field.name for field in fields(ColumnMap) if field.name != "values"]
_SHEET_FIELDS = ("name", "row", "processor_side", "own_donor", "work_before_test_1")


def _refuse(path: Path, mistakes: Sequence[str]) -> SettingsError:
    shown = "\n  ".join(mistakes[:20]) + (f"\n  … and {len(mistakes) - 20} more" if len(mistakes) > 20 else "")
    todo = "Mend these lines and run the command again; nothing was changed."
    return SettingsError(f"the mapping has mistakes:\n  {shown}", todo=todo, where=str(path))


def _where(sheet: str, heading: str = "") -> str:
    return f"sheet '{visible(sheet)}'" + (f", heading '{visible(heading)}'" if heading else "")


def _sheet(given: dict[str, Any]) -> SheetMap:
    columns = tuple(
        ColumnMap(**{key: value for key, value in column.items() if key != "confidence"})
        for column in given.get("column", [])
    )
    rest = {key: given[key] for key in (*_SHEET_FIELDS, "fixed") if key in given}
    columns = tuple(with_plain_words(column, rest["row"]) for column in columns)
    return SheetMap(**rest, columns=columns)


def parse_mapping(text: str, path: Path) -> list[SheetMap]:
    """Read a mapping.

    Raises
    ------
    SettingsError
        With every mistake: sheet, heading, key, what is allowed.
    """
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        hint = 'every answer stands between quotation marks, as in key = "answer"'
        raise _refuse(path, [f"not TOML: {error}; {hint}"]) from None
    sheets = given.get("sheet", [])
    mistakes = [f"{key}: not a key of the mapping" for key in given if key != "sheet"]
    if not isinstance(sheets, list):
        raise _refuse(path, ["sheet: must be written [[sheet]]"])
    for sheet in sheets:
        name = str(sheet.get("name", "")) if isinstance(sheet, dict) else ""
        mistakes += [f"{_where(name)}: {text}" for text in sheet_type_mistakes(sheet)]
        columns = sheet.get("column", []) if isinstance(sheet, dict) else []
        for column in columns if isinstance(columns, list) else []:
            heading = str(column.get("heading", "")) if isinstance(column, dict) else ""
            mistakes += [f"{_where(name, heading)}: {text}" for text in column_type_mistakes(column)]
    if mistakes:
        raise _refuse(path, mistakes)
    made = [_sheet(sheet) for sheet in sheets]
    for sheet_map in made:
        mistakes += [f"{_where(sheet_map.name, h)}: {text}" for h, text in sheet_mistakes(sheet_map)]
    names = [sheet_map.name for sheet_map in made]
    mistakes += [f"{_where(name)}: described more than once" for name in sorted(set(names)) if names.count(name) > 1]
    if mistakes:
        raise _refuse(path, mistakes)
    return made


def _item(value: Any, remark: Remark | None) -> Item:
    item = tomlkit.item(value)
    if remark:
        said = visible(remark.text, 300)
        item.comment(
            f"{_QUESTION.removeprefix('# ')}{said}" if remark.confidence == ASKED and value == OPEN else f"{said}"
        )
    return item


def _put(table: Any, key: str, value: Any, remark: Remark | None) -> None:
    """Set a key where it is not set so already; a question keeps its place and its comment is renewed."""
    if key not in table or table[key] != value:
        table[key] = _item(value, remark)


def _column_table(table: Any, column: ColumnMap, remarks: Mapping[tuple[str, str], Remark]) -> None:
    """Write a column's keys; keys that are blank are left out."""
    heading = column.heading
    for key in _COLUMN_FIELDS:
        value = getattr(column, key)
        if value not in ("", 0, False) or key in table:
            _put(table, key, value, remarks.get((heading, key)) if key != "to" or value == OPEN else None)
    about = remarks.get((heading, "to"))
    if about:
        table["confidence"] = _item(about.confidence, Remark(SURE, about.text) if about.confidence == SURE else None)
    if column.values:
        if "values" not in table:
            table["values"] = tomlkit.table()
        for text, code in column.values.items():
            maybe = remarks.get((heading, f"values.{text}"))
            _put(table["values"], text, code, maybe)


def _fixed_table(table: Any, fixed: Mapping[str, str], remarks: Remarks) -> None:
    """Write what holds for every row; a question that a column answers by now goes."""
    for name in [name for name, said in table.get("fixed", {}).items() if said == OPEN and name not in fixed]:
        del table["fixed"][name]
    if fixed and "fixed" not in table:
        table["fixed"] = tomlkit.table()
    for name, value in fixed.items():
        _put(table["fixed"], name, value, remarks.get(("", f"fixed.{name}")))
    if "fixed" in table and not table["fixed"]:
        del table["fixed"]


def _sheet_table(table: Any, proposal: Proposal) -> None:
    sheet, remarks = proposal.sheet, proposal.remarks
    for key in _SHEET_FIELDS:
        value = getattr(sheet, key)
        if value or key in table:
            _put(table, key, value, remarks.get(("", key)))
    _fixed_table(table, sheet.fixed, remarks)
    if not sheet.columns:
        return
    if "column" not in table:
        table["column"] = tomlkit.aot()
    there = {str(column["heading"]): column for column in table["column"]}
    for column in sheet.columns:
        if column.heading in there:
            _column_table(there[column.heading], column, remarks)
        else:
            new: Table = tomlkit.table()
            _column_table(new, column, remarks)
            table["column"].append(new)


def completed_mapping(text: str, proposals: Sequence[Proposal]) -> str:
    """The mapping's text with what the proposals say anew; what a person wrote in it stays.

    Parameters
    ----------
    text : str
        The file so far; blank for a first mapping.
    proposals : sequence of Proposal
        One a sheet.
    """
    document = tomlkit.parse(text) if text.strip() else tomlkit.document()
    if not text.strip():
        for line in _HEAD.splitlines():
            document.add(tomlkit.comment(line.removeprefix(" ")))
        document.add(tomlkit.nl())
    if "sheet" not in document:
        document["sheet"] = tomlkit.aot()
    sheets: AoT = document["sheet"]
    there = {str(sheet["name"]): sheet for sheet in sheets}
    for proposal in proposals:
        if proposal.sheet.name in there:
            _sheet_table(there[proposal.sheet.name], proposal)
        else:
            new = tomlkit.table()
            _sheet_table(new, proposal)
            sheets.append(new)
    _forget_answered(document)
    return with_code_lines(tomlkit.dumps(document))


def _forget_answered(document: tomlkit.TOMLDocument) -> None:
    """Take the QUESTION off every key that has its answer."""
    for sheet in document["sheet"]:
        columns = list(sheet.get("column", []))
        for column in columns:
            if column.get("confidence") == ASKED and column.get("to") != OPEN:
                column["confidence"] = ANSWERED
        values = [column["values"] for column in columns if "values" in column]
        for table in (sheet, sheet.get("fixed", {}), *columns, *values):
            for item in table.values():
                if isinstance(item, Item) and item.trivia.comment.startswith(_QUESTION) and item.unwrap() != OPEN:
                    item.trivia.comment = item.trivia.comment_ws = ""
