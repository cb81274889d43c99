"""Whole sittings at the terminal, with scripted answers; what is written is clean and counts as a job of the log."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from analysis.cohort.features import build_cohort
from analysis.errors import LogError, SettingsError
from analysis.records.blank import blank_log
from analysis.records.check import check_log
from analysis.records.dictionary import TABLES
from analysis.records.entering import command
from analysis.records.entering.command import enter_at_the_bench, enter_saved
from analysis.records.entering.presets import FILE, template, write_template
from analysis.records.log import read_log
from tests.files import base, found, write

TODAY = dt.date(2024, 11, 1)
NOTHING = ""


class Script:
    """Answers by what is asked; whatever it does not name gets Enter. Keeps what was said and asked."""

    def __init__(self, *answers: tuple[str, str]) -> None:
        self.left, self.asked, self.said = list(answers), [], []

    def read_line(self, prompt: str) -> str:
        self.asked.append(prompt)
        assert len(self.asked) < 200, "asks without end"
        if self.left and self.left[0][0] in prompt:
            answer = self.left.pop(0)[1]
            if isinstance(answer, type):
                raise answer
            return answer
        return NOTHING

    def run(self, log, job: str = "") -> str:
        written = enter_at_the_bench(log, job, TODAY, self.read_line, self.said.append)
        assert not self.left, f"never asked for {self.left[0]}; asked: {self.asked}"
        return written

    @property
    def text(self) -> str:
        return "\n".join(self.said)


def in_force(text: str) -> str:
    """The template as a shop would have it after taking the # away; prose stays comment."""
    return re.sub(r"^#(?! )", "", text, flags=re.MULTILINE)


@pytest.fixture
def log(tmp_path):
    folder = write(tmp_path / "log", base())
    (folder / FILE).write_text(in_force(template()).replace("also_ask", "#also_ask"))
    return folder


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file() and path.name[0] != "."}


def rows(log, table, job):
    frame = read_log(log, TODAY).tables[table]
    return frame[frame["job_id"].eq(job)].reset_index(drop=True)


INTAKE = (
    ("damage at intake", "liquid"),
    ("board family", "1"),
    ("device age", "3"),
    ("earlier rework", "none"),
    ("decision", "accepted"),
    ("underfill", "partial"),
    ("guess", "60"),
    ("donor", "1"),
    ("donor age", "2"),
    ("donor test", "full_boot"),
    ("earlier installs", "0"),
)
WORK = (
    ("now", "work"),
    ("presets used", "1 2"),
    ("anything different", "5 set_temp_c 345"),
    ("processor lower", "2 1 0 0"),
    ("processor upper", "1 0 0 0"),
    ("processor landing", "1 0 0 0"),
    ("storage lower", "2 1 3 2"),
    ("pads lost at", "cleaning"),
)
BOOT = (("now", "boot_test"), ("boot result", "data_readable"), ("hours so far", "5"))
CLOSE = (("now", "close"), ("outcome", "recovered"), ("bench hours", "6"))


def test_a_whole_job_takes_few_answers_and_is_clean_and_counted(log, capsys):
    script = Script(*INTAKE, *WORK, *BOOT, *CLOSE)
    assert script.run(log) == "J-5"
    assert found(log) == []
    answers = len(script.asked)
    with capsys.disabled():
        print(f"\nA whole job with presets, intake to closing: {answers} answers")
    # At three seconds an answer forty of them take two minutes.
    assert answers <= 40
    cohort = build_cohort(read_log(log, TODAY))
    row = cohort.jobs[cohort.jobs["job_id"].eq("J-5")].iloc[0]
    assert row["first_boot"] == 1
    steps = rows(log, "heat_steps", "J-5")
    assert list(steps["entry_kind"]) == ["typed", "preset", "preset", "preset", "preset"]
    assert list(steps["step_no"]) == [1, 2, 3, 1, 2]
    assert list(steps["set_temp_c"]) == [345, 300, 330, 340, 320]
    sides = rows(log, "chip_sides", "J-5")
    assert list(sides["pads_lost_at"].dropna()) == ["cleaning"]
    assert list(sides["chip_source"].dropna()) == ["client"] * 3
    job = rows(log, "jobs", "J-5").iloc[0]
    assert (str(job["received_date"])[:10], job["technician_id"], job["donor_id"]) == ("2024-11-01", "T1", "D-3")
    assert "D-3" in read_log(log, TODAY).tables["donors"]["donor_id"].tolist()


