"""Bench hours to the first success where some hours are missing, and after a failed first test, by hand."""

from __future__ import annotations

import pytest

from analysis.cohort.attempts import build_attempts
from analysis.cohort.features import build_cohort
from analysis.cohort.hours import Lacking, hours_to_success
from analysis.questions.survival import HazardModel, HoursAnswer, NoModel, hours_answer, hours_model, landmark_model
from analysis.records.log import Log
from tests.cohort.test_hours import ended
from tests.tables import boot, closed, log_of


def answered(log: Log) -> HoursAnswer | NoModel:
    return hours_answer(hours_to_success(log), build_cohort(log), minimum=1, minimum_class=5)


def test_failures_without_hours_are_no_reason_for_a_higher_curve():
    """60 of 100 boot; the 30 failures without hours would leave 60 of 70."""
    log = ended(60, 0, 40, 30)
    for found in (answered(log), hours_model(hours_to_success(log), build_cohort(log))):
        assert isinstance(found, NoModel)
        assert found.lacking == Lacking(booted=0, of_booted=60, closed=30, of_closed=40)


def test_few_failures_without_hours_are_counted_in_both_bounds():
    """With no job open, when a job without a boot was closed does not matter: 60 of 100; the curve has 60 of 96."""
    found = answered(ended(60, 0, 40, 4))
    assert found.overall.at(found.overall.stop)[0] == pytest.approx(60 / 96)
    assert found.bounds == pytest.approx((0.60, 0.60))


@pytest.mark.parametrize(("total", "low"), [(None, 0.54), (9.0, 0.54), (2.0, 0.60)])
def test_few_boots_without_hours_came_at_once_or_when_their_job_ended(total, low):
    """54 of 60 boots have hours; the curve ends at hour 2, and a job of two hours in all had booted by then."""
    found = answered(ended(60, 6, 40, 0, bench_hours=total))
    assert found.overall.at(found.overall.stop)[0] == pytest.approx(54 / 94)
    assert found.bounds == pytest.approx((low, 0.60))


def test_with_all_hours_the_bounds_are_the_curve():
    found = answered(ended(60, 0, 40, 0))
    assert found.bounds == pytest.approx((found.overall.at(2)[0],) * 2)


def test_a_damage_class_whose_hours_lack_too_often_is_not_shown():
    log = ended(60, 0, 40, 4)
    jobs = log.tables["jobs"]
    jobs.loc[jobs["job_id"].isin([f"F{i}" for i in range(12)] + [f"S{i}" for i in range(12)]), "intake_damage"] = (
        "liquid"
    )
    found = answered(log)
    assert found.hidden == ("liquid",)
    assert list(found.by_damage) == ["drop"]


def later(n: int, hours_at_end: float, first_hours: float | None = 4.0, booted: bool = True, name: str = "A"):
    """Jobs that fail test 1 at hour 4 and end at another, by a boot at test 2 or without one."""
    jobs, tests = [], []
    for i in range(n):
        jobs.append(closed(f"{name}{i}", "recovered" if booted else "not_recovered", bench_hours=hours_at_end))
        tests.append(boot(f"{name}{i}", 1, "short", bench_hours_so_far=first_hours))
        if booted:
            tests.append(boot(f"{name}{i}", 2, "data_readable", bench_hours_so_far=hours_at_end))
    return jobs, tests


def landmark_of(*parts) -> HazardModel | NoModel:
    log = log_of(jobs=[j for jobs, _ in parts for j in jobs], boot_tests=[t for _, tests in parts for t in tests])
    return landmark_model(hours_to_success(log), build_cohort(log), build_attempts(log))


def varied(parts):
    """Two donors' worth of pad losses are needed for a term; here two damages do."""
    for jobs, _ in parts:
        for i, each in enumerate(jobs):
            each["intake_damage"] = "liquid" if i % 2 else "drop"
    return parts


def test_known_zero_hours_after_test_1_are_not_called_unknown():
    parts = varied(
        [
            later(20, 6.0, name="A"),
            later(3, 4.0, booted=False, name="B"),
            later(9, 5.0, booted=False, name="C"),
            later(1, 5.0, first_hours=None, booted=False, name="D"),
        ]
    )
    found = landmark_of(*parts)
    assert isinstance(found, HazardModel)
    reasons = dict(found.ledger.exclusions)
    assert reasons["no bench hours spent after test 1"] == 3
    assert reasons["bench hours at test 1 not recorded"] == 1
    assert (found.fit.n, found.fit.events) == (29, 20)


def test_one_column_of_a_hazard_is_allowed_for_every_five_boots_and_none_for_a_part_of_five():
    found = landmark_of(*varied([later(24, 6.0, name="A"), later(9, 5.0, booted=False, name="C")]))
    assert (found.fit.events, found.design.budget) == (24, 4)
    assert found.table == (), "of boots that all came at one hour no change over the hours can be seen"


def test_whether_a_ratio_stays_the_same_is_told_of_every_term_and_of_all_together():
    boots = [later(8, hours, name=name) for hours, name in ((5.0, "A"), (6.0, "B"), (7.0, "D"))]
    found = landmark_of(*varied([*boots, later(9, 8.0, booted=False, name="C")]))
    assert [row.label for row in found.table] == ["damage at intake", "all terms"]


def test_a_boot_within_the_hour_of_test_1_counts():
    found = landmark_of(
        *varied([later(20, 6.0, name="A"), later(5, 4.0, name="B"), later(9, 5.0, booted=False, name="C")])
    )
    assert isinstance(found, HazardModel)
    assert (found.fit.n, found.fit.events) == (34, 25)


def test_the_landmark_is_refused_where_hours_at_test_1_lack_for_one_end_only():
    found = landmark_of(*varied([later(20, 6.0), later(20, 6.0, first_hours=None, booted=False, name="B")]))
    assert isinstance(found, NoModel)
    assert found.lacking == Lacking(booted=0, of_booted=20, closed=20, of_closed=20)
