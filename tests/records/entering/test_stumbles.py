"""What a technician stumbled over in the first twelve jobs of an empty log, each mended."""

from __future__ import annotations

import os
import re
import sys

import pytest

from analysis.records.blank import blank_log
from analysis.records.dictionary import HEAT_STEPS, JOBS
from analysis.records.entering import day
from analysis.records.entering.cells import AnswerError
from analysis.records.entering.command import enter_at_the_bench, enter_by_flags
from analysis.records.entering.desk import Desk
from analysis.records.entering.presets import FILE, template
from analysis.records.entering.session import Question, Session
from analysis.records.entering.trial import RefusedEntryError
from analysis.records.log import read_log
from analysis.records.problems import Problem, Severity
from tests.files import TODAY, base, found, write
from tests.records.entering.test_at_the_bench import INTAKE, Script, contents, in_force, rows


@pytest.fixture
def log(tmp_path):
    folder = write(tmp_path / "log", base())
    (folder / FILE).write_text(in_force(template()).replace("also_ask", "#also_ask"))
    return folder


# Keystroke-level model of Card, Moran and Newell (1980), from memory: 0.28 s a keystroke of an average typist, 1.35 s
# to make up one's mind before each answer.
KEYSTROKE_S, MIND_S = 0.28, 1.35


def test_a_recovered_job_with_three_chips_takes_less_than_two_minutes(log, capsys):
    typed = (
        *(("damage at intake", "2"), ("board family", "1"), ("device age", "3"), ("earlier rework", "1")),
        *(("decision", "1"), ("underfill", "2"), ("guess", "60"), ("donor", "1")),
        *(("donor age", "2"), ("donor test", "1"), ("earlier installs", "0")),
        *(("now", "1"), ("presets used", "1 2 3")),
        *(("processor lower", "2 1 0 0"), ("processor upper", "1 1 0 0"), ("processor landing", "1 0 0 0")),
        *(("storage lower", "2 1 0 0"), ("memory lower", "1 0 0 0")),
        *(("now", "2"), ("boot result", "1"), ("hours so far", "5")),
        *(("now", "3"), ("outcome", "1"), ("bench hours", "6")),
    )
    script = Script(*typed)
    script.run(log)
    answers = len(script.asked)
    keys = answers + sum(len(answer) for _, answer in typed)
    seconds = KEYSTROKE_S * keys + MIND_S * answers
    with capsys.disabled():
        print(f"\nRoutine job, three chips: {answers} answers, {keys} keystrokes, about {seconds:.0f} s")
    assert seconds < 120
    assert found(log) == []
    assert rows(log, "chip_sides", "J-5")["chip_role"].nunique() == 3
    assert rows(log, "heat_steps", "J-5")["entry_kind"].eq("preset").all()


def test_one_wrong_number_at_the_end_is_asked_again_alone_with_what_it_is_held_against(log):
    script = Script(
        *INTAKE,
        *(("now", "boot_test"), ("boot result", "short"), ("hours so far", "3")),
        *(("now", "boot_test"), ("change made", "touch_up"), ("boot result", "data_partial"), ("hours so far", "7")),
        *(("now", "close"), ("outcome", "recovered"), ("bench hours", "6")),
        ("outcome", "not_recovered"),
        *(("loss reversible", "yes"), ("cause of failure", "poor_joint"), ("evidence", "probable")),
        ("bench hours [6]", "8"),
    )
    script.run(log)
    assert "data_partial alone is not recovered" in script.text
    again = script.asked[script.asked.index("bench hours: ") + 1 :]
    assert [re.sub(r"( \[.*\]|): $", "", prompt) for prompt in again] == [
        *("boot test 2, bench hours so far", "outcome", "bench hours"),
        *("loss reversible (yes or no)", "cause of failure", "evidence for the cause"),
        *("boot test 2, bench hours so far", "bench hours", "write it down? (yes or no)"),
    ]
    assert found(log) == []
    job = rows(log, "jobs", "J-5").iloc[0]
    assert (job["outcome"], job["bench_hours"]) == ("not_recovered", 8)
    assert list(rows(log, "boot_tests", "J-5")["bench_hours_so_far"]) == [3, 7]