def test_an_intake_takes_about_six_answers(log):
    script = Script(("damage at intake", "1"), ("decision", "declined"), ("reason", "chance_too_low"))
    assert script.run(log) == "J-5"
    intake = [p for p in script.asked if not p.startswith(("decision", "decline", "reason", "write"))]
    assert len(intake) == 7  # the job's code and six facts
    assert len(script.asked) == 10
    assert found(log) == []


def test_a_job_is_continued_by_its_code_and_only_blanks_are_asked(log):
    before = (log / "jobs.csv").read_bytes().splitlines()
    script = Script(("job [", "1"), ("underfill", "full"), ("now", "boot_test"), ("boot result", "short"))
    assert script.run(log) == "J-4"
    assert "Job J-4: received_date 2024-04-01, intake_damage drop" in script.text
    assert not [p for p in script.asked if p.startswith(("received", "damage at intake", "decision", "earlier rework"))]
    assert rows(log, "jobs", "J-4").iloc[0]["underfill"] == "full"
    assert (log / "jobs.csv").read_bytes().splitlines()[:4] == before[:4]
    assert found(log) == []


def test_a_job_entered_over_three_days_is_the_same_as_in_one_sitting(log, tmp_path):
    Script(*INTAKE).run(log)
    Script(("job", "J-5"), *WORK, *BOOT).run(log)
    Script(("job", "J-5"), *CLOSE).run(log)
    other = write(tmp_path / "other", base())
    (other / FILE).write_bytes((log / FILE).read_bytes())
    Script(*INTAKE, *WORK, *BOOT, *CLOSE).run(other)
    assert read_log(log, TODAY).hash == read_log(other, TODAY).hash


def test_work_after_a_test_is_dated_before_the_next_and_steps_count_on(log):
    again = (("now", "work"), ("presets used", "storage, whole move"), ("storage lower", "1 0 0 0"))
    second = (("now", "boot_test"), ("2, change made", "reinstall"), ("boot result", "data_readable"))
    Script(*INTAKE, *WORK, ("now", "boot_test"), ("boot result", "short"), *again, *second, *CLOSE).run(log)
    assert found(log) == []
    steps = rows(log, "heat_steps", "J-5")
    storage = steps[steps["chip_role"].eq("storage")]
    assert list(storage["step_no"]) == [1, 2, 3, 4]
    assert list(storage["before_test_no"]) == [1, 1, 2, 2]
    assert list(rows(log, "boot_tests", "J-5")["test_no"]) == [1, 2]


def test_work_without_presets_is_typed_in_lines(tmp_path):
    log = write(tmp_path, base())
    script = Script(
        *INTAKE,
        ("now", "work"),
        ("another side", "proc low 2 - 0 0"),
        ("another side", "memory upper"),
        ("another heat step", "processor install 330 40 S1 60,5 150"),
    )
    script.run(log)
    assert found(log) == []
    assert not [p for p in script.asked if "preset" in p]
    sides, step = rows(log, "chip_sides", "J-5"), rows(log, "heat_steps", "J-5").iloc[0]
    assert list(sides["chip_source"].isna()) == [False, True]
    assert list(sides["pad_grade_found"].isna()) == [True, True]
    assert (step["step_s"], step["preheat_c"], step["entry_kind"]) == (60.5, 150, "typed")


def test_the_same_value_read_from_the_display_counts_as_typed_and_a_step_can_be_left_out(log):
    work = (("now", "work"), ("presets used", "2"), ("different", "2 set_temp_c 340"), ("anything else", "3 -"))
    Script(*INTAKE, *work).run(log)
    steps = rows(log, "heat_steps", "J-5")
    assert list(steps["entry_kind"]) == ["typed"]
    assert list(steps["set_temp_c"]) == [340]


@pytest.mark.parametrize(
    ("prompt", "answer", "told"),
    [
        ("damage at intake", "liqiud", "Did you mean liquid?"),
        ("damage at intake", "9", "drop, liquid"),
        ("damage at intake", "", "needs an answer"),
        ("damage at intake", "-", "needs an answer"),
        ("damage at intake", "?", "What made the board unusable"),
        ("received", "2025-03-01", "not in the future"),
        ("received", "3/4/2024", "one day only"),
        ("job", "anna@example.org", "e-mail"),
        ("device age", "44", "from 0 to 15"),
        ("device age", "two", "Write digits"),
        ("board family", "fam-a", "Did you mean FAM-A?"),
        ("board family", "some one", "without spaces"),
    ],
)
def test_an_answer_that_check_would_refuse_is_asked_again(log, prompt, answer, told):
    answers = [("damage at intake", "drop"), ("decision", "withdrawn")]
    answers.insert(1 if prompt in ("device age", "board family") else 0, (prompt, answer))
    script = Script(*answers)
    script.run(log)
    assert told in script.text
    assert len([asked for asked in script.asked if prompt in asked]) == 2
    assert found(log) == []


