"""Since last month: the summary comes back as written, edits and late entries are found, work that goes on is not."""

from __future__ import annotations

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.errors import ReworkError
from analysis.models.cusum import Limit
from analysis.questions.review_summary import SCHEMA, Watched, read_summary, summary_text
from analysis.questions.since_last import MonthChange, changes_since, summarise
from analysis.records.log import Log

MONTH = pd.Period("2024-03")
WATCHED = (
    Watched("group donor_lot LOT-19", "Watch donor lot LOT-19.", "3 of 12 failed", 0.25, 12),
    Watched("measure passes", "Watch passes.", "not recorded", None, 0),
)


@pytest.fixture(scope="module")
def tables():
    return dict(simulate(Shop(jobs=300), 8).tables)


@pytest.fixture(scope="module")
def last(tables):
    return summarise(Log.from_tables(tables), MONTH, WATCHED)


def write(summary, path):
    path.write_text(summary_text(summary), encoding="utf-8")


def _copy(tables):
    return {name: frame.copy() for name, frame in tables.items()}


def test_a_summary_comes_back_as_it_was_written_and_leaves_nothing_half_written(last, tmp_path):
    path = tmp_path / "review_2024-03.json"
    write(last, path)
    assert read_summary(path) == last
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    assert read_summary(tmp_path / "none.json") is None
    # In whatever order the jobs of a month come.
    turned = {month: dict(reversed(jobs.items())) for month, jobs in last.months.items()}
    write(replace(last, months=turned), path)
    assert read_summary(path) == last


def test_the_file_fits_its_documented_schema_and_names_no_job(last, tables, tmp_path):
    jsonschema = pytest.importorskip("jsonschema")
    path = tmp_path / "s.json"
    write(last, path)
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    jsonschema.validate(json.loads(path.read_text(encoding="utf-8")), SCHEMA)
    text = path.read_text(encoding="utf-8")
    assert not any(job in text for job in tables["jobs"]["job_id"])
    for where in (
        ("log_hash",),
        ("code_version",),
        ("watched", 0, "key"),
        ("watched", 0, "words"),
        ("months", "2024-01"),
    ):
        content = json.loads(text)
        *before, last_key = where
        part = content
        for key in before:
            part = part[key]
        part[last_key] = 5
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(content, SCHEMA)


def test_limits_fit_the_schema_as_they_are_written_and_not_with_one_of_their_facts_missing(tables):
    jsonschema = pytest.importorskip("jsonschema")
    january, july = pd.Timestamp("2024-01-01"), pd.Timestamp("2024-07-01")
    in_force = Limit(5.4, 0.05, 120, 2000, 0.003, 7)
    charts = SimpleNamespace(
        primary=SimpleNamespace(name="first boot", limits=[(january, replace(in_force, value=9.0)), (july, in_force)]),
        others=[],
    )
    content = json.loads(summary_text(summarise(Log.from_tables(tables), MONTH, WATCHED, charts)))
    written = {"value": 5.4, "rate": 0.05, "jobs": 120, "draws": 2000, "error": 0.003, "rng_seed": 7}
    assert content["limits"] == [{"chart": "first boot", "since": "2024-07-01"} | written]
    jsonschema.validate(content, SCHEMA)
    for fact in content["limits"][0]:
        less = {name: value for name, value in content["limits"][0].items() if name != fact}
        with pytest.raises(jsonschema.ValidationError, match=fact):
            jsonschema.validate(content | {"limits": [less]}, SCHEMA)


@pytest.mark.parametrize("content", ["", "[]", "{}", '{"format": 2}', '{"format": 1, "month": "2024-03"}', "no"])
def test_a_damaged_file_is_refused_in_words(content, tmp_path):
    path = tmp_path / "s.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(ReworkError, match="cannot be used") as error:
        read_summary(path)
    assert "Error" not in str(error.value)


def test_a_file_edited_by_hand_is_refused(last, tmp_path):
    path = tmp_path / "s.json"
    write(last, path)
    content = json.loads(path.read_text(encoding="utf-8"))
    jobs = content["months"]["2024-01"]["jobs"]
    jobs.pop(next(iter(jobs)))
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(ReworkError, match="2024-01"):
        read_summary(path)


