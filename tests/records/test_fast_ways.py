"""What is done fast for large logs says the same as the plain way: cells, ranges, keys, hash, a network's log."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pandera.pandas as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.demo.network import write_network
from analysis.records import delimited, loghash, rulebook
from analysis.records.coded import Coded, coded_tables
from analysis.records.dictionary import BY_NAME, TABLES
from analysis.records.log import read_log
from analysis.records.plain_csv import split_plain
from analysis.records.rulebook import Book
from analysis.records.schemas import failures, schema_of
from tests.files import BASE, TODAY, as_csv_text, base, write

# Cells of every length around the eight bytes that are compared at once, and beyond what is compared so at all.
LETTERS = st.text(alphabet="aäé-€ ", max_size=3)
LENGTHS = st.sampled_from([0, 1, 7, 8, 9, 15, 16, 17, 24, 127, 128, 129, 300])
CELL = st.builds(lambda body, n: (body + "x" * n)[: max(n, len(body))], LETTERS, LENGTHS)
ROWS = st.lists(st.lists(CELL, min_size=3, max_size=3), min_size=1, max_size=7)


@given(ROWS, st.integers(1, 4), st.sampled_from(["\n", "\r\n"]), st.booleans(), st.sampled_from([",", ";", "\t"]))
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_cells_of_any_length_are_read_as_the_careful_way_reads_them(tmp_path, rows, times, end, closed, delimiter):
    lines = [delimiter.join(row) for row in rows for _ in range(times)]
    text = end.join([delimiter.join(["donor_id", "lot", "known_good"]), *lines]) + end * closed
    path = tmp_path / "donors.csv"
    path.write_text(text, encoding="utf-8", newline="")
    fast = delimited.read_delimited(path, BY_NAME["donors"])
    careful = delimited._carefully(text, delimiter, 1, BY_NAME["donors"])
    assert list(fast.lines) == list(careful.lines)
    for name, column in careful.columns.items():
        assert [fast.columns[name][i] for i in range(len(column))] == [column[i] for i in range(len(column))]
        assert fast.columns[name].uniques == column.uniques


def test_the_length_of_cells_is_no_reason_for_the_careful_way():
    text = "donor_id,lot\n" + "".join(f"{'x' * n},{'y' * (300 - n)}\n" for n in range(1, 300))
    plain = split_plain(text, ",", 2)
    assert plain is not None
    assert plain.column(0).uniques == ["x" * n for n in range(1, 300)]
    assert plain.column(1).uniques == ["y" * (300 - n) for n in range(1, 300)]


@pytest.mark.parametrize("odd", ['a"b', "a\0b", "a\rb"])
def test_quotation_marks_nul_and_bare_carriage_returns_are_not_plain(odd):
    assert split_plain("donor_id,lot\na,b\n", ",", 2) is not None
    assert split_plain(f"donor_id,lot\n{odd},b\n", ",", 2) is None


def test_lines_of_other_widths_that_add_up_are_not_plain():
    assert split_plain("donor_id,lot\na\nb,c,d\n", ",", 2) is None


def all_failures(name: str, frame: pd.DataFrame) -> list[tuple[int, str, str]]:
    """What pandera finds when the whole table is put before it."""
    try:
        schema_of(name).validate(frame, lazy=True)
    except pa.errors.SchemaErrors as errors:
        cases = errors.failure_cases
        words = {"not_nullable": "blank"}
        found = zip(cases["index"], cases["column"], cases["check"], strict=True)
        return sorted({(int(at), column, words.get(check, check)) for at, column, check in found})
    return []


@pytest.mark.filterwarnings("ignore::FutureWarning")
@pytest.mark.parametrize("name", [table.name for table in TABLES])
def test_only_suspect_rows_go_to_pandera_and_nothing_is_missed(tmp_path, name):
    log = read_log(write(tmp_path, base()), TODAY)
    table, frame = BY_NAME[name], pd.concat([log.tables[name]] * 5, ignore_index=True)
    rng = np.random.default_rng(3)
    planted = 0
    for column in table.columns:
        for value in (column.low, column.high):
            if value is not None and rng.random() < 0.8:
                frame.loc[rng.integers(len(frame)), column.name] = value + (-1 if value == column.low else 1)
                planted += 1
        frame.loc[rng.integers(len(frame)), column.name] = None
    assert failures(name, frame) == all_failures(name, frame)
    assert len(failures(name, frame)) >= planted / 2
    assert failures(name, log.tables[name]) == all_failures(name, log.tables[name]) == []


def test_keys_are_numbered_alike_whether_or_not_they_fit_one_number(tmp_path, monkeypatch):
    log = read_log(write(tmp_path, base()), TODAY)
    tables = {name: pd.concat([frame, frame], ignore_index=True) for name, frame in log.tables.items()}
    book = Book(tables, coded_tables(tables), {}, frozenset())
    wide = {table.name: book.key_numbers(table.name, table.key) for table in TABLES}
    monkeypatch.setattr(rulebook, "MOST", 1)
    for table in TABLES:
        narrow = book.key_numbers(table.name, table.key)
        assert (pd.factorize(narrow)[0] == pd.factorize(wide[table.name])[0]).all()
        assert ((narrow < 0) == (wide[table.name] < 0)).all()


def test_the_hash_is_that_of_rows_sorted_part_by_part(tmp_path, monkeypatch):
    log = read_log(write(tmp_path, base()), TODAY)
    turned = {name: frame.iloc[::-1].reset_index(drop=True) for name, frame in log.tables.items()}
    assert loghash.hash_of(coded_tables(turned)) == log.hash
    monkeypatch.setattr(loghash, "_as_one", lambda keys: None)
    assert loghash.hash_of(coded_tables(turned)) == log.hash


def test_values_written_in_two_ways_have_one_number():
    coded = Coded(np.array([0, 1, 2, -1, 0]), [1.0, 1, None])
    assert coded.numbers.tolist() == [0, 0, -1, -1, 0]


def test_the_first_row_of_a_job_is_its_place_however_it_is_written(tmp_path):
    text = as_csv_text("jobs", [BASE["jobs"][0], BASE["jobs"][1], {**BASE["jobs"][0], "fee_amount": "7"}])
    name = BASE["jobs"][0]["job_id"]
    (write(tmp_path, base()) / "jobs.csv").write_text(text.replace(name, f" {name}", 1), encoding="utf-8")
    log = read_log(tmp_path, TODAY)
    raws = delimited.read_delimited(tmp_path / "jobs.csv", BY_NAME["jobs"]).columns["job_id"]
    coded = {"jobs": {"job_id": Coded(raws.codes, [text.strip() for text in raws.uniques])}}
    book = Book(log.tables, coded, {}, frozenset())
    assert book.job_rows("jobs").tolist() == [0, 1, 0]
    assert [p.line for p in log.problems if p.code == "duplicate-key"] == [4]


def test_a_network_of_shops_is_one_clean_log(tmp_path, monkeypatch):
    monkeypatch.setattr("analysis.demo.network.SHOP_JOBS", 60)
    write_network(tmp_path / "a", 150, 5)
    write_network(tmp_path / "b", 150, 5)
    log = read_log(tmp_path / "a", TODAY)
    assert not log.faults
    assert len(log.tables["jobs"]) == log.tables["jobs"]["job_id"].nunique() == 150
    assert len(log.tables["technicians"]) == 15
    assert log.tables["jobs"]["donor_id"].dropna().isin(log.tables["donors"]["donor_id"]).all()
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()
