"""Sheets as people lay them out: headings over two rows, merged cells, totals, a legend; no cell is lost."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest

from tests.records.importing.sheets import aside, asked, cells, replaced, run, table

UPPER = ("Job no", "Date in", "Damage", "Taken?", "CPU (lower)", None, "NAND", None, "Boot test 1", None, "Tech")
LOWER = (None, None, None, None, "pads lost", "passes", "pads lost", "install temp (°C)", "date", "result", None)
MERGED = ("A3:A4", "B3:B4", "C3:C4", "D3:D4", "E3:F3", "G3:H3", "I3:J3", "K3:K4")


def two_rows(path: Path, jobs_n: int = 12) -> Path:
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Invented bench, job list"])
    page.merge_cells("A1:K1")
    page.append([])
    page.append(UPPER)
    page.append(LOWER)
    for area in MERGED:
        page.merge_cells(area)
    for n in range(1, jobs_n + 1):
        came = dt.date(2024, 2, 1) + dt.timedelta(days=n)
        work = (n % 3, 2, 0, 330, came + dt.timedelta(days=3), "data ok" if n % 2 else "loop")
        page.append([f"A{n:03}", came, "water", "yes", *work, "T1"])
    page.append(["Total", None, None, None, "=SUM(E5:E16)"])
    page.append([])
    page.append(["Legend:"])
    page.append(["water = any liquid", None, None, None, "pads needed only"])
    page.append([None, "see the shelf list"])
    book.save(path)
    return path


@pytest.fixture
def imported(tmp_path):
    source = two_rows(tmp_path / "jobs.xlsx")
    return source, tmp_path / "log", run(source, tmp_path / "log")


def test_headings_over_two_rows_are_read_together(imported):
    source, log, done = imported
    assert asked(done) == set()
    assert len(table(log, "jobs")) == 12
    sides = {
        (r["chip_role"], r["side"], r.get("pads_lost_n"), r.get("clean_passes_n")) for r in table(log, "chip_sides")
    }
    assert ("processor", "lower", "1", "2") in sides
    assert ("storage", "lower", "0", None) in sides
    assert set(cells(log, "set_temp_c", "heat_steps")) == {"330"}
    assert cells(log, "test_date", "boot_tests")[0] == "2024-02-05"
    assert cells(log, "technician_id") == ["T1"] * 12
    again = run(source, log)
    assert (again.written, again.merged.changes) == ((), [])


def test_totals_legend_and_titles_are_kept_aside_and_counted(imported):
    _, log, done = imported
    values = {row["value"] for row in aside(log)}
    wanted = {"Invented bench, job list", "Total", "'=SUM(E5:E16)", "Legend:", "water = any liquid", "pads needed only"}
    assert values == wanted | {"see the shelf list"}
    account = done.placement.accounting
    assert account.headings == sum(text is not None for text in (*UPPER, *LOWER))
    assert account.cells_in == 7 + account.headings + 12 * 11


def test_a_mapping_finds_the_two_rows_again_when_rows_are_put_above(imported):
    source, log, _ = imported
    book = openpyxl.load_workbook(source)
    for area in list(book.active.merged_cells.ranges):
        book.active.unmerge_cells(str(area))
    book.active.insert_rows(1, 2)
    book.save(source)
    assert run(source, log).merged.changes == []


def test_a_row_of_words_under_the_headings_is_a_row(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("Job no,Date in,Damage,Taken?\n,asked again,CPU,pads lost\nJ1,2024-03-02,drop,yes\n", "utf-8")
    run(path, tmp_path / "log")
    assert cells(tmp_path / "log", "intake_damage") == ["drop"]
    assert len(aside(tmp_path / "log")) == 3


def test_answers_hold_for_headings_over_two_rows(imported):
    source, log, _ = imported
    replaced(log / "import.toml", ('heading = "Tech"\nto = "jobs.technician_id"', 'heading = "Tech"\nto = "ignored"'))
    done = run(source, log)
    assert {change.column for change in done.merged.changes} == {"technician_id"}


def test_a_german_sheet_with_semicolons_asks_only_what_is_unsure(tmp_path):
    head = "Auftrag;Eingang;Kunde;Schaden;Angenommen;Ablehnungsgrund;Spender;NAND Pads verloren;Test 1;Ergebnis;"
    head += "Abgeschlossen;Ursache;Endgültig verloren;Preis;Techniker;Bemerkung"
    rows = [
        "A-1;13.03.2024;Kunde 1;Wasserschaden;ja;;S1;0;Daten lesbar;gerettet;04.04.2024;;;1.200,50;Jürgen;eilig",
        "A-2;05.04.2024;Kunde 2;Sturz;ja;;S2;3;Kurzschluss;nicht gerettet;21.04.2024;Pads verloren;ja;950,00;Jürgen;",
        "A-3;06.04.2024;Kunde 3;Biegung;nein;kein Spender;;;;;;;;;;",
        "Summe;;;;;;;;;;;;;2150,50;;",
    ]
    path, log = tmp_path / "auftraege.csv", tmp_path / "log"
    path.write_bytes("\r\n".join([head, *rows]).encode("cp1252"))
    assert asked(run(path, log)) == {("Techniker", "values")}
    replaced(log / "import.toml", ('"Jürgen" = "?"', '"Jürgen" = "T1"'))
    assert asked(run(path, log)) == set()
    first, second, third = table(log, "jobs")
    assert first == {
        "job_id": "A-1",
        "received_date": "2024-03-13",
        "intake_damage": "liquid",
        "decision": "accepted",
        "technician_id": "T1",
        "donor_id": "S1",
        "outcome": "recovered",
        "closed_date": "2024-04-04",
        "fee_amount": "1200.5",
    }
    assert (second["failure_cause"], second["loss_reversible"], second["received_date"]) == (
        "pads_lost",
        "no",
        "2024-04-05",
    )
    assert (third["decision"], third["decline_reason"]) == ("declined", "no_donor")
    assert cells(log, "boot_result", "boot_tests") == ["data_readable", "short"]
    assert cells(log, "pads_lost_n", "chip_sides") == ["0", "3"]


def test_a_range_that_the_spreadsheet_took_for_a_date_is_asked(tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Job no", "Date in", "Damage", "Taken?", "CPU lower clean passes"])
    for n, passes in enumerate((2, dt.date(2025, 3, 2), 3, 1), start=1):
        book.active.append([f"J{n}", dt.date(2024, 3, n), "drop", "yes", passes])
    book.save(tmp_path / "a.xlsx")
    done = run(tmp_path / "a.xlsx", tmp_path / "log")
    assert asked(done) == {("CPU lower clean passes", "values")}
    assert "the spreadsheet made a date of what was typed, 2-3 for example" in done.questions[0].text
    assert cells(tmp_path / "log", "clean_passes_n", "chip_sides") == ["2", "3", "1"]
