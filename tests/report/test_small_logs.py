"""Little data: every section of the review says what cannot be said yet, without an error."""

from __future__ import annotations

import dataclasses
import re

import pandas as pd
import pytest

from analysis.errors import ReworkError
from analysis.questions.period import month_for
from analysis.questions.review import review_of
from analysis.records.log import Log
from analysis.report import (
    first_screen,
    job_card_view,
    review_causes,
    review_changed,
    review_closing,
    review_models,
    review_rates,
    review_time,
    since_last_view,
    watch_charts,
    watch_expected,
    watch_words,
)
from tests.report.small_logs import emptied, small
from tests.tables import closed, log_of

SECTIONS = [
    first_screen.first_screen,
    review_rates.month_ledger,
    review_rates.first_boot_picture,
    review_rates.bounds_words,
    review_rates.months_picture,
    review_rates.damage_picture,
    review_rates.recovery_words,
    review_rates.received_grid,
    lambda r: since_last_view.became_grid(r, since_last_view.before(r, "")),
    lambda r: since_last_view.changes_grid(r, since_last_view.before(r, "")),
    since_last_view.next_time,
    watch_expected.words_of_the_verdict,
    watch_expected.damage_grid,
    watch_words.watch_words,
    watch_charts.climb_picture,
    watch_charts.others_grid,
    watch_charts.rate_picture,
    watch_charts.recovery_grid,
    watch_words.measure_words,
    watch_charts.measures_picture,
    watch_charts.measures_grid,
    review_changed.looked_words,
    review_changed.candidates_grid,
    review_rates.causes_grid,
    review_causes.changes_words,
    review_rates.causes_picture,
    review_causes.costs_grid,
    review_causes.unexplained_grid,
    review_rates.pads_grid,
    review_models.model_words,
    review_models.forest_picture,
    review_models.temperature_picture,
    review_models.model_details,
    review_models.model_ledger,
    review_time.hours_picture,
    review_time.hours_by_damage_picture,
    review_time.recovery_words,
    lambda r: review_time.hazard_grid(r.hours_model, "hours"),
    lambda r: review_time.proportionality_grid(r.hours_model),
    review_time.hours_ledger,
    review_time.attempts_ledger,
    review_time.attempts_grid,
    review_time.attempts_model,
    lambda r: review_time.hazard_grid(r.landmark, "landmark"),
    job_card_view.talk_cards,
    review_rates.lacks,
    review_closing.definitions,
    review_closing.methods,
    review_closing.limits,
    review_closing.cautions,
]


def shown(log: Log) -> str:
    review = review_of(log, month_for(log))
    first_screen.page_head(review)
    html = "".join(section(review)._repr_html_() for section in SECTIONS)
    words = re.sub(r"base64,[^\"]*", "", html)  # the letters of a picture may spell anything
    for stray in (">nan", " nan", "None", "<NA>"):
        assert stray not in words
    return html


@pytest.mark.parametrize("jobs", [1, 5, 20, 60, 200])
def test_few_jobs(jobs):
    html = shown(Log.from_tables(small(jobs)))
    if jobs <= 20:
        assert "Too few" in html


def test_no_job_at_all_is_told_in_words():
    with pytest.raises(ReworkError, match="no job with a date yet"):
        month_for(log_of())


@pytest.mark.parametrize("gone", ["heat_steps", "chip_sides", "donors", "technicians", "boot_tests"])
def test_a_table_that_is_not_kept(gone):
    shown(Log.from_tables(emptied(small(200), gone)))


@pytest.mark.parametrize("result", ["data_readable", "short"])
def test_all_successes_and_all_failures(result):
    won = result == "data_readable"
    jobs = [
        closed(
            f"J{i}",
            "recovered" if won else "not_recovered",
            first_boot_result=result,
            received_date=f"2026-0{1 + i % 2}-05",
            closed_date=f"2026-0{1 + i % 2}-28",
        )
        for i in range(60)
    ]
    assert "Too few" in shown(log_of(jobs=jobs))


def test_only_the_required_columns_one_class_and_one_month():
    jobs = [
        {
            "job_id": f"J{i}",
            "received_date": "2026-01-05",
            "intake_damage": "drop",
            "decision": "accepted",
            "outcome": "recovered" if i % 3 else "not_recovered",
            "closed_date": "2026-01-31",
            "first_boot_result": "data_readable" if i % 3 else "short",
        }
        for i in range(45)
    ]
    assert "Bench hours to the first success cannot be drawn" in shown(log_of(jobs=jobs))


def test_a_log_of_jobs_alone_says_why_there_is_no_curve_and_shows_no_empty_table():
    won = {"outcome": "recovered", "first_boot_result": "data_readable"}
    lost = {"outcome": "not_recovered", "first_boot_result": "short"}
    jobs = [closed(f"J{i}", closed_date="2026-01-31", **(won if i % 3 else lost)) for i in range(60)]
    html = shown(log_of(jobs=jobs))
    assert "Too many hours are missing: 40 of 40 jobs that booted lack the hours at which they did" in html
    assert "<tbody></tbody>" not in html
    assert "No model of what was done at the bench yet." in html


def test_many_jobs_set_aside_are_told_first_with_the_failures_among_them():
    outcomes = ["not_recovered"] * 13 + ["recovered"] * 7
    aside = pd.DataFrame({"received_date": pd.Series(pd.NaT, index=range(20)), "outcome": outcomes})
    log = dataclasses.replace(Log.from_tables(small(60)), jobs_set_aside=20, rows_set_aside=aside)
    html = shown(log)
    assert "Do not trust the rates below: 20 of 80 jobs are set aside because of faults, 13 of them" in html
    assert "Do not trust" not in shown(dataclasses.replace(log, jobs_set_aside=1))
