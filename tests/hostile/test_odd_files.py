"""What is no file or no table, exports that would strike the log, terminals that lack letters, logs that change."""

from __future__ import annotations

import csv
import io
import json
import os
import stat
import zipfile

import pytest

from analysis.cli import main
from analysis.errors import LogError
from analysis.records import log as log_module
from analysis.records.log import read_log
from analysis.records.problems import Problem, Severity, as_csv, as_json
from tests.files import BASE, TODAY, as_csv_text, base, found, write
from tests.hostile.commands import rework

POSIX = pytest.mark.skipif(os.name != "posix", reason="pipes, devices and names of any bytes are a matter of POSIX")
ODD = {
    "a folder": lambda path: path.mkdir(),
    "a pipe": lambda path: os.mkfifo(path),
    "a link to an endless device": lambda path: path.symlink_to("/dev/zero"),
    "a link to nowhere": lambda path: path.symlink_to(path.with_name("gone")),
    "a link to itself": lambda path: path.symlink_to(path),
}
FILES = ("jobs.csv", "donors.csv", "bench.toml")


@POSIX
@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("odd", ODD)
def test_what_is_no_file_is_named_and_never_opened(tmp_path, name, odd):
    folder = write(tmp_path / "log", base())
    (folder / name).unlink(missing_ok=True)
    ODD[odd](folder / name)
    (problem,) = found(folder)
    assert (problem.code, problem.file, problem.severity) == (
        "setting" if name == "bench.toml" else "no-file",
        name,
        Severity.FAULT,
    )
    assert problem.found in ("a folder", "a pipe or device", "a link that leads nowhere")
    if name != "bench.toml":
        with pytest.raises(LogError, match="belong to no single job"):
            read_log(folder, TODAY).without_faulty_jobs()


@POSIX
def test_a_pipe_in_place_of_a_table_does_not_make_the_command_wait(tmp_path):
    folder = write(tmp_path / "log", base())
    (folder / "donors.csv").unlink()
    os.mkfifo(folder / "donors.csv")
    assert "a pipe or device" in rework("check", folder, seconds=40).out


@POSIX
def test_links_to_files_and_folders_are_followed(tmp_path):
    folder = write(tmp_path / "log", base())
    (folder / "jobs.csv").rename(tmp_path / "elsewhere.csv")
    (folder / "jobs.csv").symlink_to(tmp_path / "elsewhere.csv")
    (tmp_path / "link").symlink_to(folder)
    assert found(tmp_path / "link") == []


def zipped() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("jobs.csv", as_csv_text("jobs", BASE["jobs"]))
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "empty-file"),
        (b"\xef\xbb\xbf", "empty-file"),
        (b"\xff\xfe", "empty-file"),
        (zipped(), "not-csv"),
        (bytes(range(256)) * 40, "nul-byte"),
        (b"\x7fELF\x02\x01\x01" + bytes(9), "nul-byte"),
        (b"\x89PNG\r\n\x1a\n" + bytes(8), "nul-byte"),
        (b"\x1f\x8b\x08" + bytes([200, 129, 141]) * 50, "encoding"),
    ],
    ids=["empty", "mark-only", "utf16-mark-only", "zip", "all-bytes", "program", "picture", "packed"],
)
def test_files_that_are_no_tables_are_named(tmp_path, data, code, capsys):
    folder = write(tmp_path / "log", base())
    (folder / "donors.csv").write_bytes(data)
    assert {p.code for p in found(folder) if p.file == "donors.csv"} == {code}
    assert main(["check", str(folder)]) == 1
    assert "donors.csv" in capsys.readouterr().out


@pytest.mark.parametrize("name", BASE)
def test_a_table_of_headings_only_is_an_empty_table(tmp_path, name):
    folder = write(tmp_path / "log", {name: []} if name == "jobs" else base() | {name: []})
    problems = found(folder, Severity.FAULT)
    assert not [p for p in problems if p.file == f"{name}.csv"]
    assert len(read_log(folder, TODAY).tables[name]) == 0


@pytest.mark.parametrize("depth", [1, 2, 500, 5000])
def test_deeply_quoted_fields_are_told_at_their_cell(tmp_path, depth):
    tables = base()
    tables["jobs"][0]["board_family"] = '"' * depth + "FAM-A" + '"' * depth
    (problem,) = found(write(tmp_path, tables))
    assert (problem.line, problem.column, problem.code) == (2, "board_family", "key")
    assert len(problem.line_text()) < 500


@pytest.mark.parametrize(
    "text", ["x" * 10_000, "é" * 10_000, "9" * 10_000, "=" * 10_000, "a," * 5_000, "\u202e" * 10_000]
)
@pytest.mark.parametrize(("table", "column"), [("jobs", "board_family"), ("jobs", "received_date"), ("donors", "lot")])
def test_cells_of_ten_thousand_letters_are_told_in_one_line(tmp_path, text, table, column):
    tables = base()
    tables[table][0][column] = text
    (problem,) = found(write(tmp_path, tables))
    assert (problem.file, problem.line, problem.column) == (f"{table}.csv", 2, column)
    assert len(problem.line_text()) < 500


def test_five_thousand_columns_that_are_not_read(tmp_path):
    folder = write(tmp_path / "log", base())
    lines = as_csv_text("jobs", BASE["jobs"]).splitlines()
    extra = ",".join(f"extra_{n}" for n in range(5000))
    text = "\n".join([f"{lines[0]},{extra}", *(f"{line}{',x' * 5000}" for line in lines[1:])]) + "\n"
    (folder / "jobs.csv").write_text(text, encoding="utf-8")
    problems = found(folder)
    assert {p.code for p in problems} == {"unknown-column"}
    assert len(read_log(folder, TODAY).tables["jobs"]) == 4


