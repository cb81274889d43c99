"""What a cause took: every attempt on the same board counts, and a blank among them is told."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.questions.cause_trends import cause_trends
from analysis.report import review_causes
from tests.tables import closed, log_of

MONTH = pd.Period("2026-02")


def failed(job_id, **values):
    return closed(job_id, "not_recovered", failure_cause="pads_lost", cause_evidence="confirmed", **values)


def review_of_costs(log):
    trends = cause_trends(log, build_cohort(log), MONTH)
    return SimpleNamespace(cause_trends=trends, log=log, month=MONTH)


@pytest.fixture
def log():
    again = failed("J-2", previous_job_id="J-1", prior_rework="here", received_date="2026-02-01", donor_cost=90.0)
    return log_of(jobs=[failed("J-1", closed_date="2026-01-30", bench_hours=9.5, donor_cost=30.0), again])


def test_every_attempt_on_the_board_is_counted(log):
    (cost,) = cause_trends(log, build_cohort(log), MONTH).costs
    assert (cost.share.x, cost.jobs, cost.hours_known, cost.donors_known) == (1, 2, 2, 2)
    assert (cost.hours, cost.money) == (15.5, 15.5 * 60 + 120)
    under = review_causes.costs_grid(review_of_costs(log)).under
    assert "2 jobs in all" in under


def test_a_chain_with_blank_hours_is_not_shown_as_complete(log):
    log.tables["jobs"].loc[1, "bench_hours"] = float("nan")
    (row,) = review_causes.costs_grid(review_of_costs(log)).rows
    assert row[4] == "9.5 (1 of 2)"
    assert row[5] == "690 (1 of 2)"


def test_an_hour_s_cost_nobody_set_is_called_the_default(log):
    said = "(the default; set bench_hour_cost in bench.toml)"
    assert said in review_causes.costs_grid(review_of_costs(log)).under
    own = dataclasses.replace(log, settings=dataclasses.replace(log.settings, bench_hour_cost=42.0))
    under = review_causes.costs_grid(review_of_costs(own)).under
    assert said not in under
    assert "42 EUR an hour" in under
