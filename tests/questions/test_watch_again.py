"""Later alarms of one lasting change: no beginning is made up for them; a new change keeps its own."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.models.change_point import change_point, weight_of_change
from analysis.models.cusum import scores, walk
from analysis.questions import watching
from analysis.questions.watch import watch
from analysis.report.watch_words import signal_words
from tests.months import Months, days_of

DRAWS = 2000


def _watched(rate_of, last: str):
    """Charts of months of 24 jobs, each with its own rate of first boots."""
    months, rng = Months(), np.random.default_rng(21)
    for month in pd.period_range("2023-07", last, freq="M"):
        for day in days_of(str(month), 24):
            months.add(day, bool(rng.random() < rate_of(month)))
    return watch(build_cohort(months.log()), pd.Period(last), 10, DRAWS).primary


@pytest.fixture(scope="module")
def lasting():
    return _watched(lambda month: 0.75 if month < pd.Period("2025-01") else 0.40, "2025-06")


def test_a_change_that_lasts_is_told_as_going_on_since_its_first_alarm(lasting):
    first, *later = [signal for signal in lasting.signals if signal.day >= pd.Timestamp("2025-01-01")]
    assert len(later) >= 2
    assert first.going_on_since is None
    assert all(signal.going_on_since == first.day for signal in later)
    days = dict(zip(lasting.points["job_id"], lasting.points["day"], strict=True))
    order = list(days)
    for before, signal in zip([first, *later], later, strict=False):
        after = order[order.index(before.job_id) + 1]
        assert signal.jobs[0] == after, "the jobs begin with the first after the alarm before"
        assert signal.began == signal.earliest == days[after]
        assert signal.jobs[-1] == signal.job_id


def test_words_of_a_later_alarm_name_the_first_and_give_no_beginning(lasting):
    last = lasting.signals[-1]
    words = signal_words(last)
    assert f"still going on since the alarm of {last.going_on_since:%Y-%m-%d}" in words
    assert "most likely began" not in words
    assert "picked because it stood out" in signal_words(lasting.signals[0])


def test_a_second_change_after_quiet_months_has_its_own_beginning():
    bad = {pd.Period("2024-06"), pd.Period("2025-05"), pd.Period("2025-06")}
    chart = _watched(lambda month: 0.25 if month in bad else 0.75, "2025-06")
    last = next(signal for signal in chart.signals if signal.day >= pd.Timestamp("2025-05-01"))
    assert chart.signals[0].day < pd.Timestamp("2024-09-01")
    assert last.going_on_since is None
    assert last.earliest >= pd.Timestamp("2025-03-01")


def test_lasting_changes_and_new_ones_are_told_apart_about_as_often_as_the_range_says():
    rng = np.random.default_rng(3)
    same, new = [], []
    for _ in range(200):
        chances = np.clip(0.75 + rng.normal(0, 0.08, 600), 0.3, 0.95)
        odds = chances / (1 - chances) * (0.4 / 0.6) / 3
        fallen = (rng.random(600) < odds / (1 + odds)).astype(float)
        usual = (rng.random(60) < chances[:60]).astype(float)
        same.append(_goes_on(chances, fallen, 0))
        new.append(_goes_on(chances, np.concatenate([usual, fallen[60:]]), 60))
    assert np.mean(same) > 0.9
    assert np.mean(new) < 0.2


def _goes_on(chances, y, least: int) -> bool:
    _, at = walk(scores(chances, y, 0.5), 4.0, 0.0)
    end = next(k for k in at if k >= least) + 1
    began = change_point(chances[:end], y[:end], worse=True)
    return weight_of_change(chances[: began.low], y[: began.low], worse=True) > 0.2


def test_alarms_and_recovery_of_the_twelve_months_are_told_and_no_earlier_ones(monkeypatch):
    def chart(*days):
        return SimpleNamespace(signals=tuple(SimpleNamespace(day=pd.Timestamp(day)) for day in days))

    received = tuple(SimpleNamespace(month=pd.Period(month)) for month in ("2023-03", "2023-04", "2024-03"))
    for name in ("rate_chart", "process_measures", "_looked_into"):
        monkeypatch.setattr(watching, name, lambda *_: None)
    monkeypatch.setattr(watching, "recovery_watch", lambda *_: received)
    charts = SimpleNamespace(primary=chart("2023-03-31", "2023-04-01"), others=(chart("2024-03-31"),), each_rate=0.1)
    log = SimpleNamespace(settings=SimpleNamespace(month_complete_share=0.9))
    found = watching.watching(log, None, pd.Period("2024-03"), charts, None)
    assert [f"{signal.day:%Y-%m-%d}" for signal in found.signals] == ["2024-03-31", "2023-04-01"]
    assert [str(each.month) for each in found.recovery] == ["2023-04", "2024-03"]
