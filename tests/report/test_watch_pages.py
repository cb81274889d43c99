"""What the tables of the watch say of months that change later, and of measures too rare for a usual range."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.models.resampled_limits import enough_differing, mean_limits
from analysis.questions.review import review_of
from analysis.report.watch_charts import measures_grid, recovery_grid
from tests.months import Months, days_of


def test_a_month_whose_board_comes_back_is_judged_again_and_the_page_says_so():
    months, rng = Months(), np.random.default_rng(4)
    failed = []
    for month in pd.period_range("2024-01", "2025-10", freq="M"):
        for k, day in enumerate(days_of(str(month), 20)):
            june = str(month) == "2025-06"
            name = months.add(day, k % 2 == 0 if june else bool(rng.random() < 0.6))
            failed += [name] if june and k % 2 else []
    for name in failed[:2]:
        months.add("2025-09-03", False, prior_rework="here", previous_job_id=name, intake_damage="drop")
    log = months.log()
    june = []
    for month in ("2025-08", "2025-10"):
        review = review_of(log, pd.Period(month))
        june += [each for each in review.watching.recovery if str(each.month) == "2025-06"]
        html = recovery_grid(review)._repr_html_()
        assert "stays as it was" not in html
        assert "A board that comes back later counts by its last job" in html
    assert [each.n for each in june] == [20, 18]


def _months_with_pads(seldom: int):
    """Months of twenty jobs with one side each; every so many jobs lose pads."""
    months, k = Months(chip_sides=[]), 0
    for month in pd.period_range("2023-07", "2025-06", freq="M"):
        for at, day in enumerate(days_of(str(month), 20)):
            name = months.add(day, at % 3 != 0)
            k += 1
            lost = 3 if str(month) == "2025-06" and at < 2 else 1 + k % 3 if k % seldom == 0 else 0
            side = {"job_id": name, "chip_role": "processor", "side": "lower", "pads_lost_n": lost}
            months.tables["chip_sides"].append(side | {"chip_source": "client", "clean_passes_n": 2})
    return review_of(months.log(), pd.Period("2025-06"))


def test_a_number_too_seldom_seen_has_no_usual_range_and_the_table_says_why():
    rare, common = _months_with_pads(60), _months_with_pads(6)
    for review, judged in ((rare, False), (common, True)):
        chart = next(each for each in review.watching.measures if each.measure.column == "pads_lost_n")
        assert chart.months[-1].n == 20
        assert (chart.months[-1].limits is not None) == judged
    html = measures_grid(rare)._repr_html_()
    assert "10 of which differ from the commonest number" in html


@pytest.mark.parametrize(("share", "earlier_n"), [(0.01, 100), (0.05, 300)])
def test_months_of_rare_counts_stay_within_their_stated_rate(share, earlier_n):
    rate, logs, outside, judged = 0.2 / 120, 150, 0, 0
    for k in range(logs):
        rng = np.random.default_rng(k)
        earlier, month = (np.where(rng.random(n) < share, rng.integers(1, 4, n), 0.0) for n in (earlier_n, 12))
        if enough_differing(earlier):
            limits = mean_limits(earlier, 12, rate, 6, 20_000)
            judged += 1
            outside += not limits.low <= month.mean() <= limits.high
    assert outside / logs <= rate + 3 * np.sqrt(rate * (1 - rate) / logs)
    assert (judged > logs / 2) == (share > 0.03), "about one job with pads lost, or fifteen"
