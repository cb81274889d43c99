"""The form for entering jobs, driven as a hand would drive it: the same rules, marks and files as at the terminal."""

from __future__ import annotations

import pytest
from filelock import FileLock

from analysis.records.dictionary import JOBS
from analysis.records.entering import storing
from analysis.records.entering.entry import Entry
from analysis.records.entering.presets import FILE, template
from analysis.records.entering.storing import store
from analysis.records.log import read_log
from analysis.report.enter_form import EnterForm
from tests.files import TODAY, base, found, write
from tests.records.entering.test_at_the_bench import BOOT, CLOSE, INTAKE, WORK, Script, in_force

DEMO = "data_demo"


@pytest.fixture
def log(tmp_path):
    folder = write(tmp_path / "log", base())
    (folder / FILE).write_text(in_force(template()).replace("also_ask", "#also_ask"))
    return folder


@pytest.fixture
def form(log):
    return EnterForm(log, TODAY)


def row_with(form: EnterForm, name: str):
    return next(row for row in (*form._jobs, form._donor) if name in row.fields)


def put(form: EnterForm, **texts: str) -> None:
    for name, text in texts.items():
        row_with(form, name).fields[name].value = text


def said(form: EnterForm, name: str) -> str:
    return row_with(form, name).said[name].value


def click(form: EnterForm, button: str) -> None:
    form.buttons[button].click()


def test_every_column_of_a_job_has_a_field_named_and_explained(form):
    names = [name for row in form._jobs for name in row.fields]
    assert {"job_id", *names} == {*JOBS.names}
    assert row_with(form, "intake_damage").fields["intake_damage"].options == ("", *JOBS["intake_damage"].codes)
    assert (
        row_with(form, "guessed_success_pct").fields["guessed_success_pct"].tooltip == JOBS["guessed_success_pct"].help
    )
    assert (form.job.value, row_with(form, "received_date").fields["received_date"].value) == ("J-5", "2024-11-01")


def test_a_whole_job_is_the_same_as_at_the_terminal(form, log, tmp_path):
    other = write(tmp_path / "other", base())
    (other / FILE).write_bytes((log / FILE).read_bytes())
    Script(*INTAKE, *WORK, *BOOT, *CLOSE).run(other)
    put(form, intake_damage="liquid", device_class="phone", board_family="FAM-A", device_age_years="3")
    put(form, prior_rework="none", decision="accepted", underfill="partial", guessed_success_pct="60")
    put(form, technician_id="T1", donor_id="D-3", donor_age_years="2", known_good="full_boot", prior_installs_n="0")
    put(form, bench_hours="6", outcome="recovered", closed_date="2024-11-01")
    form.presets.value = ("processor, whole move", "storage, whole move")
    click(form, "use presets")
    sides = [row for row in form.rows if row.table == "chip_sides"]
    seen = [("2", "1", "0", "0"), ("1", "0", "0", "0"), ("1", "0", "0", "0"), ("2", "1", "3", "2")]
    for row, texts in zip(sides, seen, strict=True):
        for name, text in zip(
            ("clean_passes_n", "pad_grade_found", "pad_grade_left", "pads_lost_n"), texts, strict=True
        ):
            row.fields[name].value = text
    sides[3].fields["pads_lost_at"].value = "cleaning"
    heat = [row for row in form.rows if row.table == "heat_steps"]
    assert all("preset, unchanged" in row.mark.value for row in heat)
    heat[0].fields["set_temp_c"].value = "345"
    assert "preset" not in heat[0].mark.value
    extra = form.add("heat_steps")
    extra.fields["chip_role"].value = "memory"
    extra.out.click()
    assert extra not in form.rows
    assert extra.box not in form._rows_box.children
    click(form, "add boot test")
    test = form.rows[-1].fields
    test["boot_result"].value, test["bench_hours_so_far"].value = "data_readable", "5"
    test["change_made"].value = "first_install"
    click(form, "write")
    assert "Written: job J-5" in form._told.value
    assert found(log) == []
    assert read_log(log, TODAY).hash == read_log(other, TODAY).hash
    assert form.job.value == "J-6"
    assert not form.rows
    assert (log / "jobs.csv.previous").is_file()


