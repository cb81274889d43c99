"""Sentences and headings of the review in logs of a few jobs: true, and not to be read twice."""

from __future__ import annotations

from types import SimpleNamespace

import pandas as pd

from analysis.cohort.features import build_cohort
from analysis.questions.causes import causes_of, failed_jobs
from analysis.report import to_watch
from tests.tables import closed, log_of

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
