"""Sentences and headings of the review in logs of a few jobs: true, and not to be read twice."""

from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.models.intervals import wilson
from analysis.questions.cause_trends import _changes, cause_trends
from analysis.questions.causes import causes_of, failed_jobs
from analysis.questions.rates import Rate
from analysis.questions.review import review_of
from analysis.report import (
    first_screen,
    month_line,
    review_models,
    review_rates,
    review_time,
    to_watch,
    watch_expected,
    watch_figures,
    watch_words,
)
from analysis.report.exporting import TEMPLATES
from analysis.report.page import Grid
from tests.tables import boot, closed, job, log_of

MONTH = pd.Period("2026-02")


def causes(*codes):
    """Failed jobs with these causes, None for a blank, as the review holds them."""
    jobs = [closed(f"J-{i}", "not_recovered", failure_cause=code) for i, code in enumerate(codes)]
    return causes_of(failed_jobs(build_cohort(log_of(jobs=jobs)), (MONTH, MONTH)))


def test_a_cause_looked_for_and_not_found_is_no_blank():
    found_out = SimpleNamespace(causes_year=causes(*["not_found"] * 3, *["pads_lost"] * 4))
    assert "unwritten" not in to_watch._causes(found_out)
    blank = SimpleNamespace(causes_year=causes(None, None, None, "not_found", *["pads_lost"] * 3))
    assert to_watch._causes(blank)[0] == "unwritten"
    assert "3 of 7 failures in twelve months have none" in to_watch._said(blank, "unwritten")
    assert to_watch.stands(blank, "unwritten").words == "3 of 7 failures in twelve months with no cause written"


def test_causes_that_tie_are_told_as_a_tie():
    tie = causes("pads_lost", "poor_joint", "not_found", "not_found")
    assert review_rates._most_frequent(tie) == "Pads lost and poor solder joint tie, each 1"
    assert review_rates._most_frequent(causes("pads_lost", "pads_lost", "poor_joint")) == "Pads lost: 2"


def test_a_half_year_is_named_from_the_first_month_of_the_log():
    log = log_of(jobs=[closed("J-1", "not_recovered", received_date="2026-01-05")])
    (half,) = cause_trends(log, build_cohort(log), MONTH).halves
    assert half.name == "Jan 2026 to Feb 2026"


def test_failures_without_a_known_cause_are_counted_by_half_year():
    ends = {"2025-03-03": (None, "pads_lost"), "2025-08-31": ("not_found",), "2025-09-01": ("pads_lost",) * 3 + (None,)}
    jobs = [
        closed(f"J-{day}-{k}", "not_recovered", received_date="2025-03-01", closed_date=day, failure_cause=code)
        for day, codes in ends.items()
        for k, code in enumerate(codes)
    ]
    log = log_of(jobs=jobs)
    halves = cause_trends(log, build_cohort(log), MONTH).halves
    assert [(each.name, each.n, each.not_found, each.not_written) for each in halves] == [
        ("Mar 2025 to Aug 2025", 3, 1, 1),
        ("Sep 2025 to Feb 2026", 4, 0, 1),
    ]
    assert [(each.share.x, each.share.n) for each in halves] == [(2, 3), (1, 4)]


def test_ten_earlier_failures_are_enough_to_say_that_a_cause_changed_and_nine_are_not():
    now = causes(*["pads_lost"] * 6)
    (changed,) = (each for each in _changes(now, causes(*["poor_joint"] * 10)) if each.label == "pads lost")
    # Fisher's exact test of 6 of 6 against 0 of 10: one table in 16! / (6! 10!) = 8,008; two causes share the error.
    assert (changed.now, changed.before, changed.more) == (6, 0, True)
    assert changed.p == pytest.approx(2 / 8008)
    assert _changes(now, causes(*["poor_joint"] * 9)) == ()


