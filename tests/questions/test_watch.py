"""Watching over time: no look-ahead, budgets kept, what a signal holds, refits without signalled periods."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.models import poisson_binomial
from analysis.models.cusum import scores
from analysis.models.design import TooFew
from analysis.models.resampled_limits import mean_limits
from analysis.questions.expected import trailing_expected
from analysis.questions.expected_by_damage import expected_by_damage
from analysis.questions.process_measures import MEASURES, process_measures
from analysis.questions.recovery_watch import recovery_watch
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.questions.watch import (
    MINIMUM_JOBS,
    MONTHLY_CHARTS,
    PRIMARY_RATE,
    SHARED_RATE,
    freeze,
    freeze_days,
    in_order,
    watch,
)
from analysis.records.log import Log
from tests.tables import boot, closed, job, log_of

PAST, MONTH = pd.Period("2024-06"), pd.Period("2024-09")
DRAWS = 2000


@pytest.fixture(scope="module")
def tables():
    return dict(simulate(Shop(jobs=1000), 11).tables)


@pytest.fixture(scope="module")
def log(tables):
    return Log.from_tables(tables)


@pytest.fixture(scope="module")
def cohort(log):
    return build_cohort(log)


@pytest.fixture(scope="module")
def seen(cohort):
    return watch(cohort, MONTH, 10, DRAWS)


@pytest.fixture(scope="module")
def scrambled(tables):
    """The same log with everything tested or closed from July 2024 on made up anew."""
    out = {name: frame.copy() for name, frame in tables.items()}
    rng = np.random.default_rng(1)
    tests, jobs = out["boot_tests"], out["jobs"]
    future = tests["test_date"].ge("2024-07-01").to_numpy()
    tests.loc[future, "boot_result"] = rng.choice(list(tests["boot_result"].cat.categories), future.sum())
    tests.loc[future, "bench_hours_so_far"] = rng.uniform(1, 60, future.sum())
    later = jobs["closed_date"].ge("2024-07-01").fillna(False).to_numpy(bool)
    jobs.loc[later, "outcome"] = rng.choice(["recovered", "not_recovered"], later.sum())
    ids = set(tests.loc[future & tests["test_no"].eq(1).to_numpy(), "job_id"])
    for name, column, top in (("chip_sides", "clean_passes_n", 8), ("chip_sides", "pads_lost_n", 30)):
        work = out[name]
        mine = work["job_id"].isin(ids).to_numpy()
        work.loc[mine, column] = rng.integers(0, top, mine.sum())
    return Log.from_tables(out)


def test_scrambling_the_future_leaves_every_past_place_of_every_chart_identical(cohort, scrambled):
    one, two = watch(cohort, MONTH, 10, DRAWS), watch(build_cohort(scrambled), MONTH, 10, DRAWS)
    compared = 0
    for first, second in zip((one.primary, *one.others), (two.primary, *two.others), strict=True):
        past = [chart.points[chart.points["day"].lt("2024-07-01")] for chart in (first, second)]
        pd.testing.assert_frame_equal(*past)
        assert first.limits == second.limits
        day = pd.Timestamp("2024-07-01")
        assert [s for s in first.signals if s.day < day] == [s for s in second.signals if s.day < day]
        compared += len(past[0])
    assert compared > 500
    later = [w.primary.points["success"].tail(30).tolist() for w in (one, two)]
    assert later[0] != later[1], "the future was scrambled"


def test_a_chart_of_a_past_month_is_the_beginning_of_the_chart_of_a_later_one(cohort, seen):
    early = watch(cohort, PAST, 10, DRAWS)
    points = early.primary.points
    pd.testing.assert_frame_equal(points, seen.primary.points.iloc[: len(points)])


def test_scrambling_the_future_leaves_every_past_measure_and_recovery_identical(log, cohort, scrambled):
    other = build_cohort(scrambled)
    one, two = process_measures(log, cohort, PAST, 0.015), process_measures(scrambled, other, PAST, 0.015)
    assert one == two
    assert any(month.limits for chart in one for month in chart.months)
    assert recovery_watch(cohort, PAST, 0.9, 0.015) == recovery_watch(other, PAST, 0.9, 0.015)


def test_scrambling_the_future_leaves_the_expectation_of_every_past_month_identical(cohort, scrambled):
    """All twelve months' models come from the charts; a month is compared with what was known before it."""
    other = build_cohort(scrambled)
    on_one, on_two = (watch(c, MONTH, 10, DRAWS).model_on for c in (cohort, other))
    pairs = list(zip(trailing_expected(cohort, MONTH, on_one), trailing_expected(other, MONTH, on_two), strict=True))
    past = [(one, two) for one, two in pairs if one.month <= PAST]
    assert len(past) == 9
    for one, two in past:
        assert (one.n, one.observed, one.low, one.high, one.p) == (two.n, two.observed, two.low, two.high, two.p)
        assert one.expected == two.expected
        assert one.fitted_before <= one.month.start_time
    assert any(one.observed != two.observed for one, two in pairs[len(past) :]), "the future was scrambled"
    assert expected_by_damage(cohort, PAST, on_one) == expected_by_damage(other, PAST, on_two)


