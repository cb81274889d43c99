"""What became of a job after each boot test, where the log does not hold every test."""

from __future__ import annotations

import pytest

from analysis.cohort.attempts import build_attempts
from analysis.models.attempts import AttemptRow, life_table
from tests.tables import boot, closed, job, log_of


def table_of(jobs: list, tests: list) -> tuple[AttemptRow, ...]:
    rows = build_attempts(log_of(jobs=jobs, boot_tests=tests)).rows
    return life_table(rows["test_no"], rows["success"], rows["then"])


def hundred_jobs(logged: bool) -> tuple[list, list]:
    """Of 100 jobs 50 boot at test 1 and 25 more fail and are given up; 25 go on, of which 15 boot at test 2.

    A shop that does not log single tests writes the first result of the first 75 with the job.
    """
    jobs, tests = [], []
    for i in range(100):
        booted = i < 50 or i >= 85
        first = "data_readable" if i < 50 else "short"
        alone = i < 75 and not logged
        jobs.append(
            closed(f"J{i}", "recovered" if booted else "not_recovered", **{"first_boot_result": first} if alone else {})
        )
        tests += [] if alone else [boot(f"J{i}", 1, first)]
        tests += [boot(f"J{i}", 2, "data_readable" if booted else "short")] if i >= 75 else []
    return jobs, tests


def test_a_shop_that_logs_only_jobs_with_several_tests_gets_both_bounds_by_hand():
    """Truth: 50 + 15 of 100. Censoring the 25 takes 15 of 25 for the chance of all 50 that failed: 50 + 30."""
    second = table_of(*hundred_jobs(logged=False))[1]
    assert second.within_low[0] == pytest.approx(0.65)
    assert second.within_high[0] == pytest.approx(0.80)
    assert second.bounded
    first = table_of(*hundred_jobs(logged=False))[0]
    assert (first.unrecorded, first.given_up, first.still_open) == (25, 0, 0)
    assert not first.bounded


def test_with_every_test_logged_there_is_one_answer():
    first, second = table_of(*hundred_jobs(logged=True))
    assert second.within_low == second.within_high
    assert second.within_low[0] == pytest.approx(0.65)
    assert (first.given_up, first.unrecorded) == (25, 0)


def test_a_loss_for_good_is_an_end_in_every_view_whatever_else_is_written_down():
    """Two boot, one is lost (first result only typed), one lost while open, one of two left boots at test 2."""
    jobs = [
        closed("A"),
        closed("B"),
        closed("C", "not_recovered", first_boot_result="short", loss_reversible=False),
        job("D", loss_reversible=False),
        closed("E"),
        closed("F", "not_recovered"),
    ]
    tests = [
        *(boot(name, 1, "data_readable") for name in "AB"),
        *(boot(name, 1, "short") for name in "DEF"),
        boot("E", 2, "data_readable"),
        boot("F", 2, "short"),
    ]
    first, second = table_of(jobs, tests)
    assert (first.tried, first.lost) == (6, 2)
    for view in (second.within_low, second.within_high, second.within_continued):
        assert view[0] == pytest.approx(3 / 6)


def test_a_clients_stop_is_not_the_benchs_giving_up():
    jobs = [closed("A"), closed("B", "stopped_by_client"), closed("C", "not_recovered")]
    tests = [boot("A", 1, "data_readable"), boot("B", 1, "short"), boot("C", 1, "short")]
    row = table_of(jobs, tests)[0]
    assert (row.stopped, row.given_up, row.lost) == (1, 1, 0)
    assert row.within_low[0] == pytest.approx(1 / 3)


def test_a_recovery_at_a_test_that_is_not_written_down_is_never_low_and_always_high():
    """Of four, A boots at once, B was recovered at some later test, C fails twice, D boots at test 2: 2/4 to 3/4."""
    jobs = [closed("A"), closed("B", first_boot_result="short"), closed("C", "not_recovered"), closed("D")]
    tests = [
        boot("A", 1, "data_readable"),
        *(boot(name, 1, "short") for name in "CD"),
        boot("C", 2, "short"),
        boot("D", 2, "data_readable"),
    ]
    first, second = table_of(jobs, tests)
    assert (first.unrecorded_boot, first.unrecorded) == (1, 0)
    assert not first.bounded
    assert second.within_low[0] == pytest.approx(2 / 4)
    assert second.within_high[0] == pytest.approx(3 / 4)
