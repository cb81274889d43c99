"""Whatever a spreadsheet or an editor does to a CSV file: read it, note it, or refuse it by name."""

from __future__ import annotations

import hashlib

import pytest

from analysis.errors import LogError
from analysis.records.check import check_log
from analysis.records.log import read_log
from analysis.records.problems import Severity
from tests.files import BASE, TODAY, as_csv_text, base, found, write

JOBS = as_csv_text("jobs", BASE["jobs"])


def notes(folder):
    return {p.code for p in found(folder, Severity.NOTE)}


@pytest.mark.parametrize(
    ("data", "note"),
    [
        (JOBS.encode("utf-8-sig"), None),
        (JOBS.encode("utf-16"), "encoding"),
        (JOBS.replace("FAM-A", "FAM-A").replace("recovered,2024-03-20", "recovered ,2024-03-20").encode(), "spelling"),
        (as_csv_text("jobs", BASE["jobs"], ";").encode(), "delimiter"),
        (as_csv_text("jobs", BASE["jobs"], "\t").encode(), "delimiter"),
        (JOBS.replace("\n", "\r\n").encode(), None),
        (JOBS.replace("\n", "\n\n").encode(), "blank-lines"),
        (JOBS.replace(",drop,", ",Drop,").encode(), "spelling"),
        (JOBS.replace("job_id", " Job ID ", 1).encode(), "heading-spelling"),
        (JOBS.replace("2024-03-02", "02.03.2024", 1).replace("02.03.2024", "31.01.2024").encode(), "spelling"),
    ],
    ids=["bom", "utf16", "trailing-space", "semicolon", "tab", "crlf", "blank-lines", "case", "heading", "dotted-date"],
)
def test_readable_variants_give_the_same_rows_and_at_most_a_note(tmp_path, data, note):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_bytes(data)
    assert found(tmp_path) == []
    assert notes(tmp_path) == ({note} if note else set())
    jobs = read_log(tmp_path, TODAY).tables["jobs"]
    assert jobs["job_id"].tolist() == ["J-1", "J-2", "J-3", "J-4"]
    assert jobs["intake_damage"].tolist() == ["drop", "liquid", "heat", "drop"]


def test_windows_text_is_read_and_noted(tmp_path):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_bytes(
        JOBS.replace("board_family", "board_family,notizen_ä")
        .replace("FAM-A", "FAM-A,grün")
        .replace("liquid,", "liquid,", 1)
        .encode("cp1252")
    )
    assert "encoding" in notes(tmp_path)


def test_a_decimal_comma_is_read_where_the_delimiter_allows_it(tmp_path):
    tables = base()
    tables["jobs"][0]["bench_hours"] = "8,5"
    write(tmp_path, tables)
    assert [p.code for p in found(tmp_path)] == ["number"]
    (tmp_path / "jobs.csv").write_text(as_csv_text("jobs", tables["jobs"], ";"), encoding="utf-8")
    assert found(tmp_path) == []
    assert read_log(tmp_path, TODAY).tables["jobs"]["bench_hours"][0] == 8.5


@pytest.mark.parametrize(
    ("data", "code", "line"),
    [
        (b"", "empty-file", 0),
        (b"\n \n", "empty-file", 0),
        (b"PK\x03\x04workbook", "not-csv", 0),
        (b"\xd0\xcf\x11\xe0old workbook", "not-csv", 0),
        (JOBS.encode()[:300] + b"\0" + JOBS.encode()[300:], "nul-byte", None),
        (JOBS.replace("job_id,received_date", "job_id,job_id").encode(), "duplicate-heading", 1),
        (JOBS.replace("intake_damage", "damage").encode(), "missing-column", 1),
        (b"\x81\x8d\x8f\x90 no text", "encoding", 1),
    ],
    ids=["empty", "blank", "workbook", "old-workbook", "nul", "duplicate-heading", "missing-column", "no-text"],
)
def test_unusable_files_are_named(tmp_path, data, code, line):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_bytes(data)
    faults = [p for p in found(tmp_path, Severity.FAULT) if p.file == "jobs.csv"]
    assert code in {p.code for p in faults}
    if line is not None:
        assert faults[0].line == line
    with pytest.raises(LogError, match="jobs"):
        read_log(tmp_path, TODAY).without_faulty_jobs()


def test_no_folder_no_jobs_and_a_file_in_place_of_a_folder(tmp_path):
    with pytest.raises(LogError, match="does not exist"):
        read_log(tmp_path / "nowhere")
    with pytest.raises(LogError, match="it is empty"):
        read_log(tmp_path)
    (tmp_path / "list.xlsx").write_bytes(b"PK")
    with pytest.raises(LogError, match=r"it holds list\.xlsx"):
        read_log(tmp_path)
    with pytest.raises(LogError, match="is a file"):
        read_log(tmp_path / "list.xlsx")


def test_a_ragged_row_is_a_fault_of_its_job_and_not_of_its_tests(tmp_path):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_text(JOBS.replace("J-1,2024-03-02,phone", "J-1,2024-03-02,phone,extra"))
    problems = found(tmp_path)
    assert [(p.code, p.line, p.job) for p in problems] == [("ragged-row", 2, "J-1")]
    assert "J-1" in read_log(tmp_path, TODAY).without_faulty_jobs().set_aside


def test_an_unclosed_quote_is_named_at_its_line(tmp_path):
    write(tmp_path, base())
    (tmp_path / "donors.csv").write_text(as_csv_text("donors", BASE["donors"]).replace("D-2", '"D-2'))
    faults = [p for p in found(tmp_path) if p.file == "donors.csv"]
    assert [(p.code, p.line) for p in faults] == [("quotes", 3)]


