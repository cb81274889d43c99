"""One review reads what the last one left: what became of it, changed months, other logs, damaged files."""

from __future__ import annotations

import json
import os

import pandas as pd
import pytest

from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.questions.job_hashes import month_hashes
from analysis.questions.review import review_of
from analysis.questions.review_summary import Watched, summary_text
from analysis.questions.since_last import summarise
from analysis.records.log import Log
from analysis.report import monthly
from analysis.report.publishing import replace_together
from analysis.report.since_last_view import became_grid, before, changes_grid, earlier_summary, next_time
from analysis.report.to_watch import stands, to_watch
from tests.tables import closed, log_of

ALARM, NEXT = pd.Period("2024-01"), pd.Period("2024-02")


@pytest.fixture(scope="module")
def tables():
    return dict(simulate(Shop(jobs=650), 11).tables)


@pytest.fixture(scope="module")
def review(tables):
    return review_of(Log.from_tables(tables), NEXT)


@pytest.fixture
def left(tables, tmp_path):
    """What a review of the month before left, in a file."""
    items = (
        Watched("group donor_lot LOT-19", "Look at donor lot LOT-19 first.", "8 of 11 failed", 8 / 11, 11),
        Watched("nonsense", "Watch what a later version knows.", "", None, 0),
    )
    path = tmp_path / "review-2024-01.json"
    path.write_text(summary_text(summarise(Log.from_tables(tables), ALARM, items)), encoding="utf-8")
    return path


def test_what_was_to_be_watched_stands_beside_what_became_of_it(review, left):
    found = before(review, str(left))
    html = became_grid(review, found)._repr_html_()
    lot = review.cohort.first_boots
    mine = lot[lot["donor_lot"].eq("LOT-19") & lot["first_boot_month"].eq(NEXT)]
    assert len(mine) > 0
    assert f"{int(mine['first_boot'].eq(0).sum())} of the {len(mine)} failed" in html
    assert "8 of 11 failed" in html
    assert "this version does not know it" in html
    assert "has been changed since" in changes_grid(review, found)._repr_html_()


def test_a_review_sees_the_earlier_months_as_the_full_log_does(tables, review):
    """The log of a review ends with its month; hashes of earlier months must not depend on that."""
    assert month_hashes(review.log, ALARM) == month_hashes(Log.from_tables(tables), ALARM)


def test_a_late_entry_and_an_edit_are_found_and_shown(tables, left):
    altered = {name: frame.copy() for name, frame in tables.items()}
    jobs = altered["jobs"]
    closed = jobs["closed_date"].between("2023-10-01", "2023-10-31").to_numpy(bool)
    jobs.loc[closed.nonzero()[0][:1], "bench_hours"] = 39.5
    review = review_of(Log.from_tables(altered), NEXT)
    found = before(review, str(left))
    assert sum(change.changed for change in found.changes) == 1
    html = changes_grid(review, found)._repr_html_()
    assert "Earlier months changed in the log since then" in html
    assert str(jobs.loc[closed.nonzero()[0][0], "job_id"]) in html


def test_the_summary_of_another_log_a_later_month_or_a_damaged_file_is_told_and_not_used(review, left, tmp_path):
    other = Log.from_tables(dict(simulate(Shop(jobs=40), 3).tables))
    renamed = {name: frame.copy() for name, frame in other.tables.items()}
    renamed["jobs"]["job_id"] = ("X" + renamed["jobs"]["job_id"].astype(str)).astype("string")
    foreign = tmp_path / "other.json"
    foreign.write_text(summary_text(summarise(Log.from_tables(renamed), pd.Period("2023-12"), ())), encoding="utf-8")
    for path, told in (
        (foreign, "another log"),
        (tmp_path / "none.json", "No earlier review"),
        ("", "No earlier review"),
    ):
        assert told in became_grid(review, before(review, str(path)))._repr_html_()
    later = tmp_path / "later.json"
    later.write_text(summary_text(summarise(review.log, NEXT, ())), encoding="utf-8")
    assert "not of an earlier month" in before(review, str(later)).why_not
    left.write_text("{", encoding="utf-8")
    assert "cannot be used" in before(review, str(left)).why_not


def test_the_latest_earlier_summary_is_taken(tmp_path):
    for name in ("review-2023-11.json", "review-2024-01.json", "review-2024-02.json", "review-2024-03.html"):
        (tmp_path / name).write_text("x")
    assert earlier_summary(tmp_path, "2024-02").name == "review-2024-01.json"
    assert earlier_summary(tmp_path, "2023-11") is None


def test_what_is_left_names_limits_with_their_random_seed_and_no_job(review):
    left = next_time(review)
    content = json.loads(left.text)
    assert [each["key"] for each in content["watched"]] == [each.key for each in to_watch(review)]
    assert {"chart", "value", "rng_seed", "draws"} <= set(content["limits"][0])
    assert len(content["limits"]) == 1 + len(review.watching.charts.others)
    assert not any(job in left.text for job in review.log.tables["jobs"]["job_id"])
    for each in to_watch(review):
        assert stands(review, each.key).words == each.stood


def test_page_and_summary_change_together_or_not_at_all(tmp_path, monkeypatch):
    page, summary = tmp_path / "a.html", tmp_path / "a.json"
    replace_together({page: "one", summary: "1"})
    assert (page.read_text(), summary.read_text()) == ("one", "1")
    real, calls = os.replace, []

    def fails_second(old, new):
        calls.append(new)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")
        return real(old, new)

    monkeypatch.setattr("os.replace", fails_second)
    with pytest.raises(OSError, match="No space"):
        replace_together({page: "two", summary: "2"})
    monkeypatch.undo()
    assert (page.read_text(), summary.read_text()) == ("one", "1")
    assert sorted(os.listdir(tmp_path)) == ["a.html", "a.json"]


def test_a_first_page_that_cannot_be_whole_leaves_nothing(tmp_path, monkeypatch):
    real, calls = os.replace, []

    def interrupted(old, new):
        calls.append(new)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return real(old, new)

    monkeypatch.setattr("os.replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        replace_together({tmp_path / "a.html": "one", tmp_path / "a.json": "1"})
    assert os.listdir(tmp_path) == []


def test_a_page_of_another_log_is_not_replaced_without_a_word(tmp_path, monkeypatch):
    monkeypatch.setattr(monthly, "page_of_log", lambda notebook, log, place, say, **given: place)
    mine = log_of(jobs=[closed("J-1"), closed("J-2")])
    monkeypatch.setattr(monthly, "usable_log", lambda folder: mine)
    summary = tmp_path / "review-2026-02.json"

    def said():
        lines = []
        monthly.publish_review(tmp_path / "log", "2026-02", tmp_path, lines.append)
        return " ".join(lines)

    assert "another log" not in said(), "nothing there yet"
    month = pd.Period("2026-02")
    edited = log_of(jobs=[closed("J-1"), closed("J-2", bench_hours=9.0)])
    summary.write_text(summary_text(summarise(edited, month, ())), encoding="utf-8")
    assert "another log" not in said(), "an entry put right makes no other log"
    others = log_of(jobs=[closed("J-1", bench_hours=1.0), closed("J-2", bench_hours=2.0)])
    summary.write_text(summary_text(summarise(others, month, ())), encoding="utf-8")
    assert f"review-2026-02.html in {tmp_path.name} is of another log" in said()
    summary.write_text("{", encoding="utf-8")
    assert "another log" not in said()