def test_the_month_in_numbers_counts_devices_in_and_jobs_closed_apart():
    """By hand: five came in (one declined, one withdrawn); two of them and an earlier job closed."""
    here = {"received_date": "2026-02-03"}
    jobs = [
        closed("J-1", **here),
        closed("J-2", "not_recovered", **here),
        job("J-3", **here),
        job("J-4", decision="declined", donor_id=None, **here),
        job("J-5", decision="withdrawn", donor_id=None, **here),
        closed("J-0", "recovered", received_date="2026-01-05"),
        closed("J-9", "recovered", received_date="2026-01-05", closed_date="2026-01-20"),
    ]
    review = SimpleNamespace(cohort=build_cohort(log_of(jobs=jobs)), month=MONTH)
    assert month_line.month_line(review).says == (
        "5 devices came in: 3 accepted, 1 declined and 1 withdrawn. 3 jobs closed; data recovered from 2 of 3."
    )
    nothing = SimpleNamespace(cohort=review.cohort, month=MONTH + 1)
    assert month_line.month_line(nothing).says == "No device came in. No job was closed."
    assert not month_line.month_line(nothing).detail


def test_a_count_is_not_said_twice_and_none_missing_is_said_plainly():
    blank = SimpleNamespace(causes_month=causes("pads_lost"))
    assert first_screen._cause(blank).detail.endswith("Every failure has a cause written.")
    one = SimpleNamespace(causes_month=causes(None))
    assert first_screen._cause(one).says == "No cause is known for 1 failure closed this month."
    assert not first_screen._cause(one).detail


@pytest.fixture(scope="module")
def eleven_jobs():
    """Eleven jobs, the only two that boot among the last ones in work."""
    jobs = [closed(f"J-{i}", "not_recovered", bench_hours=1.0 + i) for i in range(9)]
    jobs += [closed(f"W-{i}", bench_hours=20.0) for i in range(2)]
    tests = [boot(f"J-{i}", 1, "no_current", bench_hours_so_far=1.0 + i) for i in range(9)]
    tests += [boot(f"W-{i}", 1, "data_readable", bench_hours_so_far=20.0) for i in range(2)]
    return review_of(log_of(jobs=jobs, boot_tests=tests), MONTH)


def test_a_curve_without_a_success_is_not_drawn(eleven_jobs):
    (words,) = review_time.hours_picture(eleven_jobs).paragraphs
    assert "11 jobs with hours, 2 of them booted; a curve takes a success while 10 jobs are still in work" in words


def test_one_number_is_not_given_two_intervals_in_a_row(eleven_jobs):
    row = review_time.attempts_grid(eleven_jobs).rows[0]
    assert row[0] == "test 1"
    assert row[2] == row[-1] == row[-2]


def test_one_is_one_in_words(eleven_jobs):
    one = dataclasses.replace(
        eleven_jobs, first_boot=(Rate("this month", wilson(1, 1)), *eleven_jobs.first_boot[1:]), month=MONTH
    )
    screen = first_screen.first_screen(one)._repr_html_()
    assert "1 of 1 job booted" in screen
    assert "1 of 1 jobs" not in screen


def test_no_model_is_said_once(eleven_jobs):
    assert review_models.forest_picture(eleven_jobs).paragraphs == [""]
    assert review_models.temperature_picture(eleven_jobs).paragraphs == [""]
    assert "Too few" in review_models.model_words(eleven_jobs).paragraphs[0]
    assert review_models._looked_at(1) == ""


def test_a_range_of_a_measure_is_asked_for_in_words(eleven_jobs):
    (words,) = watch_words.measure_words(eleven_jobs).paragraphs
    assert "(this month has it for none)" in words


@pytest.mark.parametrize(
    ("top", "ticks"), [(0.6, [0, 0.5]), (1.7, [0, 0.5, 1, 1.5]), (3, [0, 1, 2, 3]), (17, [0, 5, 10, 15])]
)
def test_ticks_are_whole_or_half_numbers(top, ticks):
    assert watch_figures.half_steps(top) == ticks


