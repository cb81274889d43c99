"""The log as a whole: hash, jobs set aside, schemas, settings, blank folder, explanations, command line."""

from __future__ import annotations

import csv
import io
import json

import pandas as pd
import pytest

from analysis.cli import main
from analysis.cohort.features import build_cohort
from analysis.errors import LogError, ReworkError, SettingsError
from analysis.records.blank import blank_log
from analysis.records.describe import describe_column
from analysis.records.dictionary import TABLES, Kind, KnownAt, Role, predictors
from analysis.records.log import read_log
from analysis.records.schemas import failures, schema_of
from analysis.records.settings import Settings, read_settings, settings_file
from tests.files import BASE, TODAY, as_csv_text, base, found, write
from tests.tables import job, typed_table


def test_the_hash_ignores_order_encoding_and_delimiter_and_sees_every_change(tmp_path):
    first = read_log(write(tmp_path / "a", base()), TODAY).hash
    tables = base()
    tables["jobs"].reverse()
    write(tmp_path / "b", tables)
    text = as_csv_text("jobs", tables["jobs"], ";")
    (tmp_path / "b" / "jobs.csv").write_bytes(text.encode("utf-16"))
    assert read_log(tmp_path / "b", TODAY).hash == first
    changed = base()
    changed["heat_steps"][1]["set_temp_c"] = "301"
    assert read_log(write(tmp_path / "c", changed), TODAY).hash != first


def test_faulty_jobs_are_set_aside_whole(tmp_path):
    tables = base()
    tables["heat_steps"][0]["set_temp_c"] = "900"
    log = read_log(write(tmp_path, tables), TODAY).without_faulty_jobs()
    assert list(log.set_aside) == ["J-1"]
    assert len(log.rows_set_aside) == log.jobs_set_aside == 1
    for name in ("jobs", "heat_steps", "chip_sides", "boot_tests"):
        assert "J-1" not in set(log.tables[name]["job_id"])
    assert set(log.tables["jobs"]["job_id"]) == {"J-2", "J-3", "J-4"}


def test_rows_in_the_ledger_are_the_rows_of_the_file_whatever_is_faulty(tmp_path):
    tables = base()
    tables["heat_steps"][0]["set_temp_c"] = "900"
    tables["boot_tests"][2]["job_id"] = "J-77"
    write(tmp_path, tables)
    text = (tmp_path / "jobs.csv").read_text(encoding="utf-8")
    (tmp_path / "jobs.csv").write_text(text.replace("J-4,", "J-4,extra,"), encoding="utf-8")
    log = read_log(tmp_path, TODAY).without_faulty_jobs()
    assert {"J-1", "J-77", "J-4"} <= set(log.set_aside)
    assert log.jobs_set_aside + len(log.tables["jobs"]) == 4
    assert build_cohort(log).ledger.rows_in == 4


def test_a_faulty_donor_sets_aside_the_jobs_that_used_it(tmp_path):
    tables = base()
    tables["donors"][1]["donor_age_years"] = "99"
    log = read_log(write(tmp_path, tables), TODAY).without_faulty_jobs()
    assert list(log.set_aside) == ["J-2"]


def test_a_faulty_file_cannot_be_set_aside(tmp_path):
    write(tmp_path, base())
    (tmp_path / "donors.csv").write_bytes(b"PK\x03\x04")
    with pytest.raises(LogError, match="belong to no single job"):
        read_log(tmp_path, TODAY).without_faulty_jobs()


@pytest.mark.parametrize("table", TABLES, ids=lambda t: t.name)
def test_schemas_say_what_the_dictionary_says(table):
    schema = schema_of(table.name)
    assert tuple(schema.columns) == table.names
    for column in table.columns:
        if column.kind in (Kind.NUMBER, Kind.INTEGER) and column.high is not None:
            row = dict.fromkeys(table.names) | {column.name: column.high + 1}
            got = failures(table.name, typed_table(table, [row]))
            assert (0, column.name, "high") in got
            row[column.name] = column.low - 1
            assert (0, column.name, "low") in failures(table.name, typed_table(table, [row]))
            row[column.name] = column.high
            assert not [f for f in failures(table.name, typed_table(table, [row])) if f[1] == column.name]


def test_only_the_agreed_columns_are_required():
    frame = typed_table(TABLES[0], [{}])
    assert {column for _, column, check in failures("jobs", frame) if check == "blank"} == {
        "job_id",
        "received_date",
        "intake_damage",
        "decision",
    }
    assert failures("jobs", typed_table(TABLES[0], [job("A")])) == []