def test_nothing_has_changed_when_only_time_has_passed(tables, last):
    assert changes_since(last, Log.from_tables(tables)) == ()
    shuffled = {name: frame.sample(frac=1, random_state=1).reset_index(drop=True) for name, frame in tables.items()}
    assert changes_since(last, Log.from_tables(shuffled)) == ()


def test_the_same_log_cut_at_the_month_gives_the_same_summary(tables, last):
    """What a review saw in April when the log ended there: later rows of the log must not matter."""
    from analysis.cohort.as_of import as_of

    then = as_of(Log.from_tables(tables), MONTH.end_time)
    assert changes_since(last, Log.from_tables(then.tables)) == ()


def test_a_month_entered_only_afterwards_is_told_with_all_its_jobs(tables, last):
    first, jobs = next(iter(last.months.items()))
    before = replace(last, months={month: held for month, held in last.months.items() if month != first})
    (change,) = changes_since(before, Log.from_tables(tables))
    assert (change.month, change.added, change.changed, change.removed) == (first, len(jobs), 0, 0)


def test_an_edit_of_an_old_job_is_found_in_its_month(tables, last):
    altered = _copy(tables)
    tests = altered["boot_tests"]
    at = np.flatnonzero(tests["test_no"].eq(1) & tests["test_date"].between("2024-01-01", "2024-01-31"))[0]
    tests.loc[tests.index[at], "boot_result"] = "short" if tests["boot_result"].iloc[at] != "short" else "no_current"
    assert changes_since(last, Log.from_tables(altered)) == (MonthChange("2024-01", 0, 1, 0),)


def test_an_edit_of_a_donor_is_found_with_its_closed_job(tables, last):
    altered = _copy(tables)
    jobs = altered["jobs"]
    job = jobs[jobs["closed_date"].between("2023-06-01", "2023-12-31") & jobs["donor_id"].notna()].iloc[0]
    altered["donors"].loc[altered["donors"]["donor_id"].eq(job["donor_id"]), "lot"] = "LOT-99"
    assert sum(change.changed for change in changes_since(last, Log.from_tables(altered))) == 1


def test_a_late_entry_and_a_removed_job_are_counted(tables, last):
    altered = _copy(tables)
    jobs, tests = altered["jobs"], altered["boot_tests"]
    gone = tests.loc[tests["test_no"].eq(1) & tests["test_date"].between("2023-05-01", "2023-05-31"), "job_id"].iloc[0]
    keep = {name: frame[~frame["job_id"].eq(gone)] if "job_id" in frame else frame for name, frame in altered.items()}
    late = jobs[jobs["received_date"].between("2023-08-01", "2023-08-20") & jobs["decision"].eq("declined")].iloc[:1]
    if late.empty:
        late = jobs[jobs["received_date"].between("2023-08-01", "2023-08-20")].iloc[:1].assign(decision="declined")
    late = late.assign(job_id="J-LATE")
    keep["jobs"] = pd.concat([keep["jobs"], late], ignore_index=True).astype(jobs.dtypes)
    found = {change.month: change for change in changes_since(last, Log.from_tables(keep))}
    assert found["2023-05"].removed == 1
    assert found["2023-08"].added == 1


def test_a_job_whose_date_was_put_right_is_a_change_of_both_months(tables, last):
    altered = _copy(tables)
    tests = altered["boot_tests"]
    counts = tests["job_id"].value_counts()
    once = tests["job_id"].map(counts).eq(1) & tests["test_date"].between("2023-09-01", "2023-09-30")
    at = tests.index[np.flatnonzero(once)[0]]
    tests.loc[at, "test_date"] = pd.Timestamp("2023-08-15")
    got = changes_since(last, Log.from_tables(altered))
    assert got == (MonthChange("2023-08", 0, 1, 0), MonthChange("2023-09", 0, 1, 0))


def test_what_happens_after_the_month_is_no_change(tables, last):
    altered = _copy(tables)
    jobs, tests = altered["jobs"], altered["boot_tests"]
    later = jobs["closed_date"].gt("2024-04-01").fillna(False).to_numpy(bool)
    jobs.loc[later, "bench_hours"] = 79.0
    jobs.loc[later, "failure_cause"] = "not_found"
    future = tests["test_date"].gt("2024-04-01").to_numpy(bool)
    tests.loc[future, "bench_hours_so_far"] = 70.0
    assert later.sum() > 10
    assert changes_since(last, Log.from_tables(altered)) == ()