def test_a_code_much_like_another_is_taken_when_typed_twice(log):
    Script(
        ("damage at intake", "drop"), ("board family", "fam-a"), ("board family", "fam-a"), ("decision", "withdrawn")
    ).run(log)
    assert rows(log, "jobs", "J-5").iloc[0]["board_family"] == "fam-a"


def test_going_back_keeps_the_other_answers_and_changes_the_one(log):
    script = Script(
        ("job", "<"),  # nothing lies before the first question
        ("damage at intake", "drop"),
        ("board family", "FAM-A"),
        ("device age", "<"),
        ("board family", "<"),
        ("device", "<"),
        ("damage at intake", "heat"),
        ("decision", "accepted"),
        ("write it down", "<"),
        ("now", "boot_test"),
        ("boot result", "short"),
    )
    script.run(log)
    assert "first question" in script.text
    job = rows(log, "jobs", "J-5").iloc[0]
    assert (job["intake_damage"], job["board_family"]) == ("heat", "FAM-A")
    assert len(rows(log, "boot_tests", "J-5")) == 1


def test_a_fault_between_answers_leads_back_to_the_one_at_fault(log):
    script = Script(
        *INTAKE,
        ("now", "boot_test"),
        ("test date", "2024-10-01"),
        ("boot result", "data_readable"),
        ("now", "write"),
        ("test date", "2024-11-01"),
    )
    script.run(log)
    assert "between the job's received_date" in script.text
    # The two days that do not fit together are asked, and nothing that was answered after them.
    assert script.asked[-3:] == [
        "received [2024-11-01]: ",
        "boot test 1, test date [2024-10-01]: ",
        "write it down? (yes or no) [yes]: ",
    ]
    assert rows(log, "boot_tests", "J-5")["boot_result"].tolist() == ["data_readable"]
    assert found(log) == []


def test_a_warning_is_shown_and_does_not_block(log):
    work = (("now", "work"), ("presets used", "2"), ("anything different", "1 clean_alloy sn42bi58"))
    script = Script(*INTAKE, *work)
    script.run(log)
    assert "WARNING" in script.text
    assert [p.code for p in found(log)] == ["bismuth-lead"]


@pytest.mark.parametrize("leaving", [EOFError, KeyboardInterrupt])
@pytest.mark.parametrize("where", ["job", "decision", "write it down"])
def test_leaving_at_any_question_leaves_the_log_untouched(log, leaving, where):
    before = contents(log)
    answers = [pair for pair in INTAKE if where == "write it down" or pair[0] == "damage at intake" != where]
    with pytest.raises(KeyboardInterrupt):
        Script(*([] if where == "job" else answers), (where, leaving)).run(log)
    assert contents(log) == before


def test_no_at_the_end_leaves_the_log_untouched(log):
    before = contents(log)
    script = Script(*INTAKE, ("write it down", "no"))
    assert script.run(log) == ""
    assert contents(log) == before


def test_answers_that_cannot_be_written_are_kept_and_entered_later(log, monkeypatch):
    def full(*given):
        raise LogError("cannot be written: No space left on device.")

    with monkeypatch.context() as patch:
        patch.setattr(command, "store", full)
        with pytest.raises(LogError, match=r"--answers .*unwritten_J-5\.json"):
            Script(*INTAKE, *WORK, *BOOT, *CLOSE).run(log)
    assert found(log) == []
    assert check_log(log, TODAY).rows_read["jobs"] == 4
    saved = log / "unwritten_J-5.json"
    assert enter_saved(log, saved, "", TODAY, print) == "J-5"
    assert found(log) == []
    assert len(rows(log, "heat_steps", "J-5")) == 5
    with pytest.raises(LogError, match="J-6"):
        enter_saved(log, saved, "", TODAY, print)