def test_tables_run_on_over_printed_pages_and_leave_no_half_page_empty(running_browser, tmp_path):
    """Six tables of seven tenths of a page each fill five pages; kept whole, they would take six."""
    css = (TEMPLATES / "bench" / "page.css").read_text(encoding="utf-8")
    rows = [[f"row {i}", "1"] for i in range(26)]
    tables = "<p>words</p>".join(Grid("A table", ["what", "n"], rows)._repr_html_() for _ in range(6))
    page = tmp_path / "page.html"
    page.write_text(f"<html><style>{css}</style><body><main>{tables}</main></body></html>", encoding="utf-8")
    shown = running_browser.new_page()
    shown.goto(page.as_uri())
    pages = len(re.findall(rb"/Type\s*/Page\b", shown.pdf(format="A4")))
    assert 3 <= pages <= 5


def test_a_range_from_none_to_all_is_owned_up_to(eleven_jobs):
    each = SimpleNamespace(month=MONTH, observed=0, n=1, expected=0.5, low=0, high=1)
    two = [each, SimpleNamespace(**(vars(each) | {"n": 6, "low": 1, "high": 5, "observed": 3}))]
    caption = review_rates.months_picture(dataclasses.replace(eleven_jobs, year=tuple(two))).caption
    assert "a range goes from none to all: 1 here" in caption


def test_first_boots_of_a_kind_that_the_model_took_together_with_others_are_not_called_unknown_to_it():
    """Of four in twelve months one came before the model, two are compared; the fourth may just have had no room."""
    dates = pd.to_datetime(["2025-06-01", "2026-01-10", "2026-01-20", "2026-02-02"]).to_series()
    frozen = SimpleNamespace(model=SimpleNamespace(fitted_before=pd.Timestamp("2026-01-01")))
    review = SimpleNamespace(
        month=MONTH,
        watching=SimpleNamespace(charts=SimpleNamespace(frozen=[frozen])),
        cohort=SimpleNamespace(first_boots={"first_boot_date": dates}),
        first_boot=(None, SimpleNamespace(proportion=SimpleNamespace(n=4))),
        expected_by_damage=[SimpleNamespace(year=SimpleNamespace(n=2)), SimpleNamespace(year=None)],
    )
    assert watch_expected.span_words(review) == (
        "since 2026-01-01",
        " Not in the sums, of 4 first boots in twelve months: 1 tested before the expected model begins (2026-01-01)"
        " and 1 of a kind that its month's model did not know or took together with others.",
    )


def test_what_adds_quiet_months_up_is_named_and_not_placed():
    """It stands above these words, not below them."""
    now = SimpleNamespace(n=3, quiet_clear=0.0, quiet_leaning=0.025)
    told = watch_expected.words_of_the_verdict(SimpleNamespace(now=now)).paragraphs[0]
    assert told.endswith(
        "A single 'leaning' month is therefore no alarm; the months are added up under 'Watching over time'."
    )


def test_presets_are_not_counted_as_none_where_nobody_wrote_how_a_temperature_was_entered():
    def told(*kinds):
        step = {"job_id": "A", "chip_role": "processor", "step_type": "install", "set_temp_c": 350.0}
        rows = [step | {"step_no": at, "before_test_no": 1, "entry_kind": kind} for at, kind in enumerate(kinds, 1)]
        return review_rates.presets_words(log_of(jobs=[closed("A", "not_recovered")], heat_steps=rows))

    left = "{} heat steps were left at the form's preset; they say nothing about temperature and are kept out of it."
    unknown = "How the temperature was entered is not written for {} heat steps (entry_kind){}."
    assert told("typed", "preset") == [left.format("1 of 2")]
    assert told("typed", "typed") == [left.format("0 of 2")]
    assert told(None, None) == [unknown.format("2 of 2", ": presets left unchanged may be among them")]
    both = told("preset", None, "typed")
    assert both == [left.format("1 of 3"), unknown.format("1 of 3", "; they are kept out of it, too")]
