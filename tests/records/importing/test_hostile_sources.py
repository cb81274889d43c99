"""Hostile and odd files: a clear error or a full account, never a traceback, never a lost cell."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import zipfile

import openpyxl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from analysis.cli import main
from analysis.errors import LogError, ReworkError
from analysis.records.importing.csv_file import csv_sheet
from analysis.records.importing.sources import read_sources
from analysis.records.importing.workbook import workbook_sheets, written
from analysis.records.importing.workbook_parts import MOST_CELLS
from tests.records.importing.messy_workbook import HERE, ods_bytes, xlsx_bytes
from tests.records.importing.sheets import HEAD, ROWS, aside, cells, run, sheet, with_column


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1.0, "1"),
        (7, "7"),
        (1.5, "1.5"),
        (0.1 + 0.2, "0.3"),
        (1e21, "1000000000000000000000"),
        (1e-7, "0.0000001"),
        (True, "yes"),
        ("007", "007"),
        (dt.date(2024, 3, 2), "2024-03-02"),
        (dt.datetime(2024, 3, 2), "2024-03-02"),
        (dt.datetime(2024, 3, 2, 14, 30), "2024-03-02 14:30"),
        (dt.timedelta(hours=30), "30:00:00"),
        (dt.time(6, 30), "06:30:00"),
    ],
)
def test_values_are_read_as_written(value, text):
    cell = written(value)
    assert cell is not None
    assert cell.text == text


def test_rows_and_columns_keep_their_numbers_in_workbooks(tmp_path):
    rows = [[], [None, None, "Job"], [], [None, None, "007"]]
    for name, make in (("a.xlsx", xlsx_bytes), ("a.ods", ods_bytes)):
        (tmp_path / name).write_bytes(make({"S": rows, "Empty": []}))
        (found,) = workbook_sheets(tmp_path / name)
        assert [(number, at, cell.text) for number, row in found.rows.items() for at, cell in row.items()] == [
            (2, 2, "Job"),
            (4, 2, "007"),
        ], name


def damaged(name: str) -> bytes:
    good = (HERE / "messy_workbook.xlsx").read_bytes()
    if name == "cut":
        return good[: len(good) // 2]
    if name == "no parts":
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("hello.txt", "hello")
        return out.getvalue()
    if name == "broken xml":
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(out, "w") as new:
            for part in old.namelist():
                new.writestr(part, old.read(part)[:200] if "sheet1" in part else old.read(part))
        return out.getvalue()
    return {"empty": b"", "text": b"Job,Date\n", "old kind or password": b"\xd0\xcf\x11\xe0" + b"\0" * 600}[name]


@pytest.mark.parametrize("name", ["cut", "no parts", "broken xml", "empty", "text", "old kind or password"])
@pytest.mark.parametrize("ending", [".xlsx", ".ods"])
def test_damaged_and_locked_workbooks_are_refused_in_words(tmp_path, capsys, name, ending):
    path = tmp_path / f"jobs{ending}"
    path.write_bytes(damaged(name))
    assert main(["import", str(path), "--into", str(tmp_path / "log")]) == 2
    said = capsys.readouterr().err
    assert "jobs" + ending in said
    assert "What to do: " in said
    assert "Traceback" not in said
    assert not (tmp_path / "log").exists()


def test_an_encrypted_ods_is_told_by_its_manifest(tmp_path):
    path = tmp_path / "jobs.ods"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("content.xml", b"\x00\x01\x02")
        archive.writestr("META-INF/manifest.xml", "<m><encryption-data/></m>")
    with pytest.raises(LogError, match="has a password"):
        read_sources([path])


def test_a_cell_far_away_is_refused_before_it_fills_the_memory(tmp_path):
    book = openpyxl.Workbook()
    book.active["A1"] = "Job no"
    book.active["XFD1048576"] = "stray"
    path = tmp_path / "far.xlsx"
    book.save(path)
    with pytest.raises(LogError, match=f"at most {MOST_CELLS} cells"):
        read_sources([path])


def test_entity_bombs_do_not_unfold(tmp_path):
    bomb = '<?xml version="1.0"?><!DOCTYPE b [<!ENTITY a "xxxxxxxxxx">'
    bomb += "".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">' for n in range(12)) + "]><b>&m;</b>"
    path = tmp_path / "bomb.ods"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", bomb)
    with pytest.raises(LogError, match="damaged"):
        read_sources([path])


@pytest.mark.parametrize("name", ["photo.jpg", "jobs.xls", "jobs.docx", "jobs"])
def test_other_kinds_of_file_are_refused_by_name(tmp_path, name):
    (tmp_path / name).write_bytes(b"x")
    with pytest.raises(LogError, match="not a kind of file"):
        read_sources([tmp_path / name])


def test_missing_files_and_files_without_cells_are_told(tmp_path):
    with pytest.raises(LogError, match="cannot be opened"):
        read_sources([tmp_path / "nothing.csv"])
    (tmp_path / "blank.csv").write_text("\n ,\n", encoding="utf-8")
    with pytest.raises(LogError, match="nothing stands in"):
        read_sources([tmp_path / "blank.csv"])


def test_a_quotation_mark_that_is_never_closed_is_refused(tmp_path):
    (tmp_path / "a.csv").write_text('Job no,Date in\nJ-1,"2024-03-02\n', encoding="utf-8")
    with pytest.raises(LogError, match="quotation mark") as told:
        csv_sheet(tmp_path / "a.csv")
    assert "a.csv:2" in str(told.value)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_every_encoding_and_delimiter_of_the_project_is_read(tmp_path, encoding, delimiter):
    text = "".join(f"{delimiter.join(row)}\r\n" for row in (*[(*HEAD, "Notes")], *[(*row, "é – ü") for row in ROWS]))
    (tmp_path / "a.csv").write_bytes(text.encode(encoding))
    run(tmp_path / "a.csv", tmp_path / "log")
    assert cells(tmp_path / "log", "intake_damage") == ["drop", "liquid", "bend_or_snap"]
    assert [row["value"] for row in aside(tmp_path / "log")] == ["é – ü"] * 3


def test_five_thousand_columns_and_very_long_cells(tmp_path):
    head = (*HEAD, *[f"Thing {n}" for n in range(5000)])
    rows = [(*row, *["x" * (10_000 if n == 7 else 2) for n in range(5000)]) for row in ROWS]
    done = run(sheet(tmp_path / "wide.csv", head, rows), tmp_path / "log")
    account = done.placement.accounting
    assert (account.cells_in, account.aside) == (5004 * 4, 5000 * 3)
    assert len(done.questions) == 5000
    assert max(len(row["value"]) for row in aside(tmp_path / "log")) == 10_000


def test_formula_like_texts_are_kept_as_text(tmp_path):
    texts = ["=1+1", "@here", "+cmd|' /C calc'!A0"]
    run(with_column(tmp_path / "a.csv", "Notes", texts), tmp_path / "log")
    assert [row["value"] for row in aside(tmp_path / "log")] == [f"'{text}" for text in texts]


WORDS = st.sampled_from(
    (
        *("Job no", "Date in", "Damage", "Taken?", "CPU pads lost", "NAND clean passes", "Install temp", "Donor age"),
        *("Test 1 result", "Test 2 result", "Bench time (min)", "Hours", "Notes", "Client", "Tech", "Fee", "Date out"),
        *(
            "drop",
            "water",
            "yes",
            "no",
            "x",
            "OK",
            "?",
            "n/a",
            "3,5",
            "1,234",
            "03/04/2024",
            "25/12/2024",
            "2024-03-02",
        ),
        *("J-1", "J-2", "007", "Total", "€600", "70%", "6:30", "=A1", "blank", "ignored", "-5", "1e9", "626", "T1"),
    )
)
TEXTS = st.one_of(WORDS, WORDS, WORDS, st.text(max_size=12), st.just(""))
SHEETS = st.lists(st.lists(TEXTS, max_size=9), min_size=1, max_size=12)


def as_csv(rows: list[list[str]]) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue().encode("utf-8", "surrogatepass").replace(b"\0", b"")


@settings(
    max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(rows=SHEETS, jobs=st.booleans())
@example(rows=[["?"], ["="]], jobs=True)
@example(rows=[["Job no", "Job no"], ["Job no", "Date in"]], jobs=False)
@example(rows=[["Job no"], ["?", "?"], ["0\r"]], jobs=False)
@example(rows=[["Notes", "Notes", "Notes (2)"], ["a", "b", "c"]], jobs=True)
def test_any_sheet_is_accounted_for_twice_over(tmp_path_factory, rows, jobs):
    folder = tmp_path_factory.mktemp("any")
    if jobs:  # so that many examples get as far as the log
        rows = [["Job no", *row] if at == 0 else [f"J-{at}", *row] for at, row in enumerate(rows)]
    path = folder / "any.csv"
    path.write_bytes(as_csv(rows))
    try:
        sheets = read_sources([path])
        first = run(path, folder / "log")
    except ReworkError as error:
        said = error
    else:
        said = None
    if said is not None:
        assert "nothing stands in" in said.found
        return
    account = first.placement.accounting  # adds up, or it could not have been made
    assert account.cells_in == sum(found.cells_n for found in sheets)
    assert account.aside == len(aside(folder / "log"))
    before = {p.name: p.read_bytes() for p in (folder / "log").iterdir()}
    second = run(path, folder / "log")
    assert second.written == ()
    assert second.merged.changes == []
    assert {p.name: p.read_bytes() for p in (folder / "log").iterdir()} == before


@settings(max_examples=40, deadline=None, derandomize=True)
@given(data=st.binary(max_size=300), ending=st.sampled_from([".csv", ".xlsx", ".ods"]), cut=st.integers(0, 16_000))
def test_any_bytes_are_read_or_refused_in_words(tmp_path_factory, data, ending, cut):
    path = tmp_path_factory.mktemp("bytes") / f"a{ending}"
    good = (HERE / ("Jobs.csv" if ending == ".csv" else f"messy_workbook{ending}")).read_bytes()
    path.write_bytes(good[:cut] + data + good[cut + len(data) :])
    with contextlib.suppress(ReworkError):
        read_sources([path])