@pytest.mark.parametrize("name", [*(f"{table}.csv" for table in BASE), "bench.toml"])
def test_an_export_never_strikes_the_log(tmp_path, name, capsys):
    folder = write(tmp_path / "log", base())
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    for target in (folder / name, folder / ".." / "log" / name):
        assert main(["check", str(folder), "--csv", str(target)]) == 2
        assert "is a file of the log" in capsys.readouterr().err
    if os.name == "posix" and (folder / name).exists():
        (tmp_path / "link.csv").symlink_to(folder / name)
        assert main(["check", str(folder), "--csv", str(tmp_path / "link.csv")]) == 2
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


@POSIX
def test_an_export_to_a_device_leaves_the_device(tmp_path, capsys):
    folder = write(tmp_path / "log", base())
    assert main(["check", str(folder), "--csv", "/dev/full"]) == 2
    assert "No space left" in capsys.readouterr().err
    assert stat.S_ISCHR(os.stat("/dev/full").st_mode)


@POSIX
def test_a_log_folder_and_files_with_names_of_any_bytes(tmp_path):
    folder = tmp_path / os.fsdecode(b"L\xf6tstelle \xc3\xa4 \xe6\x97\xa5 1")
    try:
        write(folder, base())
        (folder / os.fsdecode(b"caf\xe9.csv")).write_text("x")
    except OSError:
        pytest.skip("SKIPPED: this file system takes no names that are not UTF-8")
    answer = rework("check", folder, "--csv", tmp_path / "faults.csv")
    assert "caf\\xdce9.csv" in answer.out
    assert "stranger" in (tmp_path / "faults.csv").read_text(encoding="utf-8")
    assert json.loads(rework("check", folder, "--json").out)[0]["code"] == "stranger"


def test_a_terminal_that_lacks_letters_gets_their_numbers(tmp_path):
    tables = base()
    tables["jobs"][0]["intake_damage"] = "dr\u043ep"
    folder = write(tmp_path / "Prüfung", tables)
    answer = rework("check", folder, PYTHONIOENCODING="ascii")
    assert answer.status == 1
    assert "dr\\u043ep" in answer.out
    found_json = json.loads(rework("check", folder, "--json", PYTHONIOENCODING="ascii").out)
    assert found_json[0]["found"] == "'dr\u043ep'"


def test_names_in_error_messages_cannot_steer_the_terminal(tmp_path, capsys):
    assert main(["check", str(tmp_path / "a\x1b[31m\u202eb")]) == 2
    told = capsys.readouterr().err
    assert "\x1b" not in told
    assert "\u202e" not in told


@pytest.mark.parametrize("name", ["a" * 300, "/".join(["a" * 200] * 30)])
def test_a_path_that_is_too_long_is_told_in_words(tmp_path, name, capsys):
    for command in ("check", "review"):
        assert main([command, str(tmp_path / name)]) == 2
        assert "rework: " in capsys.readouterr().err


def test_a_log_that_changes_while_it_is_read_is_not_used(tmp_path, monkeypatch):
    folder = write(tmp_path / "log", base())
    read = log_module.read_delimited

    def slow(path, table):
        raw = read(path, table)
        if table.name == "heat_steps":  # someone saves a table that has been read already
            (folder / "jobs.csv").write_text(as_csv_text("jobs", BASE["jobs"][:2]), encoding="utf-8")
        return raw

    monkeypatch.setattr(log_module, "read_delimited", slow)
    with pytest.raises(LogError, match=r"jobs\.csv changed while the log was read") as error:
        read_log(folder, TODAY)
    assert "run the command again" in str(error.value)


@pytest.mark.parametrize("made", ["donors.csv", "bench.toml"])
def test_a_file_that_appears_or_goes_while_the_log_is_read(tmp_path, monkeypatch, made):
    folder = write(tmp_path / "log", {"jobs": base()["jobs"]})

    def meanwhile(_):
        (folder / made).write_text("x")
        return log_module.Settings(), []

    monkeypatch.setattr(log_module, "examine_settings", meanwhile)
    with pytest.raises(LogError, match=f"{made} changed"):
        read_log(folder, TODAY)


FORMULAS = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "  =1",
    "\u00a0=1",
    "＝1",
    "－1",
    "=cmd|' /C calc'!A0",
]


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_exported_cell_begins_like_a_formula(formula):
    fields = dict.fromkeys(("file", "job", "column", "found", "rule", "todo", "code"), formula)
    problem = Problem(**fields, line=1, severity=Severity.FAULT)
    rows = list(csv.reader(io.StringIO(as_csv([problem]), newline="")))
    assert all(cell.lstrip()[:1] not in tuple("=+-@＝＋－＠") and cell[:1] not in tuple("\t\r\n") for cell in rows[1])
    assert json.loads(as_json([problem]))[0]["found"] == formula


@pytest.mark.parametrize("formula", FORMULAS)
@pytest.mark.parametrize(("table", "column"), [("jobs", "job_id"), ("jobs", "board_family"), ("donors", "lot")])
def test_formulas_in_the_log_are_disarmed_in_the_export(tmp_path, formula, table, column, capsys):
    tables = base()
    tables[table][0][column] = formula
    folder = write(tmp_path / "log", tables)
    assert main(["check", str(folder), "--csv", str(tmp_path / "faults.csv")]) == 1
    capsys.readouterr()
    with (tmp_path / "faults.csv").open(encoding="utf-8", newline="") as lines:
        cells = [cell for row in csv.reader(lines) for cell in row]
    assert not [cell for cell in cells if cell.lstrip()[:1] in tuple("=+-@＝＋－＠")]