def test_a_fault_of_one_side_asks_for_this_side_alone(log):
    script = Script(
        *INTAKE,
        *(("now", "work"), ("presets used", "1"), ("processor lower", "1 0 0 0"), ("processor upper", "1 0 4 0")),
        *(("processor landing", "1 0 0 0"), ("processor upper", "1 0 4 2"), ("pads lost at", "reball")),
    )
    script.run(log)
    assert len([prompt for prompt in script.asked if prompt.startswith("processor lower: passes")]) == 1
    assert len([prompt for prompt in script.asked if prompt.startswith("processor upper: passes")]) == 2
    assert list(rows(log, "chip_sides", "J-5")["pads_lost_n"]) == [0, 2, 0]
    assert found(log) == []


def test_a_blank_stays_blank_on_the_way_back():
    answers = iter(["-", "<", "", ""])
    session = Session(lambda prompt: next(answers), print)
    one, two = (Question(key, key, str, default="proposed") for key in "ab")
    assert session.run(lambda: (session.ask(one), session.ask(two))) == ("", "proposed")


def test_texts_are_told_once_though_answers_are_taken_again():
    said, answers = [], iter(["1", "2", "3", "9", ""])
    session = Session(lambda prompt: next(answers), said.append)

    def flow():
        out = []
        for key in "abc":
            session.say(f"about {key}")
            out.append(session.ask(Question(key, key, str)))
        return out

    session.run(flow)
    session.back(["b"])
    assert session.run(flow) == ["1", "9", "3"]
    assert said == ["about a", "about b", "about c", "about b"]


@pytest.mark.parametrize("job", ["anna@example.org", "two words"])
def test_a_job_that_cannot_be_called_so_is_refused_before_the_first_question(log, job):
    with pytest.raises(AnswerError, match="job_id"):
        enter_at_the_bench(log, job, TODAY, lambda prompt: pytest.fail("asked"), print)


def test_next_is_no_code(log):
    assert Script(("damage at intake", "drop"), ("decision", "withdrawn")).run(log, "next") == "J-5"


def test_an_earlier_job_that_is_not_there_is_refused_at_once(log):
    script = Script(
        *(("damage at intake", "drop"), ("earlier rework", "here"), ("earlier job", "J-9"), ("earlier job", "J-2")),
        ("decision", "declined"),
    )
    script.run(log)
    assert "there is no job 'J-9' in the log. " in script.text
    assert found(log) == []


def test_enter_says_neither_whose_job_it_is_nor_which_donor(log):
    """Only where one technician does all jobs is there nothing to say; a board lost early needs no donor."""
    Script(("damage at intake", "drop"), ("decision", "accepted"), ("technician [", "T2")).run(log)
    (log / FILE).unlink()
    script = Script(("damage at intake", "drop"), ("decision", "accepted"))
    assert script.run(log) == "J-6"
    job = rows(log, "jobs", "J-6").iloc[0]
    assert job[["technician_id", "donor_id"]].isna().all()
    assert "D-3" not in (log / "donors.csv").read_text()


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("330F", "330 °F are 166 °C. Write °C"),
        ("662", "662 looks like Fahrenheit; it would be 350 °C"),
        ("330 C", "Write the number only: 330; the unit of this column is °C."),
    ],
)
def test_fahrenheit_is_never_taken_for_celsius(log, typed, told):
    rules = Desk.of(log, TODAY).rules
    with pytest.raises(AnswerError) as error:
        rules.read(HEAT_STEPS["set_temp_c"], typed)
    assert told in f"{error.value}"
    with pytest.raises(AnswerError) as error:
        rules.read(JOBS["fee_amount"], "400 EUR")
    assert f"{error.value}".endswith("Write the number only: 400.")


def test_the_fee_is_asked_in_the_shops_currency_and_hours_are_said_once(log):
    (log / "bench.toml").write_text('currency = "CHF"\n')
    (log / FILE).write_text('also_ask = ["fee_amount"]\n')
    script = Script(*INTAKE, ("now", "close"), ("outcome", "stopped"), ("first boot", "not_tested"))
    script.run(log)
    assert "fee (CHF): " in script.asked
    assert "bench hours: " in script.asked


def test_a_change_to_a_row_is_told_where_it_is_not_understood(log):
    script = Script(
        *INTAKE, ("now", "work"), ("presets used", "2"), ("different", "9 set_temp_c 330"), ("different", "2 330")
    )
    script.run(log)
    assert "There is no row 9. The rows above are numbered 1 to 3." in script.text
    assert "Write row, column and value with a blank between" in script.text


