"""Donor facts, experience, attempts and hours, worked by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.cohort import features
from analysis.cohort.as_of import as_of, set_aside_by
from analysis.cohort.attempts import build_attempts
from analysis.cohort.donors import donor_features
from analysis.cohort.features import INTAKE_COLUMNS, build_cohort, intake_features
from analysis.cohort.hours import hours_to_success
from analysis.cohort.pad_rows import pad_rows
from analysis.cohort.technique_rows import technique_rows
from analysis.questions.trial_plan import pace
from analysis.records.log import read_log
from tests.tables import boot, closed, job, log_of

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.mark.parametrize(
    ("facts", "age"),
    [
        ({"donor_age_years": 2.5, "donor_age_band": "over_6"}, 2.5),
        ({"donor_age_band": "1_to_3"}, 2.0),
        ({"donor_model_year": 2023}, 3.0 + 4 / 365.25),
        ({}, np.nan),
    ],
)
def test_donor_age_takes_the_best_that_is_known(facts, age):
    log = log_of(jobs=[job("A", donor_id="D1")], donors=[{"donor_id": "D1"} | facts])
    got = donor_features(log, pd.DataFrame({"job_id": ["A"], "test_no": [1.0]}))["donor_age_years"]
    np.testing.assert_allclose(got, [age])


def test_a_test_may_use_another_donor_than_its_job():
    log = log_of(
        jobs=[job("A", donor_id="D1")],
        boot_tests=[boot("A", 1, "short"), boot("A", 2, "data_readable", donor_id="D2")],
        donors=[{"donor_id": "D1", "donor_age_years": 1.0}, {"donor_id": "D2", "donor_age_years": 4.0}],
    )
    assert build_attempts(log).rows["donor_age_years"].tolist() == [1.0, 4.0]


def test_experience_counts_earlier_accepted_jobs_of_the_same_technician():
    log = log_of(
        jobs=[
            job("A", technician_id="T1", received_date="2026-01-01"),
            job("B", technician_id="T1", received_date="2026-01-02"),
            job("C", technician_id="T1", received_date="2026-01-02"),
            job("D", technician_id="T2", received_date="2026-01-03"),
            job("E", technician_id="T1", received_date="2026-01-04"),
            job("F", received_date="2026-01-05"),
        ]
    )
    got = build_cohort(log).jobs["experience_jobs"]
    np.testing.assert_array_equal(got, [0, 1, 1, 0, 3, np.nan])


def test_intake_facts_hold_no_bench_column_technician_guess_or_money():
    assert INTAKE_COLUMNS == (
        "device_class",
        "board_family",
        "device_age_years",
        "intake_damage",
        "second_damage",
        "prior_rework",
        "underfill",
    )


def test_unknown_and_blank_are_one_level():
    facts = intake_features(log_of(jobs=[job("A", underfill="unknown"), job("B")]).tables["jobs"])
    assert facts["underfill"].isna().all()
    assert facts["second_damage_seen"].tolist() == ["no", "no"]


def test_attempts_stop_at_the_first_success_and_say_what_followed():
    log = log_of(
        jobs=[
            closed("A"),
            closed("B", "not_recovered", loss_reversible=False),
            closed("C", "not_recovered"),
            job("D"),
            job("X", decision="declined"),
        ],
        boot_tests=[
            boot("A", 1, "short"),
            boot("A", 2, "starts_locked"),
            boot("A", 3, "data_readable"),
            boot("B", 1, "short"),
            boot("C", 1, "short"),
            boot("D", 1, "short"),
            boot("X", 1, "short"),
        ],
    )
    attempts = build_attempts(log)
    assert attempts.rows["then"].tolist() == ["continued", "success", "lost for good", "given up", "open"]
    assert dict(attempts.ledger.exclusions) == {"job not accepted": 1, "after the job's first success": 1}


def test_a_result_written_only_with_the_job_is_boot_test_1():
    jobs = [
        closed("A", first_boot_result="data_readable"),
        closed("B", "not_recovered", first_boot_result="short"),
        closed("C", "not_recovered", first_boot_result="not_tested"),
        closed("D", "not_recovered"),
        closed("E"),
    ]
    log = log_of(jobs=jobs, boot_tests=[boot("E", 1, "short"), boot("E", 2, "data_readable")])
    attempts = build_attempts(log)
    rows = attempts.rows
    assert rows["job_id"].tolist() == ["A", "B", "E", "E"]
    assert rows["then"].tolist() == ["success", "later tests not recorded", "continued", "success"]
    first = build_cohort(log).first_boots["first_boot"]
    at_one = rows[rows["test_no"].eq(1)]["success"]
    assert (int(at_one.sum()), len(at_one) + attempts.lost_before) == (int(first.sum()), len(first))
    assert attempts.lost_before == 2


def test_hours_take_success_end_or_last_known():
    log = log_of(
        jobs=[
            closed("A", bench_hours=9.0),
            closed("B", "not_recovered", bench_hours=7.0),
            job("C", bench_hours=4.0),
            job("D"),
            closed("E"),
            job("F", decision="declined"),
            closed("G", "stopped_by_client", bench_hours=0.0),
        ],
        boot_tests=[
            boot("A", 1, "short", bench_hours_so_far=3.0),
            boot("A", 2, "data_readable", bench_hours_so_far=5.0),
            boot("C", 1, "short", bench_hours_so_far=4.5),
            boot("E", 1, "data_readable"),
        ],
    )
    timed = hours_to_success(log)
    assert timed.rows.to_numpy().tolist() == [["A", 5.0, 1], ["B", 7.0, 2], ["C", 4.5, 0]]
    assert dict(timed.ledger.exclusions) == {
        "declined or withdrawn": 1,
        "stopped by the client before work": 1,
        "succeeded, hours at the success not recorded": 1,
        "open, hours by then not recorded": 1,
    }


def test_a_recovery_without_its_boot_tests_is_a_success_of_unknown_hours_not_an_end_without():
    log = log_of(jobs=[closed("A", first_boot_result="short", bench_hours=9.0)])
    timed = hours_to_success(log)
    assert timed.rows.empty
    assert timed.lacking.too_many
    assert dict(timed.ledger.exclusions) == {"succeeded, hours at the success not recorded": 1}


def test_a_log_as_of_a_day_knows_nothing_later():
    log = log_of(
        jobs=[closed("A", closed_date="2026-02-10", bench_hours=9.0), job("B", received_date="2026-02-01")],
        boot_tests=[
            boot("A", 1, "short", test_date="2026-01-20", bench_hours_so_far=4.0),
            boot("A", 2, "data_readable", test_date="2026-02-05", bench_hours_so_far=8.0),
        ],
        chip_sides=[
            {"job_id": "A", "chip_role": "processor", "side": "lower", "before_test_no": n, "clean_passes_n": n}
            for n in (1, 2, 3)
        ],
    )
    then = as_of(log, pd.Timestamp("2026-01-31"))
    assert then.tables["jobs"]["job_id"].tolist() == ["A"]
    assert then.tables["jobs"][["outcome", "closed_date"]].isna().all(axis=None)
    assert then.tables["jobs"]["bench_hours"].tolist() == [4.0]
    assert then.tables["boot_tests"]["test_no"].tolist() == [1]
    assert then.tables["chip_sides"]["before_test_no"].tolist() == [1, 2]
    assert build_cohort(then).jobs["ending"].tolist() == ["open"]


def test_the_first_job_of_a_chain_tells_the_cause_of_its_last_and_the_hours_of_all():
    log = log_of(
        jobs=[
            closed("A", "not_recovered", failure_cause="not_found", bench_hours=5.0),
            closed(
                "B",
                "not_recovered",
                failure_cause="poor_joint",
                bench_hours=6.0,
                prior_rework="here",
                previous_job_id="A",
                received_date="2026-03-01",
                closed_date="2026-04-01",
            ),
        ]
    )
    row = build_cohort(log).jobs.iloc[0]
    assert (row["failure_cause"], row["chain_hours"], row["bench_hours"]) == ("poor_joint", 11.0, 5.0)


def test_row_order_changes_nothing():
    rows = [closed("A"), closed("B", "not_recovered"), job("C")]
    tests = [boot("A", 1, "data_readable"), boot("B", 1, "short"), boot("B", 2, "short"), boot("C", 1, "no_current")]
    forward = build_cohort(log_of(jobs=rows, boot_tests=tests)).first_boots
    backward = build_cohort(log_of(jobs=rows[::-1], boot_tests=tests[::-1])).first_boots
    pd.testing.assert_frame_equal(
        forward.sort_values("job_id").reset_index(drop=True), backward.sort_values("job_id").reset_index(drop=True)
    )


def test_what_carries_no_date_is_not_known_before_its_job_is_closed():
    jobs = [
        closed("A", received_date="2026-01-05", closed_date="2026-03-20", bench_hours=9.0),
        job("B", received_date="2026-01-06", bench_hours=30.0, first_boot_result="short"),
        closed("C", received_date="2026-01-07", closed_date="2026-02-01", bench_hours=5.0),
    ]
    tests = [boot(name, 1, "short", test_date=None, bench_hours_so_far=3.0) for name in "AC"]
    past = as_of(log_of(jobs=jobs, boot_tests=tests), pd.Timestamp("2026-02-28"))
    assert past.tables["boot_tests"]["job_id"].tolist() == ["C"]
    np.testing.assert_array_equal(past.tables["jobs"]["bench_hours"], [np.nan, np.nan, 5.0])
    assert past.tables["jobs"]["first_boot_result"].isna().all()


def test_a_day_is_seen_alike_whether_or_not_the_log_goes_on():
    jobs = [job("B", received_date="2026-01-06", bench_hours=30.0, first_boot_result="short")]
    later = job("Z", received_date="2026-05-01")
    day = pd.Timestamp("2026-02-28")
    ends_before, goes_on = (as_of(log_of(jobs=rows), day) for rows in (jobs, [*jobs, later]))
    pd.testing.assert_frame_equal(ends_before.tables["jobs"], goes_on.tables["jobs"])
    assert ends_before.tables["jobs"]["first_boot_result"].isna().all()


def test_work_without_a_test_number_is_as_undatable_in_a_past_log_as_in_the_whole_one():
    side = {"job_id": "A", "chip_role": "processor", "side": "lower"}
    log = log_of(
        jobs=[job("A", received_date="2026-06-01")],
        boot_tests=[boot("A", 1, "short", test_date="2026-06-10"), boot("A", 2, "short", test_date="2026-07-20")],
        chip_sides=[side | {"clean_passes_n": 2}, side | {"chip_role": "storage", "clean_passes_n": 8}],
    )
    for each in (log, as_of(log, pd.Timestamp("2026-06-30"))):
        cohort = build_cohort(each)
        assert cohort.jobs["clean_passes_per_side"].isna().all()
        assert cohort.undated.jobs == {"A"}


def test_jobs_set_aside_count_from_the_month_they_came_in():
    rows = pd.DataFrame(
        {
            "received_date": pd.to_datetime(["2026-01-05", "2026-05-01", None]),
            "outcome": ["recovered", "not_recovered", "not_recovered"],
        }
    )
    log = replace(log_of(jobs=[job("A")]), jobs_set_aside=4, rows_set_aside=rows)
    then = set_aside_by(log, pd.Timestamp("2026-02-28"))
    # One came later; one has no date, and one could not be read at all: both may have been there.
    assert (then.jobs_set_aside, then.failures_set_aside) == (3, 1)


def test_hours_of_a_chain_are_not_known_where_a_part_of_them_is_not_written():
    later = {"prior_rework": "here", "previous_job_id": "A", "received_date": "2026-03-01"}
    log = log_of(jobs=[closed("A", "not_recovered", bench_hours=5.0), closed("B", bench_hours=None, **later)])
    assert np.isnan(build_cohort(log).jobs.set_index("job_id").loc["A", "chain_hours"])


def test_jobs_taken_by_lot_depend_on_no_order_and_are_counted():
    log = read_log(DEMO).without_faulty_jobs()
    cohort = build_cohort(log)
    n = len(cohort.first_boots)
    assert cohort.at_most(n) is cohort
    turned = replace(cohort, first_boots=cohort.first_boots.iloc[::-1].reset_index(drop=True))
    taken = cohort.at_most(100)
    assert set(taken.first_boots["job_id"]) == set(turned.at_most(100).first_boots["job_id"])
    assert set(taken.first_boots["job_id"]) < set(cohort.at_most(150).first_boots["job_id"])
    assert (taken.ledger.rows_used, taken.ledger.exclusions[-1][1]) == (100, n - 100)
    lost = dict(pad_rows(log, taken).ledger.exclusions)
    assert lost["job not taken by lot"] > 0
    assert "job not taken by lot" not in dict(pad_rows(log, cohort).ledger.exclusions)
    assert lost["job without a first boot, or undated work on it"] > 0


def test_jobs_that_the_lot_left_out_count_for_the_pace_of_the_bench():
    log = read_log(DEMO).without_faulty_jobs()
    cohort = build_cohort(log)
    whole, part = (pace(technique_rows(log, each), log.last_date) for each in (cohort, cohort.at_most(200)))
    assert len(cohort.first_boots) > 2.5 * 200
    assert part == pytest.approx(whole, rel=0.25)  # of the year's jobs the lot takes some ninety


def test_a_cohort_is_shared_only_for_the_very_log_it_was_made_of(monkeypatch):
    monkeypatch.setattr(features, "_SHARED", [])
    log = read_log(DEMO).without_faulty_jobs()
    features.share_cohort(log)
    assert build_cohort(log) is build_cohort(log)
    other = replace(log)
    assert build_cohort(other) is not build_cohort(log)
    pd.testing.assert_frame_equal(build_cohort(other).jobs, build_cohort(log).jobs)
