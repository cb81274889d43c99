"""The quick and the careful way through a file give the same cells, lines and findings; numbers, codes, spellings."""

from __future__ import annotations

import string

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.records import delimited
from analysis.records.convert import Context, _all_plain_keys, _key
from analysis.records.dictionary import BY_NAME, JOBS
from analysis.records.log import Log, read_log
from analysis.records.problems import Severity
from analysis.records.readings import Read
from analysis.records.settings import Settings
from analysis.records.texts import Texts
from tests.files import BASE, TODAY, as_csv_text, base, found, write

CELL = st.text(alphabet=string.ascii_letters + string.digits + " .-_ä°\t;é", max_size=8)
LINE = st.lists(CELL, min_size=1, max_size=5).map(",".join)


@given(st.lists(st.one_of(st.just(""), LINE, st.lists(CELL, min_size=3, max_size=3).map(",".join)), max_size=8))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_both_ways_read_the_same(tmp_path, lines):
    path = tmp_path / "donors.csv"
    path.write_text("\n".join(["donor_id,lot,known_good", *lines, ""]), encoding="utf-8")
    table = BY_NAME["donors"]
    default = delimited.read_delimited(path, table)
    careful = delimited._carefully(path.read_text(encoding="utf-8"), ",", 1, table)
    assert list(default.lines) == list(careful.lines)
    for name, column in careful.columns.items():
        assert [default.columns[name][i] for i in range(len(column))] == [column[i] for i in range(len(column))]
    assert default.problems == careful.problems


def test_the_quick_way_is_taken_for_plain_files_and_only_for_them(tmp_path):
    text = as_csv_text("jobs", BASE["jobs"])
    heading = text.splitlines()[0]
    assert delimited._quickly(text, ",", heading, JOBS) is not None
    for odd in (
        text.replace("FAM-A", '"FAM-A"'),
        text.replace("drop", "drop,", 1),
        text.replace("\nJ-2", "\n\nJ-2"),
        text + "," * heading.count(",") + "\n",
        text + " " + "," * heading.count(",") + "\n",
        text.replace("\nJ-2", "\rJ-2"),
        heading,
        heading + "\n",
    ):
        assert delimited._quickly(odd, ",", odd.splitlines()[0], JOBS) is None


@given(st.lists(st.text(alphabet="A1-/.# @+\n_é", min_size=1, max_size=14), min_size=1, max_size=6))
@settings(max_examples=300, deadline=None)
def test_keys_looked_at_together_are_those_read_one_by_one(texts):
    context = Context(Settings(), ",", TODAY)
    each = [_key(text, JOBS["job_id"], context) for text in texts]
    if _all_plain_keys(Texts.of(texts)):
        assert each == [Read(text) for text in texts]


@pytest.mark.parametrize(
    ("text", "fine"),
    [
        ("20260315-001", True),
        ("2026031501", True),
        ("J-0001", True),
        ("5551234567", False),
        ("0170/1234567", False),
        ("490154203237518", False),  # the length of a device's serial number, written at random
        ("202603154203237", False),
        ("anna@example.org", False),
    ],
)
def test_codes_that_look_like_personal_numbers_are_refused_and_dated_job_numbers_are_not(text, fine):
    read = _key(text, JOBS["job_id"], Context(Settings(), ",", TODAY))
    assert isinstance(read, Read) == fine
    assert fine or read.code == "personal-data"


@pytest.mark.parametrize("text", ["1,200", "1.200", "12,500"])
def test_a_comma_or_point_before_three_digits_is_refused_where_it_can_mean_two_things(tmp_path, text):
    tables = base()
    tables["jobs"][0]["fee_amount"] = text
    write(tmp_path, tables)
    (tmp_path / "jobs.csv").write_text(as_csv_text("jobs", tables["jobs"], ";"), encoding="utf-8")
    assert [(p.code, p.column) for p in found(tmp_path)] == [("number", "fee_amount")]
    assert "whichever is meant" in found(tmp_path)[0].todo


@pytest.mark.parametrize("text", ["٨", "8٫5", "1e1", "0x8", "8_0", "nan", "inf", "9" * 25, "--8", "½"])
def test_what_only_a_computer_would_take_for_a_number_is_refused(tmp_path, text):
    tables = base()
    tables["jobs"][0]["bench_hours"] = text
    assert [(p.code, p.column) for p in found(write(tmp_path, tables))] == [("number", "bench_hours")]


def test_named_missing_codes_are_noted_with_their_number(tmp_path):
    tables = base()
    tables["jobs"][0]["bench_hours"] = "n/a"
    write(tmp_path, tables)
    (tmp_path / "bench.toml").write_text('missing_codes = ["n/a"]\n', encoding="utf-8")
    (note,) = found(tmp_path, Severity.NOTE)
    assert note.column == "bench_hours"
    assert note.found == "'n/a' read as not recorded (1 cell)"


@pytest.mark.parametrize("name", ["donors.xlsx", "Boot_Tests.CSV", "jobs.csv.bak.csv"])
def test_files_that_were_not_read_are_named(tmp_path, name):
    write(tmp_path, base())
    (tmp_path / name).write_bytes(b"x")
    assert [(p.code, p.file, p.severity) for p in found(tmp_path)] == [("stranger", name, Severity.WARNING)]


def test_a_spreadsheets_separator_line_is_read_and_noted(tmp_path):
    write(tmp_path, base())
    (tmp_path / "jobs.csv").write_text("sep=;\n" + as_csv_text("jobs", BASE["jobs"], ";"), encoding="utf-8")
    assert found(tmp_path) == []
    assert {p.code for p in found(tmp_path, Severity.NOTE)} == {"separator-line", "delimiter"}
    assert list(read_log(tmp_path, TODAY).tables["jobs"]["_line"]) == [3, 4, 5, 6]


def test_a_web_page_is_not_taken_for_a_table(tmp_path):
    write(tmp_path, base())
    (tmp_path / "donors.csv").write_bytes(b"<html><table>")
    assert [p.code for p in found(tmp_path)] == ["not-csv"]


def test_columns_without_a_heading_are_warned_of_together(tmp_path):
    write(tmp_path, base())
    text = as_csv_text("donors", BASE["donors"]).replace("\n", ",,\n")
    (tmp_path / "donors.csv").write_text(text, encoding="utf-8")
    assert [(p.code, p.severity) for p in found(tmp_path)] == [("unknown-column", Severity.WARNING)]


def test_the_hash_knows_rows_by_content_not_by_place(tmp_path):
    log = read_log(write(tmp_path, base()), TODAY)
    tables = dict(log.tables)

    def hash_with(**changed):
        return Log.from_tables(tables | changed).hash

    assert hash_with() == log.hash
    for name, table in tables.items():
        turned = table[list(table.columns[::-1])].iloc[::-1].reset_index(drop=True)
        assert hash_with(**{name: turned}) == log.hash
        for column in table.columns.drop("_line"):
            if table[column].notna().any():
                blanked = table.assign(
                    **{column: table[column].where(table.index != table[column].first_valid_index())}
                )
                assert hash_with(**{name: blanked}) != log.hash
    twice = pd.concat([tables["jobs"], tables["jobs"].iloc[[0]].assign(bench_hours=1.0)], ignore_index=True)
    assert hash_with(jobs=twice) == hash_with(jobs=twice.iloc[::-1].reset_index(drop=True))
