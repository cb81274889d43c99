"""The review as the meeting's working paper: a quiet month, the bad lot's months and the one after, on the demo."""

from __future__ import annotations

import re

import pandas as pd
import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO
from analysis.questions.review import review_of
from analysis.questions.verdicts import Verdict
from analysis.records.log import read_log
from analysis.report import (
    first_screen,
    job_card_view,
    review_causes,
    review_changed,
    review_rates,
    since_last_view,
    watch_charts,
    watch_expected,
    watch_words,
)

YOUNG, QUIET, ALARM, GOES_ON, AFTER = "2022-11", "2023-10", "2024-01", "2024-02", "2024-09"


@pytest.fixture(scope="module")
def reviews():
    log = read_log(DEMO).without_faulty_jobs()
    return {month: review_of(log, pd.Period(month)) for month in (YOUNG, QUIET, ALARM, GOES_ON, AFTER)}


def text(shown):
    return BeautifulSoup(shown._repr_html_(), "html5lib").get_text(" ", strip=True)


def test_the_alarm_names_the_lot_first_and_says_since_when(reviews):
    review = reviews[ALARM]
    screen = text(first_screen.first_screen(review))
    assert "Look first at donor lot 'LOT-19'" in screen
    assert "a place to look, not a finding" in screen
    signal = review.watching.looked.signal
    assert f"Alarm on {signal.day:%Y-%m-%d}" in screen
    words = text(watch_words.watch_words(review))
    assert f"{signal.earliest:%Y-%m-%d} to {signal.latest:%Y-%m-%d}" in words
    assert f"of {signal.n} jobs booted at the first test" in words
    first = text(review_changed.candidates_grid(review))
    assert first.index("LOT-19") < first.index("cannot tell")
    # 11 of the technician's 15 failures are the lot's: no person stands in the table, and it is said why.
    assert "technician" not in first
    said = text(review_changed.looked_words(review))
    assert "One technician's jobs failed more often too and are not in the table: 11 of these 15 failures" in said
    assert "tests.studies.watch" in first


def test_a_bad_month_after_the_alarm_is_looked_at_together_with_it(reviews):
    looked = reviews[GOES_ON].watching.looked
    assert looked.signal is None
    assert looked.now
    assert looked.first < pd.Timestamp("2024-01-01")
    assert "together with the alarm before it" in text(review_changed.looked_words(reviews[GOES_ON]))


def test_a_quiet_month_has_nothing_to_look_into(reviews):
    review = reviews[QUIET]
    assert review.watching.looked is None
    assert "there is nothing to look into" in text(review_changed.looked_words(review))
    assert text(review_changed.candidates_grid(review)) == ""
    assert "No alarm in the twelve months" in text(watch_words.watch_words(review))


def test_the_month_after_tells_the_alarm_of_the_year_as_past(reviews):
    review = reviews[AFTER]
    assert not review.watching.looked.now
    assert "The latest alarm of the twelve months" in text(review_changed.looked_words(review))
    assert "LOT-19" not in text(first_screen.first_screen(review))


def test_no_technician_is_named_anywhere(reviews):
    for review in reviews.values():
        html = "".join(
            part._repr_html_()
            for part in (
                first_screen.first_screen(review),
                review_changed.looked_words(review),
                review_changed.candidates_grid(review),
                job_card_view.talk_cards(review),
                since_last_view.next_time(review),
            )
        )
        for name in review.log.tables["technicians"]["technician_id"]:
            assert not re.search(rf"\b{name}\b", html)


def test_the_page_says_how_often_a_quiet_month_gets_a_word(reviews):
    now = reviews[ALARM].now
    assert 0 < now.quiet_clear <= 0.05
    assert now.quiet_clear + now.quiet_leaning <= 0.20
    words = text(watch_expected.words_of_the_verdict(reviews[ALARM]))
    assert f"'clear' about once in {round(1 / now.quiet_clear)} months" in words


def test_expected_by_damage_adds_up_to_the_month(reviews):
    for review in reviews.values():
        months = [each.month for each in review.expected_by_damage if each.month]
        assert sum(each.n for each in months) == review.now.n
        assert sum(each.observed for each in months) == review.now.observed
        assert sum(each.expected for each in months) == pytest.approx(review.now.expected, abs=1e-6)
        assert all(each.low <= each.expected <= each.high for each in months)