def test_a_cell_changed_by_flags_is_told_with_what_stood_there(log):
    said = []
    enter_by_flags(log, "J-4", ["jobs.received_date=2024-04-02", "jobs.underfill=full"], [], TODAY, said.append)
    assert "NOTE: received_date of job J-4 was '2024-04-01' and is now '2024-04-02'." in said
    assert not [text for text in said if "underfill" in text]


def test_a_fault_that_no_answer_can_mend_is_told_instead_of_asking_for_ever(log, monkeypatch):
    fault = Problem("jobs.csv", 6, "J-5", "job_id", "'J-5'", "another code", "Mend it.", Severity.FAULT, "made-up")
    monkeypatch.setattr(day, "tried", lambda *given: [fault])
    before = contents(log)
    with pytest.raises(RefusedEntryError, match="another code"):
        Script(("damage at intake", "drop"), ("decision", "withdrawn")).run(log, "J-5")
    assert contents(log) == before


def test_two_who_continue_one_job_at_once_get_two_tests_and_no_answer_goes_astray(log):
    """The other's technician is known by then and not asked any more; what was answered must not slip by one."""
    other = Script(("technician [", "T1"), ("now", "boot_test"), ("boot result", "short"))
    mine = Script(
        *(("underfill", "full"), ("technician [", "T1"), ("donor: ", "1"), ("now", "boot_test")),
        *(("boot result", "no_current"), ("change made", "touch_up"), ("boot result", "no_current")),
    )
    ask, done = mine.read_line, []

    def meanwhile(prompt):
        if "write it down" in prompt and not done:
            done.append(other.run(log, "J-4"))
        return ask(prompt)

    mine.read_line = meanwhile
    assert mine.run(log, "J-4") == "J-4"
    job = rows(log, "jobs", "J-4").iloc[0]
    assert list(job[["underfill", "technician_id", "donor_id"]]) == ["full", "T1", "D-3"]
    tests = rows(log, "boot_tests", "J-4")
    assert list(tests["boot_result"]) == ["short", "no_current"]
    assert list(tests["test_no"]) == [1, 2]
    assert found(log) == []


def test_answers_go_by_their_question_when_other_questions_come():
    answers = iter(["1", "2", "3", "new"])
    session = Session(lambda prompt: next(answers), print)
    keys = ["a", "b", "c"]

    def flow():
        return {key: session.ask(Question(key, key, str)) for key in keys}

    session.run(flow)
    keys[:] = ["a", "c", "d"]  # b is known meanwhile, d has come
    assert session.run(flow) == {"a": "1", "c": "3", "d": "new"}


# -- at a real terminal ------------------------------------------------------------------------------------------------


@pytest.mark.skipif(os.name != "posix", reason="a pseudo-terminal is a POSIX notion")
def test_two_real_terminals_at_once_and_ctrl_c_in_the_middle(tmp_path):
    import pexpect

    blank_log(tmp_path / "log")
    names = [sys.executable, "-m", "analysis", "enter", str(tmp_path / "log")]
    answers = {"damage at intake": "drop", "decision": "withdrawn"}

    def begin(until: str):
        terminal = pexpect.spawn(names[0], names[1:], encoding="utf-8", timeout=120, dimensions=(50, 200))
        while True:
            terminal.expect(r"([^\r\n]*): $")
            if until in terminal.match[1]:
                return terminal
            terminal.sendline(next((answer for key, answer in answers.items() if key in terminal.match[1]), ""))

    left, first, second = begin("earlier rework"), begin("write it down"), begin("write it down")
    left.sendintr()
    left.expect("interrupted; nothing was changed")
    for terminal in (first, second):
        terminal.sendline("yes")
        terminal.expect(pexpect.EOF)
    assert "Written: job J-0001" in first.before
    assert "this job is J-0002. Correct it on the job's label." in second.before
    for terminal in (left, first, second):
        terminal.close()
    assert [terminal.exitstatus for terminal in (left, first, second)] == [130, 0, 0]
    assert list(read_log(tmp_path / "log", None).tables["jobs"]["job_id"]) == ["J-0001", "J-0002"]
