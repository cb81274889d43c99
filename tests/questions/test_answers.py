"""Answers: no look-ahead, later work is never seen, verdict words, months."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.attempts import build_attempts
from analysis.cohort.features import FEATURE_SOURCES, build_cohort
from analysis.cohort.undatable import UNDATED_WORK, Undatable
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.errors import ReworkError
from analysis.models.timed import timed
from analysis.questions.causes import NOT_WRITTEN, causes_of, failed_jobs, pad_losses
from analysis.questions.description import Description, describe, holm
from analysis.questions.expected import ExpectedModel, expect_month, trailing_expected
from analysis.questions.period import latest_complete_month, month_for, parse_month
from analysis.questions.rates import recovery_by_month_received, recovery_rate
from analysis.questions.review import review_of
from analysis.questions.survival import _with_events, attempts_answer
from analysis.questions.talk import jobs_to_talk_about
from analysis.questions.terms import ATTEMPTS, DAMAGE, DESCRIPTION, EXPECTED, HOURS, LANDMARK
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.questions.watch import watch
from analysis.records.dictionary import BY_NAME, KnownAt, Role
from analysis.records.log import Log
from analysis.report.wording import hours_of, of_known
from tests.tables import boot, closed, job, log_of

MONTH = pd.Period("2024-06")


@pytest.fixture(scope="module")
def tables():
    return dict(simulate(dataclasses.replace(Shop(), gaps=False), 11).tables)


@pytest.fixture(scope="module")
def cohort(tables):
    return build_cohort(Log.from_tables(tables))


def charts(cohort, month):
    return watch(cohort, month, 10, 2000)


def model_for(cohort, month):
    return charts(cohort, month).model_on(month.start_time)


def test_altering_all_later_work_leaves_the_fit_identical(tables, cohort):
    altered = {name: frame.copy() for name, frame in tables.items()}
    rng = np.random.default_rng(0)
    for name, columns in (("chip_sides", ["clean_passes_n", "pads_lost_n"]), ("heat_steps", ["set_temp_c", "step_s"])):
        later = altered[name]["before_test_no"].gt(1).to_numpy(bool)
        assert later.sum() > 20
        for column in columns:
            altered[name].loc[later, column] = rng.integers(0, 8, later.sum())
    first, second = describe(cohort, MONTH), describe(build_cohort(Log.from_tables(altered)), MONTH)
    assert isinstance(first, Description)
    assert isinstance(second, Description)
    assert first.design == second.design
    np.testing.assert_array_equal(first.fit.coefficients, second.fit.coefficients)
    np.testing.assert_array_equal(first.fit.low, second.fit.low)


def test_work_without_a_boot_test_never_gives_a_failed_first_test_away(tables):
    """Blanking before_test_no everywhere makes "not recorded" mean "failed test 1": no model rather than a leak."""
    blank = {name: frame.copy() for name, frame in tables.items()}
    for name in ("chip_sides", "heat_steps"):
        blank[name]["before_test_no"] = pd.NA
        blank[name]["before_test_no"] = blank[name]["before_test_no"].astype("Int64")
    log = Log.from_tables(blank)
    without = build_cohort(log)
    assert isinstance(describe(without, MONTH), Undatable)
    answer = attempts_answer(build_attempts(log))
    assert isinstance(answer.too_few, Undatable)
    assert len(answer.table) > 1, "the table needs no work and stays"
    assert len(without.undated.jobs) > 20


def test_undated_work_of_a_few_jobs_costs_their_attempts_and_no_more(tables):
    tests = tables["boot_tests"]
    several = tests.loc[tests["test_no"].eq(2), "job_id"]
    worked = several[several.isin(tables["chip_sides"]["job_id"])].unique()[:3]
    blank = {name: frame.copy() for name, frame in tables.items()}
    for name in ("chip_sides", "heat_steps"):
        blank[name].loc[blank[name]["job_id"].isin(worked), "before_test_no"] = pd.NA
    attempts = build_attempts(Log.from_tables(blank))
    undated = attempts.rows["job_id"].isin(attempts.undated.jobs)
    failed_first = attempts.rows["test_no"].eq(1) & ~attempts.rows["success"].astype(bool)
    assert set(worked) <= set(attempts.undated.jobs)
    assert 0 < 10 * len(attempts.undated.jobs) <= failed_first.sum()
    answer = attempts_answer(attempts)
    assert answer.fit.n == len(attempts.rows) - undated.sum()
    assert dict(answer.fit.ledger.exclusions)[UNDATED_WORK] == undated.sum()


def test_a_split_without_overlap_is_named(cohort):
    assert describe(cohort, MONTH).separated == ()
    hopeless = cohort.first_boots["pads_lost_band"].eq("4 or more")
    rows = cohort.first_boots.assign(first_boot=cohort.first_boots["first_boot"].mask(hopeless, 0.0))
    split = describe(dataclasses.replace(cohort, first_boots=rows), MONTH)
    assert split.separated == ("pads lost: 4 or more",)
    assert np.isfinite(split.fit.coefficients).all()


def test_the_expectation_of_a_month_never_looks_ahead(tables, cohort):
    scrambled = {name: frame.copy() for name, frame in tables.items()}
    tests = scrambled["boot_tests"]
    future = tests["test_date"].ge("2024-07-01").to_numpy()
    codes = list(tests["boot_result"].cat.categories)
    tests.loc[future, "boot_result"] = np.random.default_rng(1).choice(codes, future.sum())
    other = build_cohort(Log.from_tables(scrambled))
    one, two = (expect_month(c, MONTH, model_for(c, MONTH)) for c in (cohort, other))
    assert (one.observed, one.low, one.high, one.n) == (two.observed, two.low, two.high, two.n)
    assert one.expected == pytest.approx(two.expected, abs=1e-12)
    assert one.fitted_before == pd.Timestamp("2024-01-01")


def test_a_past_review_sees_nothing_that_came_later(tables):
    early, late = review_of(Log.from_tables(tables), MONTH), review_of(Log.from_tables(tables), pd.Period("2024-09"))
    assert early.cohort.jobs["received_date"].max() < pd.Timestamp("2024-07-01")
    assert early.log.last_date <= pd.Timestamp("2024-06-30")
    assert early.attempts.fit.n < late.attempts.fit.n
    assert early.hours.overall.n < late.hours.overall.n


def test_a_young_log_gives_a_month_one_expectation_only(cohort):
    month = pd.Period("2022-12")
    once = expect_month(cohort, month, model_for(cohort, month))
    late = charts(cohort, pd.Period("2023-03"))
    assert trailing_expected(cohort, month, late.model_on)[-1].expected == once.expected


def test_a_kind_without_a_boot_leaves_with_its_jobs_and_not_into_the_reference():
    rng = np.random.default_rng(0)
    damage = np.repeat(np.array(["drop", "liquid", "heat"], dtype=object), [80, 40, 40])
    event = np.where(damage == "heat", 2, rng.choice([1, 2], 160, p=[0.7, 0.3]))
    rows = pd.DataFrame({"intake_damage": damage})
    data, kept, dropped = _with_events(timed(rng.exponential(5, 160) + 0.1, event), rows, (DAMAGE,))
    assert dropped == [("damage at intake: heat", 40)]
    assert set(kept["intake_damage"]) == {"drop", "liquid"}
    assert data.n == 120


def test_a_month_is_not_part_of_its_own_expectation_in_a_young_log(cohort):
    months = pd.period_range("2022-05", "2023-02", freq="M")
    models = [model_for(cohort, month) for month in months]
    first = next(k for k, model in enumerate(models) if model)
    assert isinstance(models[first], ExpectedModel)
    for month, model in zip(months[first:], models[first:], strict=True):
        assert model.fitted_before <= month.start_time
    made = sorted({model.fitted_before for model in models[first:]})
    assert len(made) == 3, "as soon as one can be fitted, when the charts begin, and in January"
    assert made[-1] == pd.Timestamp("2023-01-01")


def test_the_range_is_wider_than_the_coin_tosses_alone(cohort):
    from analysis.models import poisson_binomial

    model = model_for(cohort, MONTH)
    rows = cohort.first_boots[cohort.first_boots["first_boot_month"].eq(MONTH)]
    with_model = model.distribution(rows)
    alone = poisson_binomial.pmf(model.chances(rows).to_numpy())
    k = np.arange(len(alone))

    def spread(mass):
        return float(np.sqrt(mass @ k**2 - (mass @ k) ** 2))

    assert with_model.sum() == pytest.approx(1)
    assert spread(with_model) > spread(alone)


@pytest.mark.parametrize(
    ("terms", "times"),
    [
        (EXPECTED, {KnownAt.INTAKE, KnownAt.ASSESSMENT}),
        (HOURS, {KnownAt.INTAKE, KnownAt.ASSESSMENT}),
        (DESCRIPTION, {KnownAt.INTAKE, KnownAt.ASSESSMENT, KnownAt.BENCH}),
        (LANDMARK, {KnownAt.INTAKE, KnownAt.ASSESSMENT, KnownAt.BENCH}),
        (ATTEMPTS, {KnownAt.INTAKE, KnownAt.ASSESSMENT, KnownAt.BENCH}),
    ],
    ids=["expected", "hours", "description", "landmark", "attempts"],
)
def test_models_see_only_predictors_known_in_time_by_the_dictionary(terms, times):
    for term in terms:
        if term.column == "test_band":  # the number of the boot test itself
            continue
        told = f"say in FEATURE_SOURCES (analysis/cohort/features.py) which columns of the log {term.column} is made of"
        assert term.column in FEATURE_SOURCES, told
        for table, column in FEATURE_SOURCES[term.column]:
            declared = BY_NAME[table][column]
            assert declared.role is Role.PREDICTOR, f"{column} is no predictor"
            assert declared.known_at in times, f"{column} is known too late"
            assert terms is not EXPECTED or table == "jobs"


def test_models_never_see_donor_technician_lot_or_guess_where_forbidden():
    seen = {term.column for term in EXPECTED}
    assert not seen & {"technician_id", "donor_id", "donor_lot", "known_good", "donor_age_years", "guessed_success_pct"}
    seen = {term.column for term in DESCRIPTION}
    assert not seen & {"technician_id", "donor_lot", "guessed_success_pct", "experience_jobs", "outcome", "bench_hours"}


def test_holm_agrees_with_statsmodels():
    from statsmodels.stats.multitest import multipletests

    p = np.random.default_rng(2).random(12) ** 3
    np.testing.assert_allclose(holm(p), multipletests(p, method="holm")[1], atol=1e-14)


@pytest.mark.parametrize(
    ("p", "word"), [(0.01, Verdict.CLEAR), (0.05, Verdict.CLEAR), (0.06, Verdict.LEANING), (0.3, Verdict.CANNOT_TELL)]
)
def test_verdict_words(p, word):
    assert verdict_of(p) is word


def test_the_latest_complete_month_has_ended_in_the_log():
    assert latest_complete_month(log_of(jobs=[job("A", received_date="2026-05-31")])) == pd.Period("2026-05")
    two = [job("A", received_date="2026-05-30"), job("B", received_date="2026-04-02")]
    assert latest_complete_month(log_of(jobs=two)) == pd.Period("2026-04")
    late = [*two, job("Z", received_date="2026-11-03")]
    assert latest_complete_month(log_of(jobs=late)) == pd.Period("2026-05"), "not an empty month before a late entry"
    assert latest_complete_month(log_of(jobs=two[:1])) == pd.Period("2026-05"), "a first month is all there is"


def test_months_are_read_strictly():
    assert parse_month(" 2026-05 ") == pd.Period("2026-05")
    log = log_of(jobs=[job("A", received_date="2026-05-31")])
    for text in ("2026-5", "05/2026", "2027-01"):
        with pytest.raises(ReworkError):
            month_for(log, text)


def test_recovery_shows_a_month_only_once_it_is_nearly_closed():
    jobs = [closed(f"C{i}") for i in range(8)] + [job(f"O{i}") for i in range(2)]
    tests = [boot(f"C{i}", 1, "data_readable") for i in range(8)]
    cohort = build_cohort(log_of(jobs=jobs, boot_tests=tests))
    as_of = pd.Timestamp("2026-02-10")
    (month,) = [m for m in recovery_by_month_received(cohort, pd.Period("2026-02"), 0.9, as_of) if m.accepted]
    assert (month.accepted, month.closed, month.rate) == (10, 8, None)
    (month,) = [m for m in recovery_by_month_received(cohort, pd.Period("2026-02"), 0.8, as_of) if m.accepted]
    assert (month.rate.x, month.rate.n) == (8, 8)


def test_a_month_of_failures_alone_is_told_before_it_counts():
    """By hand: five of eight fail on day 5, three are open on day 20: of three none, at most 1 - 0.025 ** (1 / 3)."""
    failed = [closed(f"F{i}", "not_recovered", closed_date="2026-01-10") for i in range(5)]
    tests = [boot(f"F{i}", 1, "short", test_date="2026-01-09") for i in range(5)]
    cohort = build_cohort(log_of(jobs=[*failed, *(job(f"O{i}") for i in range(3))], boot_tests=tests))
    until, month = pd.Timestamp("2026-01-25"), pd.Period("2026-01")
    told = recovery_by_month_received(cohort, month, 0.9, until)[-1]
    assert told.estimate == (20.0, 0.0, 0.0, pytest.approx(0.7076, abs=1e-4))
    fresh = build_cohort(log_of(jobs=[job(f"O{i}") for i in range(8)]))
    assert recovery_by_month_received(fresh, month, 0.9, until)[-1].estimate is None


def test_recovery_keeps_the_stopped_in_the_denominator_and_prints_the_rest_apart():
    jobs = [
        closed("R"),
        closed("N", "not_recovered"),
        closed("S", "stopped_by_client"),
        closed("L", "not_recovered"),
        closed("P", "not_recovered"),
        job("O"),
    ]
    tests = [
        boot("R", 1, "data_readable"),
        boot("N", 1, "short"),
        boot("S", 1, "short"),
        boot("L", 1, "starts_locked"),
        boot("P", 1, "data_partial"),
    ]
    rate = recovery_rate(build_cohort(log_of(jobs=jobs, boot_tests=tests)).jobs)
    assert (rate.with_stopped.x, rate.with_stopped.n, rate.without_stopped.n) == (1, 5, 4)
    assert (rate.partial, rate.locked, rate.stopped, rate.open) == (1, 1, 1, 1)


def test_causes_keep_evidence_apart_and_count_what_is_unexplained():
    jobs = [
        closed("A", "not_recovered", failure_cause="pads_lost", cause_evidence="confirmed"),
        closed("B", "not_recovered", failure_cause="pads_lost", cause_evidence="suspected", loss_reversible=False),
        closed("C", "not_recovered", failure_cause="not_found"),
        closed("D", "not_recovered"),
    ]
    cohort = build_cohort(log_of(jobs=jobs, boot_tests=[boot(k, 1, "short") for k in "ABCD"]))
    month = pd.Period("2026-02")
    causes = causes_of(failed_jobs(cohort, (month, month)))
    assert causes.biggest.code == "pads_lost"
    assert causes.biggest.by_evidence == (1, 0, 1, 0)
    assert (causes.biggest.hours, causes.biggest.irreversible, causes.unexplained, causes.n) == (12.0, 1, 2, 4)
    known = {row.code: of_known(row.irreversible, row.irreversible_known) for row in causes.rows}
    assert known == {"pads_lost": "1 of 2", "not_found": "0 of 1", NOT_WRITTEN: "0 of 1"}
    blank = [closed(k, "not_recovered", failure_cause="misplaced", loss_reversible=None) for k in "AB"]
    (row,) = causes_of(failed_jobs(build_cohort(log_of(jobs=blank)), (month, month))).rows
    assert of_known(row.irreversible, row.irreversible_known) == "–"


def test_evidence_for_a_cause_is_counted_by_the_codes_of_its_column():
    kinds = ["confirmed", "probable", "probable", "suspected", None]
    jobs = [
        closed(f"J{k}", "not_recovered", failure_cause="misplaced", cause_evidence=kind) for k, kind in enumerate(kinds)
    ]
    month = pd.Period("2026-02")
    (row,) = causes_of(failed_jobs(build_cohort(log_of(jobs=jobs)), (month, month))).rows
    assert row.by_evidence == (1, 2, 1, 1)


def test_a_side_that_never_lost_a_pad_counts_as_seen_with_no_loss():
    sides = [
        {"job_id": "A", "chip_role": "processor", "side": "lower", "pads_lost_n": 2, "pads_lost_at": "cleaning"},
        {"job_id": "A", "chip_role": "memory", "side": "lower", "pads_lost_n": 0},
    ]
    table = pad_losses(log_of(jobs=[job("A")], chip_sides=sides), pd.Series(["A"])).table.set_index("chip_role")
    assert table["with loss"].to_dict() == {"processor": 1, "memory": 0}
    assert table["sides"].to_dict() == {"processor": 1, "memory": 1}


def test_pad_losses_are_counted_by_step():
    sides = [
        {"job_id": "A", "chip_role": "processor", "side": "lower", "pads_lost_n": 3, "pads_lost_at": "removal"},
        {"job_id": "A", "chip_role": "storage", "side": "lower", "pads_lost_n": 0},
        {"job_id": "A", "chip_role": "storage", "side": "upper"},
    ]
    loss = pad_losses(log_of(jobs=[job("A")], chip_sides=sides), pd.Series(["A"]))
    assert (loss.sides, loss.with_loss, loss.steps) == (2, 1, (("removal", 1),))
    assert loss.not_seen == 1


def test_a_side_without_a_count_is_seen_by_the_grade_left():
    grades = dict(zip("ABCD", (0, 2, 3, 4), strict=True))
    left = [{"job_id": k, "chip_role": "storage", "side": "lower", "pad_grade_left": g} for k, g in grades.items()]
    rebuilt = {"job_id": "E", "chip_role": "storage", "side": "lower", "pad_grade_left": 0, "pads_lost_n": 2}
    log = log_of(jobs=[job(k) for k in "ABCDE"], chip_sides=[*left, rebuilt])
    loss = pad_losses(log, pd.Series(list("ABCDE")))
    assert (loss.sides, loss.with_loss, loss.not_seen) == (5, 3, 0)


def test_a_side_is_counted_once_and_only_for_the_work_before_test_1():
    side = {"job_id": "A", "chip_role": "processor", "side": "lower"}
    other = {"job_id": "A", "chip_role": "storage", "side": "lower"}
    sides = [
        side | {"before_test_no": 1, "pads_lost_n": 2, "pads_lost_at": "removal"},
        side | {"before_test_no": 2, "pads_lost_n": 1, "pads_lost_at": "cleaning"},
        other | {"before_test_no": 1, "pads_lost_n": 0},
        other | {"before_test_no": 2, "pads_lost_n": 1, "pads_lost_at": "install"},
    ]
    tests = [boot("A", 1, "short"), boot("A", 2, "short")]
    loss = pad_losses(log_of(jobs=[job("A")], chip_sides=sides, boot_tests=tests), pd.Series(["A"]))
    assert (loss.sides, loss.with_loss, loss.later, loss.steps) == (2, 1, 1, (("removal", 1),))


def test_pads_gone_when_first_seen_are_not_charged_to_a_step_of_the_bench():
    sides = [
        {"job_id": "A", "chip_role": "processor", "side": "lower", "pads_lost_n": 3, "pads_lost_at": "found"},
        {"job_id": "A", "chip_role": "storage", "side": "lower", "pad_grade_found": 3, "pad_grade_left": 3},
        {"job_id": "A", "chip_role": "memory", "side": "lower", "pad_grade_found": 0, "pad_grade_left": 3},
    ]
    loss = pad_losses(log_of(jobs=[job("A")], chip_sides=sides), pd.Series(["A"]))
    assert (loss.sides, loss.found_so, loss.with_loss, loss.steps) == (3, 2, 1, ())


def test_hours_of_causes_say_how_many_are_recorded():
    jobs = [
        closed("A", "not_recovered", failure_cause="pads_lost", bench_hours=4.0),
        closed("B", "not_recovered", failure_cause="pads_lost", bench_hours=None),
        closed("C", "not_recovered", failure_cause="poor_joint", bench_hours=None),
    ]
    cohort = build_cohort(log_of(jobs=jobs, boot_tests=[boot(k, 1, "short") for k in "ABC"]))
    causes = causes_of(failed_jobs(cohort, (pd.Period("2026-02"), pd.Period("2026-02"))))
    assert (causes.hours, causes.hours_known, causes.n) == (4.0, 1, 3)
    pads, joint = causes.rows
    assert hours_of(pads.hours, pads.hours_known, pads.n) == "4 bench hours (recorded for 1 of 2)"
    assert hours_of(joint.hours, joint.hours_known, joint.n) == "bench hours not recorded"


def test_only_surprises_are_talked_about(cohort):
    rows = cohort.first_boots.iloc[:40]
    chance = pd.Series(np.linspace(0.1, 0.9, 40), index=rows.index)
    for talk in jobs_to_talk_about(rows, chance):
        assert talk.succeeded == (talk.chance < 0.5)
