"""Accept, discuss or decline: jobs alike, recommendation, worth and attempts by hand; what is refused by name."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.errors import LogError, ReworkError
from analysis.models.intervals import wilson
from analysis.models.offer_value import Basis, HoursGiven, Offer, offer_value
from analysis.questions.alike import PastJobs
from analysis.questions.another_attempt import GoOn, NextTest, after_test, next_tests, worth_of
from analysis.questions.assess import Advice, Why, assess, by_margin_per_hour, fee_needed, recommend
from analysis.questions.bench_model import CLASS_RATE, FACTS, MODEL, bench_model, rolled_over
from analysis.questions.intake_form import ASKED, read_intake, read_waiting
from analysis.questions.offer_rows import Outcome, outcome_rows
from analysis.records.dictionary import DONOR_FACTS
from analysis.records.settings import Settings
from analysis.report.assess_words import assessment_lines
from tests.tables import boot, closed, job, log_of

TODAY = dt.date(2026, 11, 1)
SETTINGS = Settings(bench_hour_cost=60.0, minimum_class_n=2)
MONEY = {"fee_basis": "no_result_no_fee", "fee_amount": "600", "donor_cost": "100"}


def _bench(jobs):
    rows = outcome_rows(build_cohort(log_of(jobs=jobs)))
    return bench_model(rows, {outcome: rolled_over(each) for outcome, each in rows.items()})


def _past(n=12, lost=4, **facts):
    """Recovered jobs take 5 hours, lost ones 10."""
    usual = {"device_age_years": 3.0, "board_family": "A", "prior_rework": "none", "underfill": "none"}
    out = []
    for i in range(n):
        won = i >= lost
        fact = usual | {"first_boot_result": "data_readable" if won else "short"} | facts
        out.append(closed(f"J{i}", "recovered" if won else "not_recovered", **fact, bench_hours=5.0 if won else 10.0))
    return out


def _assess(bench, **texts):
    return assess(bench, read_intake({"intake_damage": "drop"} | texts, SETTINGS, TODAY), SETTINGS)


def test_recovery_counts_all_accepted_closed_jobs_and_a_chain_once():
    jobs = [
        closed("A"),
        closed("B", "stopped_by_client"),
        closed("C", "not_recovered", closed_date="2026-02-01"),
        closed("D", prior_rework="here", previous_job_id="C", received_date="2026-02-02", closed_date="2026-03-01"),
        job("E"),
        job("F", decision="declined"),
    ]
    found = outcome_rows(build_cohort(log_of(jobs=jobs)))[Outcome.RECOVERED]
    told = found.rows.set_index("job_id")
    # D continues C on the same board, so that C counts as recovered, known when D was closed.
    assert dict(told["recovered"]) == {"A": 1.0, "B": 0.0, "C": 1.0}
    assert told.loc["C", "ended_date"] == pd.Timestamp("2026-03-01")
    assert told.loc["C", "chain_hours"] == 12.0
    assert found.ledger.rows_in == 6
    assert found.ledger.rows_used == 3
    assert found.before(pd.Timestamp("2026-02-20")).rows["job_id"].tolist() == ["A", "B"]


def test_alike_by_hand(monkeypatch):
    facts = {"intake_damage": "drop", "board_family": "A", "device_age_years": 3.0, "prior_rework": "none"}
    rows = [
        ("same", {}),
        ("older by two", {"device_age_years": 5.0}),
        ("older by three", {"device_age_years": 6.0}),
        ("other family", {"board_family": "B"}),
        ("two differ", {"board_family": "B", "device_age_years": 6.0}),
        ("other damage", {"intake_damage": "liquid"}),
        ("not recorded", {"board_family": None, "device_age_years": np.nan, "prior_rework": None}),
    ]
    blank = dict.fromkeys(FACTS)
    past = pd.DataFrame([blank | facts | changed | {"job_id": name} for name, changed in rows])
    past["recovered"] = [1.0, 0.0, 1.0, 0.0, 1.0, 1.0, 1.0]
    past["first_boot"] = [1.0, np.nan, 0.0, 0.0, 1.0, 1.0, 1.0]
    past = past.assign(ending="recovered", chain_hours=5.0, received_date=pd.Timestamp("2026-01-01"))
    found = PastJobs(past, FACTS).like(blank | facts)
    assert [(each.job_id, each.differs) for each in found.jobs] == [
        ("same", ""),
        ("older by two", ""),
        ("not recorded", ""),
        ("older by three", "device_age_years"),
        ("other family", "board_family"),
    ]
    assert (found.n, found.recovered, found.booted, found.tested) == (5, 3, 2, 4)
    for at_once in (1, 2, 1024):
        monkeypatch.setattr("analysis.questions.alike.AT_ONCE", at_once)
        assert [found.counted(most) for most in range(1, 8)] == [1, 2, 3, 4, 5, 5, 5]
    # What the intake itself does not say cannot differ.
    assert PastJobs(past, FACTS).like(blank | {"intake_damage": "drop"}).n == 6


def _value(low, high):
    # Success leaves 600 - 100 - 60 x 5 = 200, failure -100 - 60 x 10 = -700: break-even at 7/9.
    hours = HoursGiven(np.array([5.0]), np.array([10.0]), 0)
    return offer_value(Offer(Basis.NO_RESULT_NO_FEE, 600, 100, 60), hours, (low + high) / 2, low, high)


@pytest.mark.parametrize(
    ("low", "high", "unseen", "alike", "advice", "why"),
    [
        (0.8, 0.9, False, 5, Advice.ACCEPT, {Why.PAYS}),
        (0.7, 0.9, False, 5, Advice.DISCUSS, {Why.UNSURE}),
        (0.5, 0.7, False, 5, Advice.DECLINE, {Why.LOSES}),
        (7 / 9, 0.9, False, 5, Advice.DISCUSS, {Why.UNSURE}),
        (0.8, 0.9, True, 5, Advice.DISCUSS, {Why.PAYS, Why.FAMILY}),
        (0.5, 0.7, True, 5, Advice.DECLINE, {Why.LOSES, Why.FAMILY}),
        (0.8, 0.9, False, 4, Advice.DISCUSS, {Why.PAYS, Why.FEW}),
        (0.5, 0.7, False, 4, Advice.DISCUSS, {Why.LOSES, Why.FEW}),
    ],
)
def test_the_recommendation_by_hand(low, high, unseen, alike, advice, why):
    value = _value(low, high)
    if low == 7 / 9:
        assert value.margin_low == pytest.approx(0, abs=1e-9)
    else:
        assert recommend(value, unseen, alike) == (advice, tuple(w for w in Why if w in why))


def test_without_money_it_is_talked_about_and_what_lacks_is_named():
    bench = _bench(_past())
    found = _assess(bench)
    assert (found.advice, found.lacking) == (Advice.DISCUSS, ("fee_basis", "fee_amount", "donor_cost"))
    assert Why.MONEY in found.why
    staged = _assess(bench, **MONEY | {"fee_basis": "staged"})
    assert (staged.value, staged.lacking) == (None, ("start_share",))
    assert _assess(bench, **MONEY | {"fee_basis": "staged", "start_share": "25"}).value is not None


def test_the_share_of_a_staged_fee_is_the_shops_where_none_is_given():
    staged = {"intake_damage": "drop"} | MONEY | {"fee_basis": "staged"}
    shop = replace(SETTINGS, staged_start_share_pct=40.0)
    assert read_intake(staged, shop, TODAY).start_share == 0.4
    assert read_intake(staged | {"start_share": "25"}, shop, TODAY).start_share == 0.25
    assert read_intake(staged, SETTINGS, TODAY).start_share is None


def test_a_job_that_came_back_is_sent_to_the_chance_of_a_further_test():
    found = _assess(_bench(_past()), prior_rework="here", **MONEY)
    assert found.advice is Advice.OUTSIDE
    assert len(found.outside) == 1
    assert "counted with its first one" in found.outside[0]
    assert "--after-test" in found.outside[0]


def _posterior_mean(won: int, n: int) -> float:
    """Mean chance when its log odds are normal(0, 2.5) before the jobs, by adding up thin slices."""
    log_odds = np.linspace(-15, 15, 20001)
    chance = 1 / (1 + np.exp(-log_odds))
    weight = np.exp(-(log_odds**2) / (2 * 2.5**2)) * chance**won * (1 - chance) ** (n - won)
    return float((chance * weight).sum() / weight.sum())


def test_worth_by_hand_from_a_small_log():
    found = _assess(_bench(_past()), **MONEY)
    chance = found.chances[Outcome.RECOVERED]
    # Twelve jobs are too few for a model. One class alone is 8 of 12 under the prior of the average job; the
    # normal approximation of the model is good to a tenth of a point here.
    assert chance.source == CLASS_RATE
    assert chance.mean == pytest.approx(_posterior_mean(8, 12), abs=1e-3)
    assert found.value.margin == pytest.approx(chance.mean * 200 - (1 - chance.mean) * 700)
    assert found.value.break_even.chance == pytest.approx(7 / 9)
    assert found.value.margin_per_hour == pytest.approx(found.value.margin / (10 - 5 * chance.mean))
    assert found.before_hours == pytest.approx(chance.mean * 600 - 100)
    assert found.alike.n == 12
    assert not found.trust[Outcome.RECOVERED].model


@pytest.mark.parametrize(
    ("basis", "share", "fee"),
    # At a chance of 3 in 4 a job takes 6.25 hours: 100 + 60 x 6.25 = 475 must come in.
    [(Basis.NO_RESULT_NO_FEE, None, 475 / 0.75), (Basis.FLAT, None, 475), (Basis.STAGED, 0.4, 475 / 0.85)],
)
def test_the_fee_to_ask_by_hand(basis, share, fee):
    hours = HoursGiven(np.array([5.0]), np.array([10.0]), 0)
    offer = Offer(basis, 1.0, 100, 60, share)
    assert fee_needed(offer, hours, 0.75) == pytest.approx(fee)
    asked = replace(offer, fee=fee_needed(offer, hours, 0.75))
    assert offer_value(asked, hours, 0.75, 0.7, 0.8).margin == pytest.approx(0, abs=1e-9)
    if basis is Basis.NO_RESULT_NO_FEE:
        assert fee_needed(offer, hours, 0.0) == float("inf")


def test_at_the_fee_to_ask_a_discussed_intake_is_accepted():
    bench = _bench(_past(40, 10))
    found = _assess(bench, **MONEY)
    assert found.advice is Advice.DISCUSS
    here, everywhere = found.fee_from
    assert 600 < here < everywhere or here < 600 < everywhere
    for fee, advice in ((everywhere + 1, Advice.ACCEPT), (everywhere - 1, Advice.DISCUSS)):
        assert _assess(bench, **MONEY | {"fee_amount": f"{fee:.2f}"}).advice is advice
    words = " ".join(assessment_lines(found, Settings()))
    assert f"from a fee of {here:.0f} EUR on" in words
    assert f"within the interval from {everywhere:.0f} EUR on" in words


def test_what_was_never_seen_is_refused_by_name():
    bench = _bench(_past())
    wet = _assess(bench, intake_damage="liquid", **MONEY)
    assert (wet.advice, wet.value, wet.chances) == (Advice.OUTSIDE, None, {})
    assert "Damage at intake 'liquid' was never seen" in wet.outside[0]
    old = _assess(bench, device_age_years="9", prior_rework="elsewhere")
    assert any("Device age of 9 years was never seen; seen were only 3" in text for text in old.outside)
    assert len(old.outside) == 2
    assert _assess(_bench([job("A")])).advice is Advice.OUTSIDE


def test_a_family_never_seen_is_at_best_discussed():
    bench = _bench(_past(60, 2))
    rich = {"fee_amount": "5000"}
    assert _assess(bench, **MONEY | rich, board_family="A").advice is Advice.ACCEPT
    found = _assess(bench, **MONEY | rich, board_family="new")
    assert found.advice is Advice.DISCUSS
    assert Why.FAMILY in found.why


def test_faults_of_an_intake_are_told_all_at_once():
    with pytest.raises(ReworkError) as told:
        read_intake({"intake_damage": "wet", "device_age_years": "30", "start_share": "150"}, SETTINGS, TODAY)
    for words in ("'wet'", "device_age_years", "start_share"):
        assert words in str(told.value)
    with pytest.raises(ReworkError, match="intake_damage is missing"):
        read_intake({"device_class": "phone"}, SETTINGS, TODAY)


def test_blank_and_unknown_are_one_and_no_second_damage_is_no():
    facts = [read_intake({"intake_damage": "drop", "underfill": u}, SETTINGS, TODAY).facts for u in ("", "unknown")]
    pd.testing.assert_frame_equal(*facts)
    assert facts[0]["second_damage_seen"].tolist() == ["no"]
    wet = read_intake({"intake_damage": "drop", "second_damage": "liquid"}, SETTINGS, TODAY)
    assert wet.facts["second_damage_seen"].tolist() == ["yes"]


def test_nothing_but_facts_known_before_work_can_be_asked():
    names = {column.name for column in (*ASKED, *DONOR_FACTS)}
    assert not names & {"technician_id", "lot", "guessed_success_pct", "decision", "bench_hours", "outcome", "donor_id"}
    assert {"fee_basis", "fee_amount", "donor_cost"} <= names


def test_a_waiting_list_is_ordered_by_margin_an_hour(tmp_path):
    path = tmp_path / "waiting.csv"
    rows = ["W1,drop,600", "W2,drop,900", "W3,drop,", "W4,liquid,900"]
    head = "job_id,intake_damage,fee_amount,fee_basis,donor_cost\n"
    path.write_text(head + "".join(f"{row},flat,100\n" for row in rows), encoding="utf-8")
    bench = _bench(_past())
    found = tuple(assess(bench, each, SETTINGS) for each in read_waiting(path, SETTINGS, TODAY))
    assert [each.intake.name for each in by_margin_per_hour(found)] == ["W2", "W1", "W3", "W4"]
    path.write_text(head + "W1,drop,x,flat,1\nW1,wet,5,flat,1\n,drop,5,flat,1\n", encoding="utf-8")
    with pytest.raises(LogError) as told:
        read_waiting(path, SETTINGS, TODAY)
    for words in ("line 2", "line 3", "stands twice", "line 4: job_id is missing", "nothing was assessed"):
        assert words in str(told.value)


def test_attempts_by_hand():
    jobs, tests = [], []
    for i in range(10):
        won = i < 3
        jobs.append(closed(f"J{i}", "recovered" if won else "not_recovered"))
        tests.append(boot(f"J{i}", 1, "short", bench_hours_so_far=4.0))
        if i < 8:
            tests.append(boot(f"J{i}", 2, "data_readable" if won else "short", bench_hours_so_far=6.0 if won else 7.0))
    found = after_test(next_tests(log_of(jobs=jobs, boot_tests=tests)), 1)
    assert (found.failed, found.boots.x, found.boots.n) == (10, 3, 8)
    assert (found.recovered, found.closed, found.hours_n) == (3, 3, 8)
    assert found.hours == pytest.approx((3 * 2 + 5 * 3) / 8)
    assert (found.earns.x, found.earns.n, found.by_change) == (3, 8, ())
    with pytest.raises(ReworkError, match="continued after 2 failed boot tests"):
        after_test(next_tests(log_of(jobs=jobs, boot_tests=tests)), 2)


def test_what_a_fee_hangs_on_is_recovery_not_a_boot_and_changes_are_counted_by_hand():
    # Test 2: two recovered, two boot but stay locked, one boots and is open, five fail.
    tests = [boot(f"J{i}", 1, "short") for i in range(10)]
    results = ["data_readable"] * 2 + ["starts_locked"] * 2 + ["data_readable"] + ["short"] * 5
    changes = ["touch_up", "reinstall"] * 5
    tests += [
        boot(f"J{i}", 2, result, change_made=change)
        for i, (result, change) in enumerate(zip(results, changes, strict=True))
    ]
    ended = ["recovered"] * 2 + ["not_recovered"] * 2
    jobs = [closed(f"J{i}", outcome) for i, outcome in enumerate(ended)] + [job("J4")]
    jobs += [closed(f"J{i}", "not_recovered") for i in range(5, 10)]
    found = after_test(next_tests(log_of(jobs=jobs, boot_tests=tests)), 1)
    assert (found.boots.x, found.boots.n) == (5, 10)
    assert (found.earns.x, found.earns.n) == (2, 9)
    assert [(code, won.x, won.n) for code, won in found.by_change] == [("reinstall", 2, 5), ("touch_up", 3, 5)]


@pytest.mark.parametrize(
    ("booted", "n", "fee", "basis", "advice"),
    [
        (8, 10, 600, Basis.NO_RESULT_NO_FEE, GoOn.GO_ON),
        (0, 40, 600, Basis.NO_RESULT_NO_FEE, GoOn.STOP),
        (2, 10, 600, Basis.NO_RESULT_NO_FEE, GoOn.CANNOT_TELL),
        (4, 4, 600, Basis.NO_RESULT_NO_FEE, GoOn.CANNOT_TELL),
        (8, 10, 600, Basis.FLAT, GoOn.CANNOT_TELL),
    ],
)
def test_go_on_or_stop_by_hand(booted, n, fee, basis, advice):
    # Two hours at 60 against the 600 that hang on success: it pays from a chance of one in five on.
    test = NextTest(1, n, wilson(booted, n, 0.8), booted, booted, 2.0, n)
    found = worth_of(test, Offer(basis, fee, 100, 60), 60.0)
    assert found.advice is advice
    assert found.cost == 120
    if basis is Basis.NO_RESULT_NO_FEE:
        assert found.break_even == pytest.approx(0.2)
    assert worth_of(test, None, 60.0).advice is GoOn.CANNOT_TELL


def test_a_trusted_model_is_used_and_tells_its_facts():
    rng = np.random.default_rng(4)
    jobs = []
    for i in range(420):
        month, age = i % 14, float(rng.integers(1, 10))
        won = rng.random() < 1 / (1 + np.exp(-(3.5 - 0.7 * age)))
        start = pd.Timestamp("2024-01-03") + pd.DateOffset(months=int(month))
        facts = {"device_age_years": age, "underfill": "none" if i % 3 else None}
        jobs.append(
            closed(
                f"J{i}",
                "recovered" if won else "not_recovered",
                received_date=str(start.date()),
                closed_date=str((start + pd.Timedelta(days=12)).date()),
                first_boot_result="data_readable" if won else "short",
                bench_hours=5.0 if won else 10.0,
                **facts,
            )
        )
    bench = _bench(jobs)
    assert bench.models[Outcome.RECOVERED].trust.model
    found = _assess(bench, device_age_years="2", **MONEY)
    assert found.chances[Outcome.RECOVERED].source == MODEL
    assert found.facts[0].label == "each year of device age"
    assert found.facts[0].points > 10
    blank = _assess(bench, device_class="phone", **MONEY)
    assert blank.find_out.label == "each year of device age"
    assert blank.find_out.gain > 0
    assert set(blank.unknown) == {"device_age_years", "board_family", "underfill", "prior_rework"} & set(blank.unknown)
    assert {"device_age_years", "underfill"} <= set(blank.unknown)
    sure = _assess(bench, **MONEY | {"fee_basis": "flat", "fee_amount": "9000"})
    assert (sure.advice, sure.find_out) == (Advice.ACCEPT, None)
    told = "\n".join(assessment_lines(sure, Settings()))
    assert re.search(r"Not known yet: .*device age.*no past value of any one of them would turn the decision", told)
    assert "It pays whatever the chance" in told
    assert "Not known yet" not in "\n".join(assessment_lines(_assess(bench), Settings()))
