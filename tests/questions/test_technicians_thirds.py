"""The thirds of a technician's own jobs: which job stands in which, whatever the order of the rows."""

from __future__ import annotations

import dataclasses

import pytest

from analysis.questions.technicians_private import private_answers, private_view
from analysis.questions.verdicts import Verdict
from analysis.records.settings import Settings
from tests.tables import closed, log_of

MINIMUM = 10


def dated_by_month() -> list[dict]:
    """Twelve jobs each of three technicians, all written down on the first of a month, six a month.

    Of A's, codes 0 to 7 booted and 8 to 11 did not; of B's and C's two of three did.
    """
    jobs = []
    for code in "ABC":
        for k in range(12):
            won = k < 8 if code == "A" else k % 3 > 0
            changes = {
                "first_boot_result": "data_readable" if won else "short",
                "technician_id": code,
                "intake_damage": ("drop", "liquid")[k % 2],
                "received_date": f"2025-{1 + k // 6:02d}-01",
                "closed_date": "2025-06-01",
            }
            jobs.append(closed(f"{code}-{k:02d}", "recovered" if won else "not_recovered", **changes))
    return jobs


@pytest.mark.parametrize("turned", [False, True])
def test_jobs_of_one_day_fall_into_the_same_thirds_whatever_their_order_in_the_file(turned):
    """By hand: A's twelve in fours by day and code boot 4, 4 and 0.

    Boards alternate, so that each third holds two of either kind. Of the 495 ways in which 8 of 12 jobs could have
    booted only three leave one third without any, about 3/495 = 0.006: clear.
    """
    jobs = dated_by_month()
    log = log_of(jobs=jobs[::-1] if turned else jobs)
    log = dataclasses.replace(log, settings=Settings(minimum_technician_n=MINIMUM))
    view = private_view(private_answers(log, "A", shops=4), "A")
    assert [(part.booted.x, part.booted.n) for part in view.over_time] == [(4, 4), (4, 4), (0, 4)]
    assert view.thirds is Verdict.CLEAR
