"""What the tables of the watch say of months that change later, and of measures too rare for a usual range."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.questions.review import review_of
from analysis.report.watch_charts import recovery_grid
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