def test_the_months_and_the_charts_use_one_model(cohort, seen):
    for each in trailing_expected(cohort, MONTH, seen.model_on):
        mine = seen.primary.points.set_index("job_id")["chance"]
        chances = each.chances.set_axis(cohort.first_boots.loc[each.chances.index, "job_id"]).dropna()
        np.testing.assert_allclose(chances, mine.loc[chances.index], rtol=1e-12)  # rows in another order


def test_chances_of_the_verdict_words_add_up_and_match_a_count(cohort, seen):
    now = trailing_expected(cohort, MONTH, seen.model_on)[-1]
    rows = cohort.first_boots[cohort.first_boots["first_boot_month"].eq(MONTH)]
    model = seen.model_on(MONTH.start_time)
    mass = model.distribution(rows[model.design.seen(rows)])
    words = [verdict_of(poisson_binomial.two_sided(mass, k)) for k in range(len(mass))]
    for word, told in ((Verdict.CLEAR, now.quiet_clear), (Verdict.LEANING, now.quiet_leaning)):
        assert told == pytest.approx(sum(m for m, w in zip(mass, words, strict=True) if w is word))
    assert now.quiet_clear <= 0.05
    assert now.quiet_clear + now.quiet_leaning <= 0.20


def test_all_charts_together_spend_the_two_stated_budgets(seen):
    assert seen.primary.limits[-1][1].rate == PRIMARY_RATE
    last = seen.primary.limits[-1][0]
    others = [limit.rate for chart in seen.others for day, limit in chart.limits if day == last]
    assert sum(others) + MONTHLY_CHARTS * seen.each_rate == pytest.approx(SHARED_RATE)
    assert len(MEASURES) + 2 == MONTHLY_CHARTS, "the plain rate, recovery and the measures"


def test_places_follow_from_chances_and_outcomes_and_start_again_after_a_signal(seen):
    points = seen.primary.points
    moves = scores(points["chance"], points["success"], 0.5)
    value = points["value"].to_numpy()
    for k in range(1, len(points)):
        before = 0.0 if points["signal"].iloc[k - 1] else value[k - 1]
        assert value[k] == pytest.approx(max(0.0, before + moves[k]), abs=1e-12)
    np.testing.assert_array_equal(points["signal"], value >= points["limit"])


def test_a_signal_names_its_beginning_its_interval_and_its_jobs(seen):
    assert seen.primary.signals, "this shop has a bad lot"
    for signal in seen.primary.signals:
        assert signal.earliest <= signal.began <= signal.latest <= signal.day
        assert signal.jobs[-1] == signal.job_id
        assert signal.observed < signal.expected < signal.n
        mine = seen.primary.points[seen.primary.points["job_id"].isin(signal.jobs)]
        assert mine["success"].sum() == signal.observed


def test_the_bad_lot_is_signalled_while_it_lasts_and_stands_out_among_the_signal_s_jobs(cohort, seen):
    lot = cohort.first_boots["donor_lot"].eq("LOT-19")
    days = cohort.first_boots.loc[lot, "first_boot_date"]
    found = next(s for s in seen.primary.signals if s.day >= days.min())
    assert days.min() <= found.began <= found.day <= days.max()
    inside = cohort.first_boots["job_id"].isin(found.jobs)
    assert lot[inside].mean() > 5 * lot[~inside].mean()


def test_the_model_is_refitted_without_the_signalled_period(cohort):
    rows = in_order(cohort.first_boots, MONTH)
    days = freeze_days(rows, MONTH)
    out = frozenset(rows.loc[rows["first_boot_date"].between("2023-11-15", "2023-12-20"), "job_id"])
    with_all, without = freeze(cohort, rows, days[-1], frozenset()), freeze(cohort, rows, days[-1], out)
    assert with_all.model.fit.n - without.model.fit.n == len(out) > 10
    assert without.pace == with_all.pace, "signalled jobs still count as jobs a year"
    assert not without.like["job_id"].isin(out).any()
    assert ("in a period in which the chart signalled", len(out)) in without.model.fit.ledger.exclusions


