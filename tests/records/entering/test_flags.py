"""The same entry by flags, through the command line itself; the log is untouched when a flag cannot be taken."""

from __future__ import annotations

import builtins
import datetime as dt

import pytest

from analysis.cli import main
from analysis.records.entering.command import enter_by_flags
from analysis.records.entering.presets import FILE
from analysis.records.log import read_log
from tests.files import TODAY, base, found, write

PRESETS = """
[[preset]]
name = "install, processor"
heat_steps = [
  {chip_role = "processor", step_type = "removal", set_temp_c = 350},
  {chip_role = "processor", step_type = "install", set_temp_c = 330.5},
]
chip_sides = [{chip_role = "processor", side = "lower", clean_alloy = "sn63pb37", ball_reset = true}]
"""
INTAKE = ["jobs.received_date=2024-05-02", "jobs.intake_damage=liquid", "jobs.decision=accepted"]


@pytest.fixture
def log(tmp_path):
    folder = write(tmp_path / "log", base())
    (folder / FILE).write_text(PRESETS)
    return folder


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name != ".rework-lock"}


def enter(log, job, *settings, presets=()):
    return enter_by_flags(log, job, settings, presets, TODAY, print)


def sets(settings):
    return [word for setting in settings for word in ("--set", setting)]


def test_a_job_with_a_preset_by_flags(log, capsys, monkeypatch):
    monkeypatch.setattr(builtins, "input", lambda prompt: pytest.fail("asked"))
    more = ["heat_steps.2.set_temp_c=345", "chip_sides.clean_passes_n=2", "boot_tests.boot_result=short"]
    status = main(["enter", str(log), "--job", "J-0701", "--preset", "install, processor", *sets([*INTAKE, *more])])
    assert status == 0
    assert "job J-0701" in capsys.readouterr().out
    assert found(log) == []
    tables = read_log(log, TODAY).tables
    steps = tables["heat_steps"].query("job_id == 'J-0701'")
    assert list(steps["entry_kind"]) == ["preset", "typed"]
    assert list(steps["set_temp_c"]) == [350, 345]
    assert list(tables["chip_sides"].query("job_id == 'J-0701'")["clean_passes_n"]) == [2]


def test_the_next_code_several_rows_and_a_continued_job(log):
    assert enter(log, "next", *INTAKE) == "J-5"
    tests = ["boot_tests.1.boot_result=short", "boot_tests.2.boot_result=data_readable"]
    assert enter(log, "J-5", *tests) == "J-5"
    closing = ["jobs.outcome=recovered", "jobs.closed_date=2024-05-09", "jobs.bench_hours=6,5"]
    assert enter(log, "J-5", *closing) == "J-5"
    assert found(log) == []
    job = read_log(log, TODAY).tables["jobs"].iloc[-1]
    assert (job["outcome"], job["bench_hours"]) == ("recovered", 6.5)


def test_a_known_cell_can_be_corrected(log):
    enter(log, "J-1", "jobs.bench_hours=9")
    assert read_log(log, TODAY).tables["jobs"]["bench_hours"][0] == 9
    enter(log, "J-1", "jobs.guessed_success_pct=")
    assert found(log) == []


@pytest.mark.parametrize(
    ("flags", "told"),
    [
        (["--set", "jobs.intake_damage=liquid"], "no job is named"),
        (["--job", "J-5", "--set", "jobs.intake_damge=liquid"], "intake_damage"),
        (["--job", "J-5", "--set", "job.intake_damage=liquid"], "jobs"),
        (["--job", "J-5", "--set", "jobs.intake_damage"], "has no ="),
        (["--job", "J-5", "--set", "intake_damage=liquid"], "TABLE.COLUMN"),
        (["--job", "J-5", "--set", "jobs.job_id=J-6"], "--job"),
        (["--job", "J-5", "--set", "boot_tests.2.boot_result=short"], "none is number 2"),
        (["--job", "J-5", "--set", "boot_tests.x.boot_result=short"], "no number of a row"),
        (["--job", "J-5", "--preset", "instal, processor"], "install, processor"),
        (["--job", "J-5", "--set", "jobs.intake_damage=liquid"], "always filled"),
        (["--job", "J-1", "--set", "jobs.closed_date=2024-02-01"], "on or after received_date"),
        (["--job", "a b", *sets(INTAKE)], "without spaces"),
        (["--answers", "nothing-here.json"], "cannot read or write"),
    ],
)
def test_what_cannot_be_taken_is_refused_with_status_2(log, capsys, flags, told):
    before = contents(log)
    assert main(["enter", str(log), *flags]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert "Traceback" not in error
    assert contents(log) == before


def test_the_command_asks_without_flags_and_leaves_at_the_end_of_input(log, capsys, monkeypatch):
    def nothing(prompt):
        raise EOFError

    monkeypatch.setattr(builtins, "input", nothing)
    before = contents(log)
    assert main(["enter", str(log)]) == 130
    assert "nothing was changed" in capsys.readouterr().err
    assert contents(log) == before


def test_no_log_no_questions(tmp_path, capsys):
    assert main(["enter", str(tmp_path)]) == 2
    assert main(["enter", str(tmp_path / "none")]) == 2
    assert "jobs.csv" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_write_presets_makes_the_file_and_nothing_else(tmp_path, capsys):
    log = write(tmp_path, base())
    before = contents(log)
    assert main(["enter", str(log), "--write-presets"]) == 0
    after = contents(log)
    assert set(after) - set(before) == {FILE}
    assert main(["enter", str(log), "--write-presets"]) == 2


def test_a_date_after_today_is_refused(log):
    with pytest.raises(Exception, match="not in the future"):
        enter_by_flags(log, "next", [*INTAKE[1:], "jobs.received_date=2024-12-01"], [], dt.date(2024, 11, 30), print)
