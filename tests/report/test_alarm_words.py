"""What the review says of an alarm: which way, of which jobs, and never "nothing explains it" where something does."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.questions.review import Review, review_of
from analysis.report import review_changed
from analysis.report.first_screen import first_screen
from analysis.report.review_changed import candidates_grid, looked_words
from analysis.report.to_watch import to_watch
from tests.months import Months, days_of

LAST = pd.Period("2025-06")
BEFORE = [str(month) for month in pd.period_range("2024-01", "2025-05", freq="M")]


def _usual(months: Months, rate: float, **by_place) -> None:
    """Seventeen months of twenty jobs."""
    rng = np.random.default_rng(3)
    for month in BEFORE:
        for k, day in enumerate(days_of(month, 20)):
            months.add(day, bool(rng.random() < rate), **{name: of(k) for name, of in by_place.items()})


def _watch_words(review: Review) -> str:
    said = next(each for each in first_screen(review).statements if each.label == "One thing to watch")
    return f"{said.says} {said.detail}"


@pytest.fixture(scope="module")
def better():
    months = Months()
    _usual(months, 0.5)
    for k, day in enumerate(days_of("2025-06", 24)):
        months.add(day, k % 12 != 0)
    return review_of(months.log(), LAST)


def test_an_alarm_of_better_first_boots_is_not_told_as_a_fall(better):
    assert [signal.chart for signal in better.watching.signals] == ["first boot, better"]
    words = " ".join(item.words for item in to_watch(better))
    assert "First boots got better than expected" in words
    assert "fell" not in words
    assert "fell" not in _watch_words(better)


def test_the_section_on_what_changed_does_not_deny_an_alarm_of_better_first_boots(better):
    said = looked_words(better)._repr_html_()
    assert "No alarm in the twelve months" not in said
    assert f"First boots rose (alarm of {better.watching.signals[0].day:%Y-%m-%d})" in said


@pytest.fixture(scope="module")
def one_person():
    months = Months()
    _usual(months, 0.7, technician_id=lambda k: f"T{k % 4}")
    for k, day in enumerate(days_of("2025-06", 40)):
        who = "T0" if k % 2 == 0 else f"T{1 + (k // 2) % 3}"
        months.add(day, k % 2 != 0 and k % 7 != 1, technician_id=who, intake_damage=("drop", "liquid")[(k // 4) % 2])
    return review_of(months.log(), LAST)


def test_the_first_screen_does_not_say_nothing_explains_it_where_the_table_names_a_person_s_jobs(one_person):
    assert one_person.watching.looked.found.explained
    assert "one technician" in candidates_grid(one_person)._repr_html_().lower()
    words = _watch_words(one_person)
    assert "the table of what changed below names a group to look at first" in words
    assert "nothing logged explains it" not in words
    assert "T0" not in words


def test_where_nothing_was_compared_nothing_is_said_to_explain_nothing():
    months = Months()
    _usual(months, 0.7, device_class=lambda k: "phone")
    for _, day in enumerate(days_of("2025-06", 24)):
        months.add(day, False, intake_damage="drop")
    review = review_of(months.log(), LAST)
    assert review.watching.looked is not None
    assert not review.watching.looked.found.candidates
    words = _watch_words(review)
    assert "first boots fell" in words
    assert "explains it" not in words


def test_the_first_screen_gives_a_second_alarm_of_one_fall_no_beginning():
    months, rng = Months(), np.random.default_rng(21)
    for month in pd.period_range("2024-01", LAST, freq="M"):
        for day in days_of(str(month), 24):
            months.add(day, bool(rng.random() < (0.75 if month < pd.Period("2025-03") else 0.35)))
    review = review_of(months.log(), LAST)
    signal = review.watching.looked.signal
    assert signal.going_on_since is not None
    words = _watch_words(review)
    assert f"the fall of first boots told by the alarm of {signal.going_on_since:%Y-%m-%d} is still going on" in words
    assert "probably since" not in words


@pytest.fixture(scope="module")
def one_class():
    months, rng = Months(), np.random.default_rng(11)
    kinds = ("drop", "liquid", "power_fault", "heat")
    for month in pd.period_range("2023-07", "2025-05", freq="M"):
        boots = rng.permutation(np.arange(20) < 14)
        for k, day in enumerate(days_of(str(month), 20)):
            months.add(day, bool(boots[k]), intake_damage=kinds[k % 4], board_family=f"F{k % 3}")
    for k, day in enumerate(days_of("2025-06", 56)):
        months.add(day, kinds[k % 4] != "liquid", intake_damage=kinds[k % 4], board_family=f"F{k % 3}")
    return review_of(months.log(), LAST)


def test_an_alarm_of_one_class_is_looked_into_among_its_own_jobs(one_class):
    looked = one_class.watching.looked
    assert looked.signal.chart == "first boot after liquid, worse"
    assert looked.month == looked.signal.day.to_period("M") == LAST
    liquid = set(one_class.cohort.jobs.loc[one_class.cohort.jobs["intake_damage"].eq("liquid"), "job_id"])
    assert set(looked.signal.jobs) <= liquid
    assert all(set(each.jobs) <= liquid for each in looked.found.candidates)
    assert looked.found.candidates
    assert looked.found.shortfall > 2, "the class is short, though the month as a whole is not"


def test_an_alarm_of_one_class_is_told_of_that_class(one_class):
    assert "first boots after liquid fell" in _watch_words(one_class)
    assert "first boots fell" not in _watch_words(one_class)
    assert "alarm of first boots after liquid, at these jobs alone" in looked_words(one_class)._repr_html_()


def test_there_is_no_column_of_missing_first_boots_where_none_is_missing(one_class):
    watching = one_class.watching
    none = dataclasses.replace(watching.looked.found, observed=watching.looked.found.expected)
    one = dataclasses.replace(none, listed=none.candidates[:1])
    looked = dataclasses.replace(watching.looked, found=one)
    review = dataclasses.replace(one_class, watching=dataclasses.replace(watching, looked=looked))
    html = candidates_grid(review)._repr_html_()
    assert "of about 0 missing" not in html
    assert "could account for" in html


@pytest.mark.parametrize(
    ("pads", "told"), [(4, "the most frequent known causes, 4 each"), (3, "the most frequent known cause, 4")]
)
def test_causes_that_tie_are_both_named(pads, told):
    months = Months()
    causes = ["chip_cracked"] * 4 + ["pads_lost"] * pads
    for cause, day in zip(causes, days_of("2025-06", 8), strict=False):
        months.add(day, False, failure_cause=cause)
    review = review_of(months.log(), LAST)
    said = next(item.words for item in to_watch(review) if item.key.startswith("cause"))
    assert told in said
    assert ("pads lost" in said.lower()) == (pads == 4)
    assert "chip cracked" in said.lower()


@pytest.mark.parametrize(
    ("listed", "said"),
    [
        ((), "Nothing we log explains it: none of 2 groups compared did worse than the others."),
        (
            ("lot",),
            "Nothing we log explains it beyond chance, of 2 groups compared. The table shows what comes nearest.",
        ),
    ],
)
def test_what_nothing_in_the_log_explains_is_said_so(listed, said):
    found = SimpleNamespace(candidates=("lot", "alloy"), listed=listed, explained=False)
    assert review_changed._verdict(SimpleNamespace(found=found)) == said


def test_a_bad_month_without_an_alarm_is_looked_into_by_all_its_jobs():
    months = Months()
    _usual(months, 0.7)
    for k, day in enumerate(days_of("2025-06", 12)):
        months.add(day, k >= 7)
    review = review_of(months.log(), LAST)
    looked = review.watching.looked
    assert (looked.signal, looked.now, looked.month, looked.found.jobs) == (None, True, LAST, 12)
    said = looked_words(review)._repr_html_()
    assert "June 2025 was worse than expected and was looked into" in said
