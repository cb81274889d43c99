"""Rows that a file lost without being broken: cut off at its end, or swallowed between two quotation marks."""

from __future__ import annotations

import pytest

from analysis.errors import LogError
from analysis.records.log import read_log
from analysis.records.plain_csv import LONGEST_CELL
from analysis.records.problems import Severity
from tests.files import BASE, TODAY, as_csv_text, base, found, write

JOBS = as_csv_text("jobs", BASE["jobs"])


def told(folder):
    return [(p.code, p.line, p.severity) for p in found(folder)]


@pytest.mark.parametrize(("end", "line"), [("", 5), ("\n", None), ("\r\n", None), ("\r", None), ("\n  ", None)])
def test_a_last_line_without_a_line_end_is_warned_of(tmp_path, end, line):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_bytes((JOBS.removesuffix("\n") + end).encode())
    assert told(tmp_path) == ([("last-line", line, Severity.WARNING)] if line else [])


def test_a_number_cut_off_in_the_last_cell_is_not_taken_without_a_word(tmp_path):
    tables = base()
    tables["jobs"][3]["donor_cost"] = "120"
    write(tmp_path, tables)
    path = tmp_path / "jobs.csv"
    path.write_bytes(path.read_bytes()[:-2])
    assert told(tmp_path) == [("last-line", 5, Severity.WARNING)]


@pytest.mark.parametrize("quoted", [False, True], ids=["bare", "quoted"])
@pytest.mark.parametrize(("letters", "codes"), [(LONGEST_CELL, ["key"]), (LONGEST_CELL + 1, ["quotes"])])
def test_a_cell_may_be_long_but_not_without_end(tmp_path, letters, codes, quoted):
    tables = base()
    tables["donors"][1]["lot"] = "x" * letters
    write(tmp_path, tables)
    if quoted:
        text = (tmp_path / "donors.csv").read_text(encoding="utf-8")
        (tmp_path / "donors.csv").write_text(text.replace("xx", '"xx', 1).replace("x\n", 'x"\n', 1), encoding="utf-8")
    problems = [p for p in found(tmp_path) if p.file == "donors.csv"]
    assert [(p.code, p.line) for p in problems] == [(code, 3) for code in codes]
    assert (f"more than {LONGEST_CELL} letters" in problems[0].found) == (codes == ["quotes"])


def test_a_heading_without_end_is_told_in_words(tmp_path):
    write(tmp_path, base())
    heading, rest = as_csv_text("donors", BASE["donors"]).split("\n", 1)
    (tmp_path / "donors.csv").write_text(f"{heading},{'x' * 3 * LONGEST_CELL}\n{rest}", encoding="utf-8")
    assert {p.code for p in found(tmp_path) if p.file == "donors.csv"} == {"quotes"}


def test_a_quotation_mark_left_open_in_a_large_file_is_named_where_it_stands(tmp_path):
    write(tmp_path, base())
    heading = as_csv_text("donors", []).strip()
    rows = [f"D-{n}{',' * heading.count(',')}" for n in range(200_000)]
    rows[7] = f'"{rows[7]}'
    (tmp_path / "donors.csv").write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
    assert [(p.code, p.line) for p in found(tmp_path) if p.file == "donors.csv"] == [("quotes", 9)]


def with_notes(folder, *notes, at=None):
    """The base log with a column of notes, which the suite does not read, in jobs.csv."""
    write(folder, base())
    lines = JOBS.splitlines()
    at = len(lines[0].split(",")) if at is None else at
    rows = [line.split(",") for line in lines]
    for row, note in zip(rows, ("notes", *notes), strict=True):
        row.insert(at, note)
    (folder / "jobs.csv").write_text("\n".join(",".join(row) for row in rows) + "\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("at", [0, 3, None])
@pytest.mark.parametrize(("notes", "line"), [(('"a', 'b"', "c", "d"), 2), (("a", '"b', "c", 'd"'), 3)])
def test_rows_swallowed_by_a_note_are_a_fault_and_stop_a_report(tmp_path, at, notes, line):
    folder = with_notes(tmp_path, *notes, at=at)
    assert ("quotes", line, Severity.FAULT) in told(folder)
    with pytest.raises(LogError, match="belong to no single job"):
        read_log(folder, TODAY).without_faulty_jobs()


def test_a_note_of_several_lines_is_no_fault(tmp_path):
    folder = with_notes(tmp_path, '"first, second\nthird, fourth"', "", "", "")
    assert told(folder) == [("unknown-column", 1, Severity.WARNING)]


@pytest.mark.parametrize("word", ["NA", "n/a", "None", "null", "unknown", "n.a."])
def test_a_word_for_a_blank_is_kept_as_a_code_but_warned_of_at_its_cell(tmp_path, word):
    tables = base()
    tables["jobs"][1]["board_family"] = word
    write(tmp_path, tables)
    assert told(tmp_path) == [("blank-word", 3, Severity.WARNING)]
    assert read_log(tmp_path, TODAY).tables["jobs"]["board_family"][1] == word
    (tmp_path / "bench.toml").write_text(f'missing_codes = ["{word}"]\n', encoding="utf-8")
    assert told(tmp_path) == []


def test_a_word_for_a_blank_that_points_nowhere_is_told_of_once(tmp_path):
    tables = base()
    tables["jobs"][1]["donor_id"] = "NA"
    assert [(p.code, p.column) for p in found(write(tmp_path, tables))] == [("unknown-key", "donor_id")]