def test_models_are_frozen_yearly_from_the_first_month_with_enough_jobs(cohort):
    rows = in_order(cohort.first_boots, MONTH)
    days = freeze_days(rows, MONTH)
    assert days[1:] == (pd.Timestamp("2023-01-01"), pd.Timestamp("2024-01-01"))
    before = rows["first_boot_date"].lt(days[0]).sum()
    month_before = rows["first_boot_date"].lt(days[0] - pd.DateOffset(months=1)).sum()
    assert month_before < MINIMUM_JOBS <= before


def test_a_young_log_says_why_it_is_not_watched():
    jobs = [closed(f"C{i}") for i in range(5)] + [job("O")]
    tests = [boot(f"C{i}", 1, "data_readable") for i in range(5)]
    got = watch(build_cohort(log_of(jobs=jobs, boot_tests=tests)), pd.Period("2026-02"), 10)
    assert got.primary is None
    assert isinstance(got.waiting, TooFew)
    assert (got.waiting.successes, got.waiting.failures) == (5, 0)
    empty = watch(build_cohort(log_of()), pd.Period("2026-02"), 10)
    assert empty.primary is None
    assert empty.waiting is not None


@pytest.mark.parametrize("earlier_n", [40, 300])
def test_limits_of_a_mean_keep_their_rate_whatever_the_earlier_jobs(earlier_n):
    rng = np.random.default_rng(4)
    outside = []
    for k in range(400):
        earlier, month = rng.geometric(0.5, earlier_n) - 1.0, rng.geometric(0.5, 15) - 1.0
        limits = mean_limits(earlier, 15, 0.10, k, 1000)
        outside.append(not limits.low <= month.mean() <= limits.high)
    assert np.mean(outside) <= 0.10 + 3 * np.sqrt(0.1 * 0.9 / 400)
    assert np.mean(outside) > 0.03


def test_a_month_with_twice_the_pads_lost_is_seen():
    earlier = np.tile([0.0, 0.0, 1.0, 0.0, 2.0], 40)
    limits = mean_limits(earlier, 20, 0.01, 1, 20_000)
    assert limits.low <= earlier.mean() <= limits.high < 2.0


def test_measures_count_work_before_the_first_test_only(tables, log, cohort):
    altered = {name: frame.copy() for name, frame in tables.items()}
    for name, column in (("chip_sides", "clean_passes_n"), ("chip_sides", "pads_lost_n")):
        altered[name].loc[altered[name]["before_test_no"].gt(1).fillna(False).to_numpy(bool), column] = 8
    steps = altered["heat_steps"]
    steps.loc[steps["before_test_no"].gt(1).fillna(False).to_numpy(bool), "entry_kind"] = "preset"
    other = Log.from_tables(altered)
    assert process_measures(log, cohort, PAST, 0.015) == process_measures(other, build_cohort(other), PAST, 0.015)


def test_every_measure_tells_its_jobs_and_its_blanks(log, cohort):
    rows = cohort.first_boots
    for chart in process_measures(log, cohort, PAST, 0.015):
        for month in chart.months:
            assert month.n + month.blank == rows["first_boot_month"].eq(month.month).sum()
            assert month.limits is None or month.limits.n == month.n


def test_recovery_counts_a_month_once_nearly_closed_and_never_changes_it(cohort):
    got = recovery_watch(cohort, MONTH, 0.9, 0.015)
    assert len(got) > 12
    for each in got:
        assert each.closed >= 0.9 * each.accepted
        assert each.counted >= each.month.end_time.normalize()
        assert each.low <= each.expected <= each.high
    earlier = recovery_watch(cohort, PAST, 0.9, 0.015)
    assert earlier == tuple(each for each in got if each.counted <= PAST.end_time)


def test_a_shop_without_work_recorded_has_measures_without_values():
    shop = dataclasses.replace(Shop(jobs=300), bad_lot=False)
    tables = dict(simulate(shop, 3).tables)
    bare = Log.from_tables({name: frame for name, frame in tables.items() if name in ("jobs", "boot_tests")})
    charts = process_measures(bare, build_cohort(bare), PAST, 0.015)
    assert all(month.limits is None for chart in charts[:4] for month in chart.months)
    assert all(month.n == 0 for chart in charts[:4] for month in chart.months)