def test_lines_are_counted_in_the_file_even_after_quoted_line_breaks(tmp_path):
    tables = base()
    tables["jobs"][1]["bench_hours"] = "88"
    write(tmp_path, tables)
    text = as_csv_text("jobs", tables["jobs"]).replace("phone", '"phone"').replace("FAM-A", '"FAM\n-A"')
    (tmp_path / "jobs.csv").write_text(text, encoding="utf-8")
    lines = {p.code: p.line for p in found(tmp_path)}
    assert lines == {"key": 2, "range": 4}


def test_extra_columns_and_strange_files_are_warned_of_with_a_hint(tmp_path):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_text(JOBS.replace("bench_hours", "bench_hourz"), encoding="utf-8")
    (tmp_path / "notes.csv").write_text("a,b\n", encoding="utf-8")
    warnings = found(tmp_path, Severity.WARNING)
    assert {p.code for p in warnings} == {"stranger", "unknown-column"}
    assert "Did you mean bench_hours?" in next(p.todo for p in warnings if p.code == "unknown-column")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("31.12.2023", "2023-12-31"),
        ("12/31/2023", "2023-12-31"),
        ("31/12/2023", "2023-12-31"),
        ("05.05.2024", "2024-05-05"),
        ("2024-3-2", "2024-03-02"),
        ("2024-03-02 00:00:00", "2024-03-02"),
    ],
)
def test_dates_that_can_mean_one_day_are_accepted_and_noted(tmp_path, text, value):
    (tmp_path / "jobs.csv").write_text(
        f"job_id,received_date,intake_damage,decision\nJ-1,{text},drop,accepted\n", encoding="utf-8"
    )
    assert found(tmp_path) == []
    assert "spelling" in notes(tmp_path)
    assert str(read_log(tmp_path, TODAY).tables["jobs"]["received_date"][0].date()) == value


@pytest.mark.parametrize(
    "text", ["03/04/2023", "45678", "2024-02-30", "yesterday", "1999-01-01", "2024-03", "26-03-02"]
)
def test_other_dates_are_refused(tmp_path, text):
    (tmp_path / "jobs.csv").write_text(
        f"job_id,received_date,intake_damage,decision\nJ-1,{text},drop,accepted\n", encoding="utf-8"
    )
    assert [(p.code, p.column) for p in found(tmp_path)] == [("date", "received_date")]


def test_a_setting_settles_ambiguous_dates(tmp_path):
    (tmp_path / "jobs.csv").write_text(
        "job_id,received_date,intake_damage,decision\nJ-1,03/04/2023,drop,accepted\n", encoding="utf-8"
    )
    (tmp_path / "bench.toml").write_text('date_order = "day_first"\n', encoding="utf-8")
    assert str(read_log(tmp_path, TODAY).tables["jobs"]["received_date"][0].date()) == "2023-04-03"


def test_text_that_only_looks_missing_stays_text(tmp_path):
    (tmp_path / "jobs.csv").write_text(
        "job_id,received_date,intake_damage,decision,board_family,prior_rework\n"
        "007,2024-03-02,drop,accepted,NA,none\nNone,2024-03-02,drop,accepted,null,unknown\n",
        encoding="utf-8",
    )
    jobs = read_log(tmp_path, TODAY).tables["jobs"]
    assert jobs["job_id"].tolist() == ["007", "None"]
    assert jobs["board_family"].tolist() == ["NA", "null"]
    assert jobs["prior_rework"].tolist() == ["none", "unknown"]


def test_named_missing_codes_are_blank(tmp_path):
    tables = base()
    tables["jobs"][0]["bench_hours"] = "n/a"
    write(tmp_path, tables)
    assert [p.code for p in found(tmp_path)] == ["number"]
    (tmp_path / "bench.toml").write_text('missing_codes = ["n/a"]\n', encoding="utf-8")
    assert found(tmp_path) == []


def test_homoglyphs_and_control_characters_are_made_visible(tmp_path):
    tables = base()
    tables["jobs"][0]["intake_damage"] = "dr\u043ep"
    tables["jobs"][0]["board_family"] = "FAM\u202eA"
    problems = found(write(tmp_path, tables))
    assert {p.code for p in problems} == {"code", "key"}
    assert "only look like" in next(p.todo for p in problems if p.code == "code")
    assert "\u202e" not in "".join(p.line_text() for p in problems)


def test_the_log_is_never_modified(tmp_path):
    tables = base()
    tables["jobs"][0] |= {"bench_hours": "88", "intake_damage": "Drop "}
    write(tmp_path, tables)
    before = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in tmp_path.iterdir()}
    check_log(tmp_path, TODAY)
    read_log(tmp_path, TODAY).without_faulty_jobs()
    assert {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in tmp_path.iterdir()} == before


@pytest.mark.parametrize(
    ("column", "word", "code"),
    [
        ("intake_damage", "water damage", "liquid"),
        ("outcome", "failed", "not_recovered"),
        ("outcome", "done", "recovered"),
        ("intake_damage", "bendd_or_snap", "bend_or_snap"),
    ],
)
def test_an_ordinary_word_is_answered_with_the_code_it_most_likely_means(tmp_path, column, word, code):
    tables = base()
    tables["jobs"][0][column] = word
    messages = [p.todo for p in found(write(tmp_path, tables)) if p.column == column]
    assert any(f"Did you mean {code}?" in todo for todo in messages)