def test_sums_of_a_young_log_name_the_span_they_hold(reviews):
    young = reviews[YOUNG]
    begins = young.watching.charts.frozen[0].model.fitted_before
    assert begins > (young.month - 11).start_time, "a log whose model begins within the twelve months"
    shown = text(watch_expected.damage_grid(young))
    assert f"since {begins:%Y-%m-%d}" in shown
    assert "twelve months say" not in shown
    rows = young.cohort.first_boots
    early = int(rows["first_boot_date"].lt(begins).sum())
    assert f"{early} tested before the expected model begins" in shown
    old = text(watch_expected.damage_grid(reviews[AFTER]))
    assert "twelve months say" in old
    assert "expected model begins" not in old


def test_each_watch_says_since_when_it_watches(reviews):
    review = reviews[AFTER]
    shown = text(watch_charts.others_grid(review))
    for chart in review.watching.charts.others:
        assert f"{chart.limits[0][0]:%Y-%m-%d}" in shown
    assert "booted, twelve months" not in shown


def test_charts_and_tests_are_named_in_the_methods_only(reviews):
    review = reviews[ALARM]
    parts = (
        first_screen.first_screen(review),
        watch_words.watch_words(review),
        watch_charts.climb_picture(review),
        watch_charts.rate_picture(review),
        watch_charts.measures_picture(review),
        review_changed.candidates_grid(review),
        review_causes.changes_words(review),
    )
    for part in parts:
        words = text(part).lower()
        for name in ("cusum", "p-chart", "holm", "fisher", "odds", "bootstrap", "poisson"):
            assert name not in words


def test_costs_of_causes_are_hours_at_the_bench_s_rate_and_donors(reviews):
    review = reviews[AFTER]
    jobs = review.log.tables["jobs"].set_index("job_id")
    costs = {each.code: each for each in review.cause_trends.costs}
    assert sum(each.share.x for each in costs.values()) == review.causes_year.n
    spent = sum(each.hours for each in costs.values())
    assert spent == pytest.approx(review.causes_year.hours)
    least = spent * review.log.settings.bench_hour_cost
    assert least < sum(each.money for each in costs.values()) < least + jobs["donor_cost"].sum()


def test_jobs_that_stay_locked_are_told_beside_the_failures(reviews):
    review = reviews[ALARM]
    jobs = review.cohort.jobs
    locked = jobs[jobs["ending"].eq("boots, locked") & jobs["ended_date"].dt.to_period("M").eq(review.month)]
    assert review.locked_month == len(locked)
    assert review.locked_year >= review.locked_month
    assert f"{review.locked_year} in twelve months" in text(review_rates.causes_grid(review))


def test_a_month_that_the_log_does_not_reach_the_end_of_says_so_first(reviews):
    log = read_log(DEMO).without_faulty_jobs()
    screen = text(first_screen.first_screen(review_of(log, pd.Period("2024-10"))))
    assert screen.startswith("The month is not over in the log")
    assert "The log's last entry is of 2024-10-02" in screen
    assert "not over in the log" not in text(first_screen.first_screen(reviews[ALARM]))


def test_every_cause_of_the_year_has_its_bar(reviews):
    review = reviews[ALARM]
    counts = re.findall(r": (\d+) \(", review_rates.causes_picture(review).alt)
    assert sum(map(int, counts)) == review.causes_year.n


def test_one_month_s_causes_are_called_different_only_beyond_chance(reviews):
    for review in reviews.values():
        told = [each for each in review.cause_trends.changes if each.verdict is not Verdict.CANNOT_TELL]
        for each in told:
            assert each.p <= 0.20
        if not told and review.cause_trends.changes:
            assert "no difference that chance could not make" in text(review_causes.changes_words(review))


def test_each_job_to_talk_about_opens_to_its_card(reviews):
    review = reviews[ALARM]
    soup = BeautifulSoup(job_card_view.talk_cards(review)._repr_html_(), "html5lib")
    cards = soup.find_all("details")
    assert [card.summary.strong.get_text() for card in cards] == [job.job_id for job in review.talk]
    for card, job in zip(cards, review.talk, strict=True):
        tests = review.log.tables["boot_tests"]
        for number in tests.loc[tests["job_id"].eq(job.job_id), "test_no"]:
            assert f"boot test {number}" in card.get_text()
        assert "usual" in card.get_text()
        assert "how entered typed" not in card.get_text()
        assert "guess" not in card.get_text(), "neither money nor guesses"