def test_faults_stand_beside_their_fields_and_nothing_is_written(form, log):
    before = {path.name: path.read_bytes() for path in log.glob("*.csv")}
    put(form, device_age_years="30", received_date="3/4/2024")
    click(form, "write")
    assert "must be a number from 0 to 15 years" in said(form, "device_age_years")
    assert "one day only" in said(form, "received_date")
    assert "see the fields marked" in form._top.value
    put(form, device_age_years="3", received_date="2024-05-01", decision="accepted")
    click(form, "check")
    assert said(form, "device_age_years") == ""
    assert "intake_damage" not in form._top.value
    assert "✗ fault" in said(form, "intake_damage")
    put(form, intake_damage="drop")
    step = form.add("heat_steps")
    step.fields["chip_role"].value, step.fields["step_type"].value, step.fields["set_temp_c"].value = (
        "storage",
        "install",
        "626F",
    )
    form.add("boot_tests")  # left empty but for the day that the form proposes
    form.rows[-1].fields["test_date"].value = ""
    click(form, "check")
    assert "626 °F are 330 °C" in step.said["set_temp_c"].value
    step.fields["set_temp_c"].value = "330"
    test = form.add("boot_tests")
    test.fields["test_date"].value, test.fields["boot_result"].value = "2024-04-01", "short"
    click(form, "check")
    assert "between the job" in test.said["test_date"].value
    assert {path.name: path.read_bytes() for path in log.glob("*.csv")} == before
    test.fields["test_date"].value = "2024-05-02"
    click(form, "check")
    assert "This can be written." in form._top.value
    assert {path.name: path.read_bytes() for path in log.glob("*.csv")} == before
    click(form, "write")
    assert found(log) == []
    assert read_log(log, TODAY).rows_read["boot_tests"] == 4


def test_a_job_is_continued_and_what_the_log_holds_cannot_be_changed(form, log):
    lines = (log / "jobs.csv").read_bytes().splitlines()
    form.job.value = "J-4"
    assert row_with(form, "received_date").fields["received_date"].disabled
    assert not row_with(form, "underfill").fields["underfill"].disabled
    put(form, underfill="full")
    click(form, "write")
    assert "Written: job J-4 in jobs.csv" in form._told.value
    after = (log / "jobs.csv").read_bytes().splitlines()
    assert after[:4] == lines[:4]
    assert b",full," in after[4]


def test_details_of_a_donor_that_is_listed_already_are_not_lost_unseen(form):
    put(form, intake_damage="drop", decision="accepted", donor_id="D-1", known_good="untested")
    click(form, "check")
    assert "Only for a donor that is not in donors.csv yet" in said(form, "known_good")


def test_a_job_without_a_code_or_with_a_name_for_one(form):
    put(form, intake_damage="drop", decision="withdrawn")
    for code, told in (("", "A job needs a code"), ("anna@example.org", "e-mail"), ("two words", "without spaces")):
        form.job.value = code
        put(form, intake_damage="drop", decision="withdrawn")
        click(form, "write")
        assert told in form._top.value


def test_someone_else_may_write_meanwhile(form, log):
    put(form, intake_damage="drop", decision="withdrawn")
    cells = {"received_date": "2024-05-02", "intake_damage": "heat", "decision": "withdrawn"}
    store(log, Entry("J-5", True, True, cells), TODAY)
    click(form, "write")
    assert "Written: job J-6" in form._told.value
    assert found(log) == []


def test_answers_that_cannot_be_written_are_kept(form, log, monkeypatch):
    monkeypatch.setattr(storing, "WAIT_S", 0.1)
    put(form, intake_damage="drop", decision="withdrawn")
    with FileLock(log / storing.LOCK):
        click(form, "write")
    assert "another entry has been writing" in form._top.value
    assert (log / "unwritten_J-5.json").is_file()
    assert form.job.value == "J-5"


def test_nothing_is_written_into_the_demo(monkeypatch):
    monkeypatch.setattr(storing, "locked", lambda folder: pytest.fail("not even a lock"))
    form = EnterForm(DEMO)
    assert form.buttons["write"].disabled
    assert "Invented data" in form._top.value
    put(form, intake_damage="drop", decision="withdrawn")
    assert form.write() is None


def test_text_of_the_log_is_no_markup(log):
    (log / FILE).write_text("[[preset]]\nname = '<b>bold</b>'\n")
    form = EnterForm(log, TODAY)
    put(form, intake_damage="drop", device_age_years="<img src=x>")
    click(form, "check")
    assert "&lt;img" in said(form, "device_age_years")
    assert "<img" not in said(form, "device_age_years")
