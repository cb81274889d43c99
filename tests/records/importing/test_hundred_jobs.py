"""A messy sheet of a hundred jobs: everything unsure is asked at the first run, and the next runs take the answers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analysis.cohort.work import dated
from analysis.records.check import check_log
from analysis.records.log import read_log
from tests.records.importing import hundred_jobs
from tests.records.importing.messy_workbook import answer
from tests.records.importing.sheets import TODAY, aside, asked, cells, run, table

NAMES = re.compile("ida|brun+o", re.IGNORECASE)
SHEET = hundred_jobs.rows()


def answered(mapping: Path, answers) -> None:
    answer(mapping, [("hundred_jobs", *entry) for entry in answers])


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """The first run, the run with the answers, and the one with what was asked then."""
    folder = tmp_path_factory.mktemp("hundred")
    source, log = folder / "hundred_jobs.csv", folder / "log"
    source.write_bytes(hundred_jobs.csv_bytes())
    out = [run(source, log)]
    for answers in (hundred_jobs.ANSWERS, hundred_jobs.LATER):
        answered(log / "import.toml", answers)
        out.append(run(source, log))
    return log, out


def column(log: Path, name: str, table_name: str = "jobs") -> dict[str, str]:
    return {row["job_id"]: row.get(name, "") for row in table(log, table_name)}


def test_the_questions_of_each_run_are_those_the_owner_answers(runs):
    _, (first, second, third) = runs
    assert asked(first) == {(heading, key.partition(".")[0]) for heading, key, _ in hundred_jobs.ANSWERS}
    assert asked(second) == {(heading, key.partition(".")[0]) for heading, key, _ in hundred_jobs.LATER}
    assert asked(third) == set()


def test_spellings_of_a_name_are_one_question_with_one_pseudonym(runs):
    log, (first, *_) = runs
    said = next(q.text for q in first.questions if q.heading == "Who")
    assert "maybe T1: stands as 'Ida', 'ida', 'IDA': one person or two?" in said
    assert re.search(r"'Brunno' \(\d+ cells, maybe T2: like '[bB]runo': one person or two\?", said)
    assert "names stay in this file, never in the log" in said
    wanted = {"Ida": "T1", "ida": "T1", "IDA ": "T1", "Bruno": "T2", "bruno": "T2", "Brunno": "T2", "T3": "T3"}
    assert column(log, "technician_id") == {row["Job"]: wanted[row["Who"]] for row in SHEET}


def test_names_stand_in_the_mapping_only(tmp_path):
    source = tmp_path / "hundred_jobs.csv"
    source.write_bytes(hundred_jobs.csv_bytes())
    run(source, tmp_path / "log")
    holding = {path.name for path in (tmp_path / "log").iterdir() if NAMES.search(path.read_text(encoding="utf-8"))}
    assert holding == {"import.toml"}


def test_only_jobs_that_were_taken_have_a_donor(runs):
    log, _ = runs
    decision, donor = column(log, "decision"), column(log, "donor_id")
    assert {job for job, code in donor.items() if code} == {job for job, said in decision.items() if said == "accepted"}
    assert set(cells(log, "donor_id", "donors")) == set(donor.values()) - {""}


def test_work_is_placed_when_it_is_dated(runs):
    log, (first, second, _) = runs
    assert not first.placement.records["chip_sides"]
    assert second.merged.rows_added["chip_sides"] > 100
    assert second.merged.changes == []
    for name in ("chip_sides", "heat_steps"):
        assert set(cells(log, "before_test_no", name)) == {"1"}


def test_a_value_that_means_two_things_settles_both(runs):
    log, (first, *_) = runs
    said = " ".join(question.text for question in first.questions)
    assert 'maybe "declined, jobs.decline_reason=no_donor"' in said
    assert 'maybe "not_recovered, jobs.failure_cause=pads_lost"' in said
    damage, second, reason = (column(log, name) for name in ("intake_damage", "second_damage", "decline_reason"))
    cause, outcome = column(log, "failure_cause"), column(log, "outcome")
    for row in SHEET:
        job = row["Job"]
        if row["What happened"] == "water + drop":
            assert (damage[job], second[job]) == ("liquid", "drop")
        if row["Taken?"] == "declined - no donor":
            assert reason[job] == "no_donor"
        if row.get("Data back") == "bricked/pads gone":
            assert (outcome[job], cause[job]) == ("not_recovered", "pads_lost")


def test_numbers_in_words_are_asked_with_what_they_likely_mean(runs):
    log, (first, *_) = runs
    said = next(q.text for q in first.questions if q.heading == "CPU lower cleaned (times)")
    for part in ("'2x' (%, maybe 2)", "'none' (%, maybe 0)", "'2-3' (%, between 2 and 3: one number, or blank)"):
        assert re.search(re.escape(part).replace("%", r"\d+ cells"), said), part
    assert 'answer a whole number from 0 to 8 passes, or "blank"' in said
    hours = column(log, "bench_hours")
    assert {hours[row["Job"]] for row in SHEET if row.get("Hours") == "approx 2h"} == {"2"}
    minutes = {
        row["job_id"]: row.get("bench_hours_so_far") for row in table(log, "boot_tests") if row["test_no"] == "1"
    }
    assert {minutes[row["Job"]] for row in SHEET if row.get("Min at test 1") == "90"} == {"1.5"}


def test_the_cause_of_a_failed_test_is_the_jobs_only_where_the_job_failed_at_it(runs):
    log, _ = runs
    cause, outcome = column(log, "failure_cause"), column(log, "outcome")
    assert not {job for job, said in cause.items() if said and outcome[job] == "recovered"}
    alone = [
        r for r in SHEET if r.get("Boot 1 - why not") == "pads gone" and not r["Boot 2"] and not r["Why it failed"]
    ]
    lost = [row["Job"] for row in alone if row["Data back"] == "no"]
    assert lost
    assert {cause[job] for job in lost} == {"pads_lost"}
    reasons = {row["why"] for row in aside(log) if row["column"] == "Boot 1 - why not"}
    assert any("another one followed" in why for why in reasons)


def test_codes_are_listed_with_a_word_of_explanation(runs):
    _, (first, *_) = runs
    said = next(q.text for q in first.questions if q.heading == "Data back")
    assert "recovered (the client's data were read), not_recovered (closed without the data)" in said
    assert "rework column outcome" in said
    assert "a part of the data counts as not recovered" in said


def test_an_answered_question_leaves_no_trace_in_the_mapping(runs):
    log, _ = runs
    text = (log / "import.toml").read_text(encoding="utf-8")
    assert "QUESTION" not in text
    assert "# codes:" not in text
    assert '"asked"' not in text
    assert 'confidence = "answered"' in text


def test_the_log_is_clean(runs):
    log, _ = runs
    assert not [p for p in check_log(log, TODAY).problems if p.severity == "fault"]


@pytest.mark.parametrize(("said", "undated"), [("yes", False), ("no", True)])
def test_dated_work_may_enter_the_first_boot_model_and_undated_work_may_not(tmp_path, said, undated):
    source, log = tmp_path / "hundred_jobs.csv", tmp_path / "log"
    source.write_bytes(hundred_jobs.csv_bytes())
    run(source, log)
    answered(log / "import.toml", [("", "work_before_test_1", said)])
    run(source, log)
    found = read_log(log, TODAY)
    _, left_out = dated(found.tables["chip_sides"], found)
    assert bool(left_out) is undated
