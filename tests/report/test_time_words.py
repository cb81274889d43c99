"""Sentences of the review about time and attempts, from cases worked by hand."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis.cohort.hours import Lacking
from analysis.questions.another_attempt import after_test, next_tests, worth_of
from analysis.questions.review import Review, review_of
from analysis.questions.survival import NoModel
from analysis.report import review_time
from analysis.report.attempt_words import attempt_words, unknown_later
from tests.cohort.test_attempts import hundred_jobs
from tests.cohort.test_hours import ended
from tests.tables import log_of


def reviewed(jobs: list, tests: list) -> Review:
    return review_of(log_of(jobs=jobs, boot_tests=tests), pd.Period("2026-02"))


def test_unknown_later_tests_show_both_bounds_and_what_they_assume():
    grid = review_time.attempts_grid(reviewed(*hundred_jobs(logged=False)))
    at = grid.heads.index("booted by then, of tested jobs: low to high")
    assert grid.rows[0][at].startswith("50 % (")
    assert grid.rows[1][at].startswith("65–80 % (")
    assert [row[grid.heads.index("closed, no later record")] for row in grid.rows] == ["25", "0"]
    assert "Of 25 closed jobs only a failed first result is written down" in grid.under
    assert "every row from test 2 on is of jobs whose later tests are recorded" in grid.under
    assert "Low: none of them booted at the tests shown. High: the 25 not recovered booted later as often" in grid.under
    assert "too high as a rule, but sets no upper limit" in grid.under


def test_with_every_test_logged_no_bounds_are_shown():
    grid = review_time.attempts_grid(reviewed(*hundred_jobs(logged=True)))
    assert not any("low to high" in head or "no later record" in head for head in grid.heads)
    assert "written down" not in grid.under


def test_every_table_of_intervals_says_that_each_stands_for_itself():
    assert review_time.EACH_INTERVAL in review_time.attempts_grid(reviewed(*hundred_jobs(logged=True))).under


def test_another_attempt_names_the_jobs_it_knows_nothing_of():
    jobs, tests = hundred_jobs(logged=False)
    test = after_test(next_tests(log_of(jobs=jobs, boot_tests=tests)), 1)
    text = " ".join(attempt_words(test, worth_of(test, None, 60.0), "EUR"))
    assert "booted 15 of 25 jobs whose later tests are recorded: 60 %" in text
    assert "Of 25 more closed jobs only a failed first result is written down" in text
    logged = after_test(next_tests(log_of(jobs=hundred_jobs(True)[0], boot_tests=hundred_jobs(True)[1])), 1)
    assert unknown_later(logged) == ""


def test_a_curve_without_the_failures_is_refused_in_numbers():
    log = ended(60, 0, 40, 30)
    text = review_time.hours_picture(review_of(log, pd.Period("2026-02"))).paragraphs[0]
    assert "Too many hours are missing: 0 of 60 jobs that booted lack" in text
    assert "30 of 40 that ended without a boot lack theirs" in text


def test_hours_missing_at_test_1_are_not_told_as_hours_missing_at_the_end():
    model = NoModel(0, 0, lacking=Lacking(0, 3, 11, 11), since_test=True)
    text = review_time.no_model_words(model)
    assert (
        "0 of the 3 that booted later and 11 of the 11 that ended without a boot lack the hours at boot test 1" in text
    )
    assert "jobs.csv" not in text


def test_the_few_hours_missing_are_told_with_what_they_can_change():
    grid = review_time.hours_ledger(review_of(ended(60, 6, 40, 0), pd.Period("2026-02")))
    assert (
        "6 of 100 jobs that ended lack the hours of their end and are not in the curve (6 booted, 0 did not)."
        in grid.under
    )
    assert "57 % of 94 jobs booted by 2.0 bench hours, would with them be between 54 % and 60 % of 100" in grid.under
    assert review_time.hours_ledger(review_of(ended(60, 0, 40, 0), pd.Period("2026-02"))).under == ""


def test_damage_classes_are_not_blamed_for_missing_hours():
    log = ended(60, 0, 40, 30)
    text = review_time.hours_by_damage_picture(review_of(log, pd.Period("2026-02"))).paragraphs[0]
    assert text == "For the same reason they cannot be compared between damage classes."


def test_classes_too_small_for_a_curve_are_not_drawn():
    log = ended(20, 0, 20, 0, intake_damage="liquid")
    strict = replace(log, settings=replace(log.settings, minimum_at_risk=30))
    review = review_of(strict, pd.Period("2026-02"))
    assert len(review.hours.by_damage) == 2
    assert "a curve takes 30 jobs" in review_time.hours_by_damage_picture(review)._repr_html_()


def test_losses_that_nobody_recorded_are_no_zero():
    jobs, tests = hundred_jobs(logged=True)
    blank = [job | {"loss_reversible": None} if job.get("outcome") == "not_recovered" else job for job in jobs]
    grid = review_time.attempts_grid(reviewed(blank, tests))
    at = grid.heads.index("lost for good")
    assert {row[at] for row in grid.rows} == {"–"}
    failed = sum(job.get("outcome") == "not_recovered" for job in jobs)
    assert f"recorded for 0 of {failed} failed jobs; the others count as given up" in grid.under
    told = review_time.attempts_grid(reviewed(jobs, tests))
    assert {row[at] for row in told.rows} == {"0"}
    assert "recorded for" not in told.under


def test_one_hour_is_not_told_as_several():
    assert [review_time.hours_words(at) for at in (1, 1.5, 2)] == ["1 hour", "1.5 hours", "2 hours"]
