"""A recount says matches, or where not: totals, rows, words, versions, seals."""

from __future__ import annotations

import datetime as dt
import html
import json
import re
from dataclasses import replace

import pytest

from analysis.cli import main
from analysis.errors import LogError
from analysis.questions.evidence_facts import Mark, mark_of, read_facts
from analysis.questions.recount import recount
from analysis.report.evidence_recount import read_sheet
from tests.evidence.sealed import copy_of, rows_of, sealed, sheet, write_rows


@pytest.fixture
def own(demo_log, demo_sheet, tmp_path):
    """A copy of the sealed log and of its sheet."""
    page = tmp_path / "sheet.html"
    page.write_bytes(demo_sheet.read_bytes())
    return copy_of(demo_log, tmp_path / "log"), page


def told(capsys, page, folder):
    """Exit status and what was said."""
    status = main(["recount", str(page), str(folder)])
    out, err = capsys.readouterr()
    return status, out + err


def change(folder, table, key, **cells):
    """Set cells of the first row with a key."""
    heads, rows = rows_of(folder / f"{table}.csv")
    row = next(row for row in rows if row[0] == key)
    for name, value in cells.items():
        row[heads.index(name)] = value
    write_rows(folder / f"{table}.csv", heads, rows)


def some_job(folder, **wanted):
    """Code of a job of 2024H1 that holds what is wanted."""
    heads, rows = rows_of(folder / "jobs.csv")
    for row in rows:
        cells = dict(zip(heads, row, strict=True))
        if "2024-01" <= cells["received_date"][:7] <= "2024-06" and cells.items() >= wanted.items():
            return cells["job_id"]
    raise AssertionError("no such job")


def test_an_honest_log_matches(own, capsys):
    status, text = told(capsys, own[1], own[0])
    assert status == 0
    assert re.match(r"Matches: 9\d{3} sealed rows unchanged since 2024-12-01, \d+ totals and every word the same", text)


def test_rows_in_another_order_and_jobs_that_came_later_still_match(own, capsys):
    heads, rows = rows_of(own[0] / "jobs.csv")
    new = dict.fromkeys(heads, "") | {
        "job_id": "J-9001",
        "received_date": "2024-10-05",
        "intake_damage": "drop",
        "decision": "accepted",
    }
    write_rows(own[0] / "jobs.csv", heads, [list(new.values()), *reversed(rows)])
    assert told(capsys, own[1], own[0])[0] == 0


def add_job(folder, **cells):
    heads, rows = rows_of(folder / "jobs.csv")
    new = dict.fromkeys(heads, "") | {"intake_damage": "drop", "decision": "accepted", "received_date": "2024-10-05"}
    write_rows(folder / "jobs.csv", heads, [*rows, list((new | cells).values())])


def test_faults_of_jobs_that_came_later_are_none_of_the_sheets(own, capsys):
    add_job(own[0], job_id="J-9001", bench_hours="999")
    assert told(capsys, own[1], own[0])[0] == 0
    assert sheet(own[0], own[1].parent / "new").read_bytes() == own[1].read_bytes()


def test_a_later_row_that_puts_a_sealed_job_at_fault_stops_the_sheet_and_is_told(own, capsys):
    job = some_job(own[0], decision="declined")
    add_job(own[0], job_id=job)
    status, text = told(capsys, own[1], own[0])
    assert status == 1
    assert "total 'set_aside': the sheet says 0, the log gives 1" in text
    with pytest.raises(LogError, match=f"1 sealed job cannot be counted for faults that came since: {job}"):
        sheet(own[0], own[1].parent / "new")


def test_a_failure_written_over_is_named_with_the_totals_it_moves(own, capsys):
    job = some_job(own[0], outcome="not_recovered", loss_reversible="yes", decision="accepted")
    change(own[0], "jobs", job, outcome="stopped_by_client", failure_cause="", cause_evidence="", loss_reversible="")
    status, text = told(capsys, own[1], own[0])
    assert status == 1
    assert text.startswith("Does not match:")
    assert f"1 row changed since the seal: jobs.csv {job}" in text
    assert "total 'stopped': the sheet says 3, the log gives 4" in text
    assert "total 'not_recovered': the sheet says 28, the log gives 27" in text


def test_a_change_that_moves_no_total_is_named_all_the_same(own, capsys):
    change(own[0], "donors", "D-0003", lot="LOT-99")
    status, text = told(capsys, own[1], own[0])
    assert status == 1
    assert "1 row changed since the seal: donors.csv D-0003" in text
    assert "total" not in text


def test_a_job_taken_out_and_a_job_slipped_in_are_named(own, capsys):
    job = some_job(own[0], decision="declined")
    heads, rows = rows_of(own[0] / "jobs.csv")
    slipped = [row if row[0] != job else ["J-7777", *row[1:]] for row in rows]
    write_rows(own[0] / "jobs.csv", heads, slipped)
    status, text = told(capsys, own[1], own[0])
    assert status == 1
    assert "1 row added since the seal: jobs.csv J-7777" in text
    assert f"1 row removed since the seal: jobs.csv {job}" in text


