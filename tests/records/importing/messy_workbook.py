"""An invented, messy workbook of a workshop that does not exist, as .xlsx, .ods and CSV.

Run ``python -m tests.records.importing.messy_workbook`` to write the three forms beside this file again; the same
bytes come out every time. No job, client, technician or donor in it is real.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import os
import random
import re
import zipfile
from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import tomlkit

HERE = Path(__file__).parent
SEED = 20250317
JOBS_N = 72
TITLE = "Lantern Street Bench (invented) – job list, all data made up"


class Formula(str):
    """A formula that nobody has calculated: without a stored value in the workbooks."""


Value = str | int | float | dt.date | None

HEADINGS = (
    "Job no",
    "Date in",
    "Client",
    "Device",
    "Board",
    "Colour",
    "Device age (months)",
    "Damage",
    "Worked on before?",
    "Glue",
    "Taken?",
    "Why declined",
    "Guess %",
    "Tech",
    "Donor no",
    "CPU pads lost",
    "CPU clean passes",
    "NAND clean passes",
    "NAND pads lost",
    "CPU install temp (°F)",
    "CPU removal temp (°F)",
    "Test 1 date",
    "Test 1 result",
    "Test 1 hours",
    "Test 2 result",
    "Test 2 date",
    "Bench time (min)",
    "Final result",
    "Date out",
    "Reason of falure",
    "How sure",
    "Lost for good",
    "Fee",
    "Shelf",
    "Notes",
)
_DAMAGE = ("dropped", "Water", "water damage", "bent", "Burnt", "surge", "cat")
_FAILED = ("boot loop", "dead", "short", "no start")


def _day(day: dt.date, rng: random.Random) -> Value:
    """A date as four people would have typed it."""
    kind = rng.randrange(4)
    if kind == 0:
        return day
    return (day.strftime("%d/%m/%Y"), day.isoformat(), day.strftime("%d %b %Y"))[kind - 1]


def _row(number: int, rng: random.Random) -> dict[str, Value]:
    came = dt.date(2024, 1, 8) + dt.timedelta(days=5 * number + rng.randrange(4))
    row: dict[str, Value] = {
        "Job no": f"{number:03}",
        "Date in": _day(came, rng),
        "Client": f"Client {number}",
        "Device": rng.choice(("phone", "Phone", "mobile", "Tablet")),
        "Board": rng.choice(("A12", "A14", "B2")),
        "Colour": rng.choice(("black", "white", None)),
        "Device age (months)": rng.choice((12, 18, 24, 30, 36, None)),
        "Damage": rng.choice(_DAMAGE) if number > 6 else _DAMAGE[number % 6],
        "Worked on before?": rng.choice(("No", "no", "other shop", "?", None)),
        "Glue": rng.choice(("none", "corners", "full", None)),
    }
    if number % 12 == 5:
        return row | {"Taken?": "No", "Why declined": rng.choice(("no donor", "too expensive"))}
    row |= {"Taken?": "Yes", "Guess %": rng.choice((40, 60, 70, 80, "n/a")), "Tech": rng.choice(("Mira", "Tomas"))}
    row |= {"Donor no": f"DB {number:02}", "Fee": rng.choice(("€600", "€ 750", 800, None))}
    if number > JOBS_N - 4:
        return row | {"Final result": "in progress"}
    return row | _work(came, rng)


def _work(came: dt.date, rng: random.Random) -> dict[str, Value]:
    lost = rng.choice((0, 0, 0, 0, 2, 5))
    first = rng.random() < (0.7 if not lost else 0.25)
    second = not first and rng.random() < 0.4
    row: dict[str, Value] = {
        "CPU pads lost": lost,
        "CPU clean passes": rng.choice((1, 2, 2, 3)),
        "NAND clean passes": rng.choice((1, 2, None)),
        "NAND pads lost": rng.choice((0, 0, None)),
        "CPU install temp (°F)": rng.choice((626, 644, 662, None)),
        "CPU removal temp (°F)": rng.choice((680, 698, None)),
        "Test 1 date": came + dt.timedelta(days=6),
        "Test 1 result": rng.choice(("OK", "boots", "Full boot")) if first else rng.choice(_FAILED),
        "Test 1 hours": rng.choice(("1,5", "2", "2,5", None)),
        "Test 2 result": None if first else ("OK" if second else rng.choice((*_FAILED, None))),
        "Bench time (min)": rng.choice((180, 240, 315, 390, "6:30")),
        "Final result": "Recovered" if first or second else "failed",
        "Date out": _day(came + dt.timedelta(days=9 + rng.randrange(5)), rng),
        "Shelf": rng.choice(("A1", "B2", None)),
        "Notes": rng.choice(("", "=SUM(A1:A2)", "sent by post; ask before more heat", None)) or None,
    }
    if row["Test 2 result"] and (day := came + dt.timedelta(days=7)).day <= 12:
        row["Test 2 date"] = day.strftime("%d/%m/%Y")  # no such date settles which number is the month
    if first or second:
        return row
    cause = {"Reason of falure": "pads torn" if lost else "bad joint", "How sure": rng.choice(("seen", "likely"))}
    return row | cause | {"Lost for good": rng.choice(("yes", "no"))}


def jobs_sheet() -> list[list[Value]]:
    """Titles, a blank row and column, headings, jobs with mistakes between, a totals row and notes below."""
    rng = random.Random(SEED)
    rows = [_row(number, rng) for number in range(1, JOBS_N + 1)]
    rows[20]["Date in"] = "99/99/2024"
    rows[30]["CPU pads lost"] = "some"
    rows[40]["Fee"] = "ask"
    body: list[list[Value]] = [[None, *(row.get(name) for name in HEADINGS)] for row in rows]
    body.insert(10, list(body[9]))  # the same row again
    body.insert(40, [None] * (len(HEADINGS) + 1))
    other = list(body[50])
    other[HEADINGS.index("Damage") + 1] = "dropped" if other[HEADINGS.index("Damage") + 1] != "dropped" else "bent"
    body.insert(51, other)  # one job code, two stories
    nameless: list[Value] = [None] * (len(HEADINGS) + 1)
    nameless[2], nameless[HEADINGS.index("Damage") + 1] = dt.date(2024, 5, 2), "Water"
    total: list[Value] = [None] * (len(HEADINGS) + 1)
    total[1], total[HEADINGS.index("Bench time (min)") + 1] = "Total", Formula("SUM(A1:A9)")
    note: list[Value] = [None, "prices without tax; ask the owner"]
    return [[None, TITLE], [None, "since January"], [], [None, *HEADINGS], *body, nameless, total, [], [], note]


def donors_sheet() -> list[list[Value]]:
    """A row a donor board."""
    rng = random.Random(SEED + 1)
    rows: list[list[Value]] = [["Donor no", "Age", "Tested", "Lot"]]
    for number in range(1, JOBS_N + 1):
        age = rng.choice((1, 2, 2.5, 3, None))
        rows.append(
            [f"DB {number:02}", age, rng.choice(("fully tested", "current", "untested")), rng.choice(("L-1", "L-2"))]
        )
    return rows


SHEETS = {"Jobs": jobs_sheet, "Donors": donors_sheet}


def _zip(parts: dict[str, str]) -> bytes:
    """A zip with fixed times, so that the same content is the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, text in parts.items():
            item = zipfile.ZipInfo(name, (2025, 1, 1, 0, 0, 0))
            item.compress_type = zipfile.ZIP_STORED if name == "mimetype" else zipfile.ZIP_DEFLATED
            item.external_attr = 0o644 << 16
            archive.writestr(item, text)
    return out.getvalue()


