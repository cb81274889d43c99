"""Bench hours that are not recorded: counted on both ends, bounded where few, refused where many."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.cohort.hours import hours_to_success
from tests.tables import boot, closed, job, log_of


def ended(booted: int, booted_lack: int, failed: int, failed_lack: int, **job_facts):
    """Jobs that boot at hour 1, or are closed without at hour 2; of each so many lack the hours of their end."""
    jobs, tests = [], []
    for i in range(booted):
        facts = {"bench_hours": None} | job_facts
        jobs.append(closed(f"S{i}", **facts))
        tests.append(boot(f"S{i}", 1, "data_readable", bench_hours_so_far=None if i < booted_lack else 1.0))
    for i in range(failed):
        jobs.append(closed(f"F{i}", "not_recovered", bench_hours=None if i < failed_lack else 2.0))
        tests.append(boot(f"F{i}", 1, "short"))
    return log_of(jobs=jobs, boot_tests=tests)


@pytest.mark.parametrize(
    ("case", "refused"),
    [
        ((60, 0, 40, 30), True),
        ((60, 0, 40, 5), True),
        ((60, 0, 40, 4), False),
        ((60, 7, 40, 0), True),
        ((60, 6, 40, 0), False),
        ((0, 0, 40, 0), False),
    ],
)
def test_either_end_may_lack_at_most_a_tenth_of_its_hours(case, refused):
    found = hours_to_success(ended(*case)).lacking
    assert (found.of_booted, found.booted, found.of_closed, found.closed) == case
    assert found.too_many is refused


def test_a_job_closed_without_success_takes_the_hours_of_its_last_test_where_its_own_are_missing():
    log = log_of(
        jobs=[closed("A", "not_recovered", bench_hours=None), closed("B", "not_recovered", bench_hours=7.0)],
        boot_tests=[
            boot("A", 1, "short", bench_hours_so_far=3.0),
            boot("A", 2, "short", bench_hours_so_far=5.0),
            boot("B", 1, "short", bench_hours_so_far=4.0),
        ],
    )
    found = hours_to_success(log)
    assert found.rows.to_numpy().tolist() == [["A", 5.0, 2], ["B", 7.0, 2]]
    assert found.lower_limits == 1


def test_a_loss_for_good_ends_a_job_that_is_not_closed_yet():
    log = log_of(jobs=[job("A", loss_reversible=False, bench_hours=3.0), job("B", bench_hours=3.0)])
    np.testing.assert_array_equal(hours_to_success(log).rows["event"], [2, 0])
