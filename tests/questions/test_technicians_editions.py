"""Two editions of a private page, each less one's own figures, never show what a single other did in between."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from analysis.errors import ReworkError
from analysis.questions.technicians_editions import LEAST, edition_day
from analysis.questions.technicians_private import private_answers, private_view
from analysis.records.settings import Settings
from tests.tables import closed, log_of

MINIMUM = 10


def first_boots(*months: dict[str, int]) -> pd.DataFrame:
    """So many first boots of each technician in each month, one a day in turn."""
    rows = [
        {"technician_id": code, "first_boot_date": pd.Timestamp(2025, month, 1 + k % 27)}
        for month, counts in enumerate(months, 1)
        for code, n in counts.items()
        for k in range(n)
    ]
    return pd.DataFrame(rows).astype({"technician_id": "string"})


def day_of(*months: dict[str, int]) -> pd.Timestamp | None:
    return edition_day(first_boots(*months), "A", MINIMUM)


ALL = {"A": 12, "B": 12, "C": 12}


def test_a_month_in_which_one_other_worked_does_not_move_the_page():
    first = day_of(ALL)
    assert first == pd.Timestamp("2025-01-10")
    assert day_of(ALL, {"A": 9, "B": 20}) == first
    assert day_of(ALL, {"B": 20, "C": LEAST - 3}) == first


def test_it_moves_when_two_others_have_added_enough():
    assert day_of(ALL, {"B": 6, "C": 6}) > pd.Timestamp("2025-02-01")


def test_what_was_said_once_is_not_moved_by_later_jobs():
    """Days follow from the log alone, so that a later edition counts what an earlier one did, and more."""
    once = day_of(ALL, {"B": 6, "C": 6})
    assert day_of(ALL, {"B": 6, "C": 6}, {"B": 9, "A": 5}) == once


def test_who_comes_over_the_minimum_comes_with_all_their_jobs_and_not_alone():
    few = {"D": MINIMUM - 1}
    first = day_of(ALL | few)
    assert day_of(ALL | few, {"D": 5}) == first
    assert day_of(ALL | few, {"D": 1, "B": LEAST}) > first


def test_with_one_other_there_is_no_day():
    assert day_of({"A": 30, "B": 30, "C": 5}) is None
    assert day_of({"A": 30}) is None


def a_log(months: int, only_b_from: int):
    """Three technicians at work; from a month on only B is."""
    jobs = []
    for month in range(months):
        for code in "ABC" if month < only_b_from else "B":
            for k in range(6):
                won = (k + month) % 3 > 0
                changes = {
                    "first_boot_result": "data_readable" if won else "short",
                    "technician_id": code,
                    "intake_damage": ("drop", "liquid")[k % 2],
                    "received_date": f"2025-{1 + month:02d}-{1 + k:02d}",
                    "closed_date": f"2025-{1 + month:02d}-{10 + k:02d}",
                }
                jobs.append(closed(f"{code}{month}-{k}", "recovered" if won else "not_recovered", **changes))
    return dataclasses.replace(log_of(jobs=jobs), settings=Settings(minimum_technician_n=MINIMUM))


def test_the_page_itself_is_the_same_before_and_after_such_a_month():
    before, after = (private_answers(a_log(months, 5), "A", shops=4) for months in (5, 6))
    assert before.up_to == after.up_to
    one, other = private_view(before, "A"), private_view(after, "A")
    assert one == other
    assert one.bench.n == 90


def test_too_few_others_are_told_in_words():
    log = a_log(5, 5)
    jobs = log.tables["jobs"]
    log = dataclasses.replace(log, tables={**log.tables, "jobs": jobs[jobs["technician_id"].ne("C")]})
    with pytest.raises(ReworkError, match="Fewer than 2 others have 10 first boots") as told:
        private_answers(log, "A", shops=4)
    assert "the bench's figures less your own are that one's" in str(told.value)
    with pytest.raises(ReworkError, match="no job of technician 'Z'"):
        private_answers(log, "Z", shops=4)