def xlsx_bytes(sheets: dict[str, list[list[Value]]]) -> bytes:
    """A workbook written by openpyxl, its parts packed again with fixed times."""
    os.environ["OPENPYXL_LXML"] = "False"  # where lxml is installed openpyxl would write other XML
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    book.properties.created = book.properties.modified = dt.datetime(2025, 1, 1)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for number, row in enumerate(rows, start=1):
            for at, value in enumerate(row, start=1):
                if value is not None:
                    cell = sheet.cell(number, at, f"={value}" if isinstance(value, Formula) else value)
                    if isinstance(value, str):
                        cell.data_type = "f" if isinstance(value, Formula) else "s"  # "=SUM" may be a text
    raw = io.BytesIO()
    book.save(raw)
    with zipfile.ZipFile(raw) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    parts["docProps/core.xml"] = _without_times(parts["docProps/core.xml"])
    return _zip(parts)


def _without_times(text: str) -> str:
    return re.sub(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", "2025-01-01T00:00:00Z", text)


_ODS_TYPE = "application/vnd.oasis.opendocument.spreadsheet"
_NAMES = {name: f"urn:oasis:names:tc:opendocument:xmlns:{name}:1.0" for name in ("office", "table", "text")}


def _ods_cell(value: Value) -> str:
    if value is None:
        return "<table:table-cell/>"
    text = escape(str(value))
    if isinstance(value, Formula):
        return f'<table:table-cell table:formula="of:={text}"/>'
    if isinstance(value, dt.date):
        kind = f'office:value-type="date" office:date-value="{value.isoformat()}"'
    elif isinstance(value, int | float):
        kind = f'office:value-type="float" office:value="{value}"'
    else:
        kind = 'office:value-type="string"'
    return f"<table:table-cell {kind}><text:p>{text}</text:p></table:table-cell>"


def ods_bytes(sheets: dict[str, list[list[Value]]]) -> bytes:
    """The smallest OpenDocument workbook that holds the sheets."""
    tables = []
    for name, rows in sheets.items():
        lines = "".join(
            f"<table:table-row>{''.join(map(_ods_cell, row)) or _ods_cell(None)}</table:table-row>" for row in rows
        )
        tables.append(f"<table:table table:name={quoteattr(name)}>{lines}</table:table>")
    spaces = " ".join(f'xmlns:{name}="{urn}"' for name, urn in _NAMES.items())
    body = f"<office:body><office:spreadsheet>{''.join(tables)}</office:spreadsheet></office:body>"
    content = (
        f'<?xml version="1.0"?><office:document-content {spaces} office:version="1.3">{body}</office:document-content>'
    )
    space = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
    entry = f'<m:file-entry m:full-path="/" m:media-type="{_ODS_TYPE}"/>'
    entry += '<m:file-entry m:full-path="content.xml" m:media-type="text/xml"/>'
    manifest = f'<?xml version="1.0"?><m:manifest xmlns:m="{space}" m:version="1.3">{entry}</m:manifest>'
    return _zip({"mimetype": _ODS_TYPE, "content.xml": content, "META-INF/manifest.xml": manifest})


def csv_bytes(rows: list[list[Value]]) -> bytes:
    """One sheet as CSV with semicolons and a byte-order mark, as spreadsheets of many countries write it."""
    out = io.StringIO()
    csv.writer(out, delimiter=";").writerows([["" if value is None else value for value in row] for row in rows])
    return out.getvalue().encode("utf-8-sig")


# What the owner of this shop answers to the questions: sheet, heading (blank: the sheet), key, answer.
ANSWERS = (
    ("Jobs", "", "processor_side", "lower"),
    ("Jobs", "", "work_before_test_1", "yes"),
    ("Jobs", "Colour", "to", "ignored"),
    ("Jobs", "Damage", "values.cat", "drop"),
    ("Jobs", "Tech", "values.Mira", "T1"),
    ("Jobs", "Tech", "values.Tomas", "T2"),
    ("Jobs", "CPU pads lost", "values.some", "blank"),
    ("Jobs", "Fee", "values.ask", "blank"),
    ("Jobs", "Test 1 result", "values.OK", "data_readable"),
    ("Jobs", "Test 1 result", "values.boots", "data_readable"),
    ("Jobs", "Test 1 result", "values.Full boot", "data_readable"),
    ("Jobs", "Test 1 result", "values.dead", "no_current"),
    ("Jobs", "Test 1 result", "values.no start", "current_no_start"),
    ("Jobs", "Test 2 date", "dates", "day_first"),
    ("Jobs", "Reason of falure", "to", "jobs.failure_cause"),
    ("Donors", "Age", "unit", "years"),
)


def answer(mapping: Path, answers: Sequence[tuple[str, str, str, str]] = ANSWERS) -> None:
    """Put answers into a mapping file, as its owner would with an editor."""
    document = tomlkit.parse(mapping.read_text(encoding="utf-8"))
    for sheet, heading, key, said in answers:
        table = next(item for item in document["sheet"] if item["name"] == sheet)
        if heading:
            table = next(item for item in table["column"] if item["heading"] == heading)
        parent, _, name = key.partition(".")
        place, last = (table[parent], name) if name else (table, parent)
        assert place[last] == "?", f"{sheet} {heading} {key} is no question"
        place[last] = said
    mapping.write_text(tomlkit.dumps(document), encoding="utf-8")


def write(folder: Path) -> list[Path]:
    """Write all forms."""
    sheets = {name: make() for name, make in SHEETS.items()}
    files = {"messy_workbook.xlsx": xlsx_bytes(sheets), "messy_workbook.ods": ods_bytes(sheets)}
    files |= {f"{name}.csv": csv_bytes(rows) for name, rows in sheets.items()}
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return [folder / name for name in files]


if __name__ == "__main__":
    for path in write(HERE):
        print(path.name, path.stat().st_size)
