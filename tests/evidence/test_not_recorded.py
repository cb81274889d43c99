"""What nobody wrote gets no interval on the sheet, and a job that closed quickly is followed to its end."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from bs4 import BeautifulSoup

from analysis.models.intervals import wilson
from analysis.questions import evidence_time
from analysis.questions.evidence import build_evidence
from analysis.questions.evidence_span import half_year
from analysis.report import evidence_page as parts
from analysis.report.evidence_recount import recount_sheet
from analysis.report.evidence_view import Mark, SheetView
from analysis.report.evidence_wording import words_for
from tests.evidence.sealed import sealed, sheet
from tests.evidence.small_log import small_tables
from tests.files import write
from tests.tables import boot, closed, job, log_of

RECEIVED = pd.Timestamp("2026-01-05")


def quick(blank=15, lost=0, wins=12):
    """Closed jobs of 2 to 13 days; failures without a word on whether the data are lost, then lost ones."""
    rows = [closed(f"W-{at}", first_boot_result="data_readable") for at in range(wins)]
    rows += [closed(f"B-{at}", "not_recovered", loss_reversible=None) for at in range(blank)]
    rows += [closed(f"L-{at}", "not_recovered", loss_reversible=False) for at in range(lost)]
    for at, row in enumerate(rows):
        row |= {
            "received_date": f"{RECEIVED:%Y-%m-%d}",
            "closed_date": f"{RECEIVED + pd.Timedelta(days=2 + at % 12):%Y-%m-%d}",
        }
    return rows


def counted(rows, until="2026-06-30"):
    tests = [boot(row["job_id"], 1, "short") for row in rows if row.get("outcome") == "not_recovered"]
    log = log_of(jobs=rows, boot_tests=tests)
    log = replace(log, settings=replace(log.settings, minimum_class_n=10))
    return build_evidence(log, half_year("2026H1"), pd.Timestamp(until))


def said(evidence, language="en"):
    """Time, losses and fee of the sheet, by their place."""
    view = SheetView(evidence, words_for(language), Mark(0, "", "d", "1-c"), "shop", False)
    text = parts.more(view)._repr_html_().replace("\u2060", "").replace("\u00a0", " ")
    return [li.get_text() for li in BeautifulSoup(text, "html5lib").find_all("li")]


@pytest.mark.parametrize(
    ("language", "bounds", "unknown", "likely"),
    [
        ("en", "Between 0% and 56% of 27 closed jobs", "not recorded for jobs without success: 15", "likely range"),
        ("de", "Zwischen 0 % und 56 % von 27 abgeschlossenen", "ohne Erfolg nicht festgehalten: 15", "Bereich"),
    ],
)
def test_losses_that_nobody_recorded_get_bounds_and_no_interval(language, bounds, unknown, likely):
    loss = said(counted(quick()), language)[1]
    assert bounds in loss
    assert unknown in loss
    assert likely not in loss
    assert "12 %" not in loss.replace("12%", "12 %")


def test_a_few_unrecorded_losses_bound_the_rest():
    loss = said(counted(quick(blank=3, lost=2, wins=15)))[1]
    assert "Between 10% and 25% of 20 closed jobs" in loss
    assert "counted as lost in the attempt: 2." in loss


def test_losses_all_recorded_keep_share_and_range():
    loss = said(counted(quick(blank=0, lost=5, wins=15)))[1]
    assert loss.startswith("Data lost for good: In 5 of 20 closed jobs (25%, likely range 11–47%)")


def test_a_sheet_with_unrecorded_losses_is_recounted(tmp_path):
    tables = small_tables()
    tables["jobs"][4]["loss_reversible"] = ""  # beside a stopped job, of which nobody wrote it either
    folder = write(tmp_path / "log", tables)
    sealed(folder, dt.date(2024, 9, 30))
    page, lines = sheet(folder, tmp_path), []
    assert "Recorded as lost: 1; not recorded for jobs without success: 2." in page.read_text(encoding="utf-8")
    assert recount_sheet(page, folder, lines.append), lines
    page.write_text(page.read_text(encoding="utf-8").replace("success: 2.", "success: 0."), encoding="utf-8")
    assert not recount_sheet(page, folder, lines.append)


def test_jobs_that_closed_within_a_day_told_are_followed_to_their_end():
    evidence = counted(quick())
    by_day = {day: (share, low, high) for day, share, low, high in evidence.turnaround.recovered}
    assert list(by_day) == [14, 30, 60]
    assert by_day[14][0] == pytest.approx(12 / 27)
    # Nobody was censored, so that the share is a plain one; its interval must lie near Wilson's.
    assert by_day[14][1:] == pytest.approx((wilson(12, 27).low, wilson(12, 27).high), abs=0.03)
    assert "within 14 days of receipt in 44%" in said(evidence)[0]


def test_nobody_or_everybody_recovered_keeps_the_limit_of_all_jobs():
    none = counted(quick(blank=27, wins=0)).turnaround.recovered[0]
    assert none == (14, 0.0, 0.0, pytest.approx(1 - 0.025 ** (1 / 27)))
    every = counted(quick(blank=0, wins=27)).turnaround.recovered[0]
    assert every == (14, 1.0, pytest.approx(0.025 ** (1 / 27)), 1.0)


def test_a_day_that_open_jobs_have_not_reached_is_not_told():
    """Ten quick ends among many that came in last week say nothing about day 14."""
    late = [job(f"O-{at}", received_date="2026-06-25") for at in range(12)]
    time = said(counted(quick(blank=0, wins=24) + late))[0]
    assert "within 14 days" not in time
    assert "Too few jobs are known for 14 days" in time
    told = said(counted(quick(blank=0, wins=24) + late[:2]))[0]
    assert "within 14 days" in told


def test_a_day_beyond_a_longest_job_still_open_is_not_told():
    """By hand: 18 of 27 ends by day 13 are recoveries; three jobs are open on day 20, and nobody was followed further.

    Of the 30, between 18 and 21 will have been recovered by day 30. Carried on from day 20, the curve said 18 of 30
    with a range as if the three had been seen to fail.
    """
    late = [job(f"O-{at}", received_date="2026-06-10") for at in range(3)]
    told = counted(quick(blank=9, wins=18) + late).turnaround
    assert [day for day, *_ in told.recovered] == [14]
    assert (told.n, told.still_open) == (30, 3)
    # Where a closed job took longer than the open ones have waited, the curve reaches its end.
    older = closed("X", received_date="2026-01-05", closed_date="2026-01-29")
    told = counted([*quick(blank=9, wins=18), *late, older]).turnaround
    assert [day for day, *_ in told.recovered] == [14, 30, 60]


def test_a_share_by_a_day_covers_the_truth_where_slow_jobs_succeed_and_hardly_any_was_followed_so_long():
    """Of 45 jobs 12 % take 45 to 58 days and succeed; 40 came in 15 to 45 days ago, five 105 days ago."""
    rng = np.random.default_rng(8)
    truth, covered = 0.6 + 0.12, []
    for _ in range(400):
        kind = rng.choice(3, 45, p=[0.6, 0.28, 0.12])  # quick recovery, quick failure, slow recovery
        took = np.where(kind == 2, 45 + 13 * rng.random(45), rng.lognormal(2, 0.4, 45)).round()
        waited = np.concatenate([45 - rng.integers(0, 30, 40), np.full(5, 105)])
        event = np.where(took <= waited, np.where(kind == 1, 2, 1), 0)
        days = pd.DataFrame({"days": np.minimum(took, waited).astype(float), "event": event})
        if evidence_time.may_be_told(days, 60):
            _, low, high = evidence_time._share(evidence_time._curve(days, days["event"]), days, 60)
            covered.append(low <= truth <= high)
    assert len(covered) > 50
    assert np.mean(covered) >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / len(covered)), "three Monte Carlo errors"