@pytest.mark.parametrize(
    ("good", "bad"),
    [
        ("88 of 124 closed jobs: 71%", "98 of 124 closed jobs: 79%"),
        ("Past results are no promise.", "Results are guaranteed."),
        ("stopped by the owner</th>", "sent back</th>"),
        ("<p>Recount:", '<p hidden="">Recount:'),
        ("</style>", ".caution { display: none }</style>"),
    ],
)
def test_a_page_that_was_edited_is_caught(own, capsys, good, bad):
    text = own[1].read_text(encoding="utf-8")
    assert good in text
    own[1].write_text(text.replace(good, bad, 1), encoding="utf-8")
    status, text = told(capsys, own[1], own[0])
    assert status == 1
    assert "the page" in text


def spoil_facts(page, **changes):
    text = page.read_text(encoding="utf-8")
    found = re.search(r'(<code class="sheet-facts">)(.*?)(</code>)', text, re.S)
    facts = json.loads(html.unescape(found[2]))
    for name, value in changes.items():
        (facts["totals"] if name in facts["totals"] else facts)[name] = value
    page.write_text(text.replace(found[2], html.escape(json.dumps(facts, indent=0))), encoding="utf-8")


def test_every_total_of_the_sheet_is_compared(own, demo_sheet):
    honest = read_sheet(demo_sheet).facts
    counted = recount_of(honest, own[0], {name: n + 1 for name, n in honest.totals.items()})
    assert {each.name for each in counted.totals} == set(honest.totals)


def recount_of(facts, folder, changed):
    return recount(replace(facts, totals={**facts.totals, **changed}), folder)


def test_another_seal_and_other_definitions_are_told(own, capsys):
    before = own[1].read_text(encoding="utf-8")
    spoil_facts(own[1], seal_fingerprint="0" * 64)
    status, text = told(capsys, own[1], own[0])
    assert status == 1
    assert "names a seal that is not in this log's ledger" in text
    own[1].write_text(before, encoding="utf-8")
    spoil_facts(own[1], definitions="0-old")
    status, text = told(capsys, own[1], own[0])
    assert status == 1
    assert "counts by definitions 0-old" in text


def test_a_sheet_still_matches_after_the_next_seal(own, capsys):
    sealed(own[0], dt.date(2024, 10, 31))
    assert told(capsys, own[1], own[0])[0] == 0
    sheet(own[0], own[1].parent / "new")
    assert told(capsys, own[1].parent / "new" / "evidence-2024H1.html", own[0])[0] == 0


def test_code_of_another_version_is_told_and_is_no_fault_by_itself(own, capsys):
    text = own[1].read_text(encoding="utf-8")
    code = re.search(r"Code (0\.1\.0-\w+)", text)[1]
    own[1].write_text(text.replace(code, "0.1.0-000000000000"), encoding="utf-8")
    status, text = told(capsys, own[1], own[0])
    assert status == 0
    assert "counted by code 0.1.0-000000000000" in text


A_PAGE = "Name a page made by 'rework evidence', unchanged."
CANNOT = {
    "missing": ("sheet.html cannot be read: ", A_PAGE),
    "other page": ("sheet.html carries no numbers for a recount.", A_PAGE),
    "binary": ("sheet.html is no page of text.", A_PAGE),
    "facts": ("the facts that a sheet carries for machines are damaged or missing.", A_PAGE),
    "draft": (
        "sheet.html is a draft from a log that was not sealed; nothing can confirm it.",
        "Seal the log with 'rework seal' and make the sheet again.",
    ),
    "unsealed": (
        "the log has never been sealed, so that there is nothing to compare with.",
        "Name the folder that holds the sealed log with its folder 'seals'.",
    ),
    "ledger": (
        "line 1 of the ledger of seals is not what was written there.",
        "Restore the ledger from a copy. If there is none, nothing made from these seals can be confirmed any more.",
    ),
}


@pytest.mark.parametrize("what", CANNOT)
def test_what_cannot_be_recounted_says_so_with_status_two(own, capsys, what):
    folder, page = own
    if what == "missing":
        page.unlink()
    elif what == "other page":
        page.write_text("<html><p>hello</p></html>", encoding="utf-8")
    elif what == "binary":
        page.write_bytes(b"\xff\xfe\x00\xff")
    elif what == "facts":
        spoil_facts(page, until="never", classes=[["<script>"]])
    elif what == "draft":
        spoil_facts(page, seal=0)
    elif what == "unsealed":
        (folder / "seals" / "ledger.jsonl").unlink()
    else:
        (folder / "seals" / "ledger.jsonl").write_text("{}\n", encoding="utf-8")
    status, text = told(capsys, page, folder)
    found, todo = CANNOT[what]
    assert status == 2
    assert text.startswith("rework: ")
    assert found in text
    assert text.endswith(f"  What to do: {todo}\n")


def test_the_mark_of_a_draft_has_the_seal_number_0():
    assert mark_of((), "1-d", "0.1-c") == Mark(seal=0, fingerprint="", definitions="1-d", code="0.1-c")


def test_facts_that_are_no_facts_are_refused():
    for found in ({}, {"form": "x"}, {"form": "rework evidence sheet, form 1", "half": "2024H1"}):
        with pytest.raises(Exception, match="damaged or missing"):
            read_facts(found)