def test_two_people_who_were_proposed_one_code_get_two_and_are_told(log):
    other = Script(("damage at intake", "heat"), ("decision", "withdrawn"))
    mine = Script(("damage at intake", "drop"), ("decision", "withdrawn"))
    ask = mine.read_line

    def meanwhile(prompt):
        if "write it down" in prompt:
            other.run(log)
        return ask(prompt)

    mine.read_line = meanwhile
    assert mine.run(log) == "J-6"
    assert "J-5 was taken meanwhile; this job is J-6" in mine.text
    assert found(log) == []


def test_a_log_without_lists_of_donors_and_technicians_is_not_given_any(tmp_path):
    tables = base()
    log = write(tmp_path, {"jobs": tables["jobs"], "boot_tests": tables["boot_tests"]})
    (log / "donors.csv").write_text("donor_id,known_good\n")
    script = Script(("damage at intake", "drop"), ("decision", "accepted"), ("technician", "T7"), ("donor", "D-9"))
    script.run(log)
    assert found(log) == []
    assert not [p for p in script.asked if "donor test" in p or "experience" in p]
    assert not (log / "technicians.csv").exists()


def test_the_first_job_of_a_new_log(tmp_path):
    blank_log(tmp_path / "new")
    technician = (("technician", "T1"), ("experience", "2"), ("donor", "D-1"))
    intake = [pair for pair in INTAKE if pair[0] != "board family"]
    assert Script(*intake[:6], *technician, *intake[7:], *BOOT, *CLOSE).run(tmp_path / "new") == "J-0001"
    assert found(tmp_path / "new") == []
    rows_read = check_log(tmp_path / "new", TODAY).rows_read
    assert rows_read == {t.name: int(t.name not in ("chip_sides", "heat_steps")) for t in TABLES}


# -- presets -----------------------------------------------------------------------------------------------------------


def test_the_template_holds_nothing_until_the_shop_puts_it_in_force(tmp_path):
    log = write(tmp_path, base())
    write_template(log)
    text = (log / FILE).read_text()
    assert text.count("example, not a recommendation") == 3
    assert all(not line or line.startswith("#") for line in text.splitlines())
    script = Script(*INTAKE, ("now", "work"))
    script.run(log)
    assert not [p for p in script.asked if "presets" in p]
    with pytest.raises(LogError, match="there already"):
        write_template(log)
    assert found(log) == []


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("x", "cannot be read"),
        ("colour = 1", "colour"),
        ("[defaults]\nprior_rework = 'none'", "prior_rework"),
        ("[defaults]\ndevice_class = 'radio'", "radio"),
        ("also_ask = ['colour']", "colour"),
        ("also_ask = 'colour'", "colour"),
        ("[preset]\nname = 1", "no name"),
        ("[[preset]]\nheat_steps = []", "no name"),
        ("[[preset]]\nname = 'a'\n[[preset]]\nname = 'A'", "two presets"),
        ("[[preset]]\nname = 'a'\nheat_steps = 1", "no list"),
        ("[[preset]]\nname = 'a'\n[[preset.heat_steps]]\nchip_role = 'memory'", "no step_type"),
        ("[[preset]]\nname = 'a'\n[[preset.heat_steps]]\nset_temp_c = 900", "900"),
        ("[[preset]]\nname = 'a'\n[[preset.heat_steps]]\nset_temp_c = [1]", "set_temp_c"),
        ("[[preset]]\nname = 'a'\n[[preset.heat_steps]]\nset_tmp_c = 300", "Did you mean set_temp_c"),
        ("[[preset]]\nname = 'a'\n[[preset.heat_steps]]\nmeasured_peak_c = 230", "measured on a board is never preset"),
        ("[[preset]]\nname = 'a'\n[[preset.chip_sides]]\npad_grade_found = 0", "never preset"),
        ("[[preset]]\nname = 'a'\n[[preset.chip_sides]]\nclean_passes_n = 2", "never preset"),
    ],
)
def test_presets_that_cannot_be_used_are_told_of_before_anything_is_asked(log, text, told):
    (log / FILE).write_text(text)
    script = Script()
    with pytest.raises(SettingsError, match=told):
        script.run(log)
    assert not script.asked


def test_more_columns_are_asked_for_when_the_shop_wants_them(log):
    (log / FILE).write_text('also_ask = ["second_damage", "fee_amount", "donor_cost"]\n[defaults]\nfee_amount = 600\n')
    script = Script(("damage at intake", "drop"), ("second damage", "liquid"), ("decision", "accepted"))
    script.run(log)
    job = rows(log, "jobs", "J-5").iloc[0]
    assert (job["second_damage"], job["fee_amount"]) == ("liquid", 600)
    assert [p for p in script.asked if "donor cost" in p]