def test_columns_a_prediction_may_see_hold_no_later_fact():
    names = predictors("jobs", KnownAt.INTAKE, KnownAt.ASSESSMENT)
    for table in TABLES:
        for column in table.columns:
            if column.name in names:
                assert column.role is Role.PREDICTOR
                assert column.known_at in (KnownAt.INTAKE, KnownAt.ASSESSMENT)
    forbidden = {"technician_id", "guessed_success_pct", "decision", "fee_amount", "outcome", "bench_hours", "donor_id"}
    assert not forbidden & set(names)


def test_default_settings_survive_a_round_through_the_file(tmp_path):
    (tmp_path / "bench.toml").write_text(settings_file(), encoding="utf-8")
    assert read_settings(tmp_path) == Settings()
    (tmp_path / "bench.toml").write_text(settings_file(shop_name="Ä", minimum_class_n=5, bench_hour_cost=70))
    assert read_settings(tmp_path) == Settings(shop_name="Ä", minimum_class_n=5, bench_hour_cost=70.0)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("minimum_clas_n = 5", "Did you mean minimum_class_n"),
        ('minimum_class_n = "5"', "a whole number"),
        ("minimum_class_n = 0", "from 1 to 1000"),
        ("invented = 1", "true or false"),
        ("shop_name = 5", "a text in quotes"),
        ("missing_codes = [1]", "a list of texts"),
        ('date_order = "ymd"', "day_first"),
        ("shop_name =", "cannot be read"),
    ],
)
def test_bad_settings_are_told_in_words(tmp_path, text, told):
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as error:
        read_settings(tmp_path)
    assert told in str(error.value)


def test_a_blank_log_passes_the_check_and_is_never_overwritten(tmp_path):
    files = blank_log(tmp_path / "new")
    assert {p.name for p in files} == {*(t.file for t in TABLES), "bench.toml", "HOW_TO_FILL.txt"}
    assert found(tmp_path / "new") == []
    with pytest.raises(LogError, match="Nothing is overwritten"):
        blank_log(tmp_path / "new")
    guide = (tmp_path / "new" / "HOW_TO_FILL.txt").read_text(encoding="utf-8")
    for table in TABLES:
        for column in table.columns:
            assert column.name in guide


@pytest.mark.parametrize("name", sorted({name for table in TABLES for name in table.names}))
def test_every_column_is_explained(name):
    text = describe_column(name)
    assert "Allowed:" in text
    assert "Role:" in text


def test_an_unknown_column_is_met_with_a_hint():
    with pytest.raises(ReworkError, match="Did you mean pad_grade_found"):
        describe_column("pad_grade_fund")


def test_the_check_command_prints_lines_json_and_csv(tmp_path, capsys):
    folder = write(tmp_path / "log", base())
    assert main(["check", str(folder)]) == 0
    assert "The log is clean" in capsys.readouterr().out
    tables = base()
    tables["jobs"][0]["bench_hours"] = "88"
    write(folder, tables)
    assert main(["check", str(folder), "--csv", str(tmp_path / "faults.csv")]) == 1
    out = capsys.readouterr().out
    assert "FAULT jobs.csv:2 | job J-1 | bench_hours | found '88' | rule: a number from 0 to 80 hours | do: " in out
    rows = list(csv.DictReader(io.StringIO((tmp_path / "faults.csv").read_text(encoding="utf-8"))))
    assert rows[0]["column"] == "bench_hours"
    assert main(["check", str(folder), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)[0]["line"] == 2
    assert main(["check", str(tmp_path / "nowhere")]) == 2
    assert "does not exist" in capsys.readouterr().err


def test_formulas_are_disarmed_in_the_exported_faults(tmp_path, capsys):
    tables = base()
    tables["jobs"][0]["board_family"] = "=1+1"
    folder = write(tmp_path / "log", tables)
    main(["check", str(folder), "--csv", str(tmp_path / "faults.csv")])
    capsys.readouterr()
    for row in csv.reader(io.StringIO((tmp_path / "faults.csv").read_text(encoding="utf-8"))):
        assert not any(cell.startswith(("=", "+", "-", "@")) for cell in row)


def test_typed_columns_have_the_declared_kinds(tmp_path):
    log = read_log(write(tmp_path, base()), TODAY)
    for table in TABLES:
        frame = log.tables[table.name]
        assert list(frame.columns) == [*table.names, "_line"]
        for column in table.columns:
            wanted = {
                Kind.KEY: "string",
                Kind.CHOICE: "category",
                Kind.NUMBER: "float64",
                Kind.INTEGER: "Int64",
                Kind.DATE: "datetime64[ns]",
                Kind.YES_NO: "boolean",
            }[column.kind]
            assert str(frame[column.name].dtype) == wanted
    assert isinstance(log.last_date, pd.Timestamp)
    assert BASE["jobs"][0]["job_id"] == "J-1"
