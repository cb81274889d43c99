"""What rests on the past as it was: no look-ahead in the replay, stored models, guesses, selection."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import subprocess
import sys
from dataclasses import astuple, replace

import numpy as np
import pandas as pd
import pytest
from scipy.special import logit

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.errors import LogError, ModelError, ReworkError
from analysis.models.intervals import wilson
from analysis.models.rolling import GUESS, MODEL, Rolling
from analysis.questions import guess_ledger as guesses
from analysis.questions import stored_bench
from analysis.questions.assess import THIS_DONOR, Advice, assess, decide, decide_all, donor_options
from analysis.questions.bench_model import bench_model, empty_intake, rolled_over
from analysis.questions.intake_form import read_intake
from analysis.questions.known_bench import known_bench
from analysis.questions.offer_rows import Outcome, outcome_rows
from analysis.questions.replay import replay, summed
from analysis.questions.selection import selection, taken_at_random
from analysis.questions.stored_bench import recall, remembered_hash, store
from analysis.records.log import Log
from analysis.records.once import digest_of
from analysis.records.settings import Settings
from analysis.records.source import code_at_work
from tests.tables import closed, job, log_of

TODAY = dt.date(2026, 11, 1)
CHEAP = Settings(bench_hour_cost=45.0)


@pytest.fixture(scope="module")
def log():
    return Log.from_tables(simulate(Shop(jobs=320), 11).tables, CHEAP)


def _rolled(log):
    rows = outcome_rows(build_cohort(log))
    return rows, {outcome: rolled_over(each) for outcome, each in rows.items()}


@pytest.fixture(scope="module")
def past(log):
    return _rolled(log)


@pytest.fixture(scope="module")
def replayed(log, past):
    return replay(log, *past, rng_seed=1, start_share=0.3)


def test_scrambling_the_future_leaves_past_decisions_identical(log, past, replayed):
    months = sorted(replayed.rows["month"].unique())
    month = months[len(months) // 2]
    rng = np.random.default_rng(3)
    rows = {}
    for outcome, each in past[0].items():
        frame = each.rows.copy()
        late = frame[each.names.known].ge(month.start_time).to_numpy(bool)
        frame.loc[late, each.names.outcome] = rng.integers(0, 2, int(late.sum())).astype(float)
        frame.loc[late, "chain_hours"] = rng.uniform(1, 30, int(late.sum()))
        after = frame["received_month"].gt(month).to_numpy(bool)
        for name in ("intake_damage", "board_family", "device_age_years", "prior_rework"):
            frame.loc[after, name] = frame.loc[after, name].to_numpy()[rng.permutation(int(after.sum()))]
        rows[outcome] = type(each)(outcome, frame, each.ledger, each.log_hash)
    rolled = {outcome: rolled_over(each) for outcome, each in rows.items()}
    again = replay(log, rows, rolled, rng_seed=1, start_share=0.3)
    until = [each.rows[each.rows["month"] <= month].reset_index(drop=True) for each in (replayed, again)]
    assert len(until[0]) > 20
    pd.testing.assert_frame_equal(*(each[["job_id", "month", "advice", "source"]] for each in until))
    assert not replayed.rows["advice"].equals(again.rows["advice"])


def test_what_the_rolling_look_was_told_from_is_what_would_be_fitted_anew(past):
    rows, rolled = past
    days = [day for day in rolled[Outcome.RECOVERED].known if day in rolled[Outcome.FIRST_BOOT].known]
    assert len(days) == 12
    forgot = {outcome: replace(each, known={}) for outcome, each in rolled.items()}
    recalled, fitted = (bench_model(rows, each, days[-1]) for each in (rolled, forgot))
    for outcome, model in recalled.models.items():
        other = fitted.models[outcome]
        assert model.fit is rolled[outcome].known[days[-1]].predict
        assert model.fit is not other.fit
        assert (model.n, model.design, model.trust) == (other.n, other.design, other.trust)
        np.testing.assert_array_equal(model.fit.location, other.fit.location)
        assert model.rates == other.rates


@pytest.mark.parametrize("model", [True, False])
def test_a_list_of_intakes_gets_what_each_gets_alone(log, past, model):
    """With the model and with class rates; a family never seen, an age out of range, a class never seen, a blank."""
    bench = bench_model(*past)
    kept = {outcome: replace(each, trust=replace(each.trust, model=model)) for outcome, each in bench.models.items()}
    bench = replace(bench, models=kept)
    money = {"fee_basis": "flat", "fee_amount": "650", "donor_cost": "120"}
    asked = [
        {"intake_damage": "liquid", "device_age_years": "3"} | money,
        {"intake_damage": "drop", "board_family": "NEW-9"} | money,
        {"intake_damage": "drop", "device_age_years": "15"} | money,
        {"intake_damage": "liquid"},
    ]
    intakes = [read_intake(each, CHEAP, TODAY, f"intake {number}") for number, each in enumerate(asked)]
    intakes.append(replace(intakes[0], facts=empty_intake({"intake_damage": "unheard of"})))
    together = decide_all(bench, pd.concat([each.facts for each in intakes], ignore_index=True), intakes, CHEAP)
    assert {each.advice for each in together} >= {Advice.OUTSIDE, Advice.DISCUSS}
    for found, intake in zip(together, intakes, strict=True):
        alone = decide(bench, intake, CHEAP)
        same = (found.advice, found.why, found.outside) == (alone.advice, alone.why, alone.outside)
        assert same
        assert str(found.alike) == str(alone.alike)
        assert found.chances.keys() == alone.chances.keys()
        for outcome, chance in found.chances.items():
            np.testing.assert_allclose(astuple(chance)[:4], astuple(alone.chances[outcome])[:4], rtol=0, atol=1e-12)
            assert astuple(chance)[4:] == astuple(alone.chances[outcome])[4:]


def test_the_replay_adds_up(log, replayed):
    rows = replayed.rows
    declined = rows[rows["advice"].eq(Advice.DECLINE)]
    assert 0 < replayed.declined == len(declined) < len(rows)
    assert replayed.recoveries.total == declined["recovered"].sum()
    assert replayed.hours.total == pytest.approx(declined["hours"].sum())
    assert replayed.money.total == pytest.approx(-declined["margin"].sum())
    assert replayed.recoveries.low <= replayed.recoveries.total <= replayed.recoveries.high
    # A bench hour is the difference between saving with and without other work for it.
    cheap = declined["fee_too_low"].astype(bool)
    assert replayed.fee_too_low == cheap.sum() > 0
    # What even a success was expected to lose, a success lost on average.
    assert declined.loc[cheap & declined["recovered"].eq(1), "margin"].mean() < 0
    assert replayed.hours_n == declined["hours"].notna().sum()
    jobs = log.tables["jobs"]
    year = jobs["received_date"].dt.to_period("M") > log.last_date.to_period("M") - 12
    waiting = year & jobs["decision"].eq("accepted") & jobs["outcome"].isna()
    assert replayed.still_open == int(waiting.fillna(False).sum())
    known = declined[declined["margin"].notna()]
    assert replayed.money.total - replayed.money_idle.total == pytest.approx(45 * known["hours"].sum())
    jobs = log.tables["jobs"].set_index("job_id")
    one = known[jobs.loc[known["job_id"], "fee_basis"].eq("no_result_no_fee").to_numpy()].iloc[0]
    told = jobs.loc[one["job_id"]]
    paid = told["fee_amount"] if one["recovered"] else 0
    assert one["before_hours"] == pytest.approx(paid - told["donor_cost"])


def test_the_interval_of_a_sum_resamples_whole_months_by_hand():
    # Two months of 3 and 10 in all: drawn anew they give 6, 13 or 20 with chances 1/4, 1/2, 1/4.
    months = pd.Series(pd.PeriodIndex(["2026-01", "2026-01", "2026-02"], freq="M"))
    found = summed(months, np.array([1.0, 2.0, 10.0]), 1)
    assert (found.total, found.low, found.high) == (13.0, 6.0, 20.0)
    # Resampled job by job the three would also give 3, which no two months can.
    alone = summed(months[:2], np.array([1.0, 2.0]), 1)
    assert alone.total == 3.0
    assert np.isnan([alone.low, alone.high]).all()


def test_a_stored_bench_gives_the_same_answers_and_is_bound_to_its_log_and_code(tmp_path, monkeypatch, log, past):
    bench = bench_model(*past)
    assert store(bench, tmp_path, "a" * 64)
    assert remembered_hash(tmp_path, "a" * 64) == log.hash
    assert remembered_hash(tmp_path, "b" * 64) == ""
    back = recall(tmp_path, log.hash)
    texts = {"intake_damage": "drop", "board_family": "FAM-A", "fee_basis": "no_result_no_fee", "fee_amount": "500"}
    intake = read_intake(texts | {"donor_cost": "90"}, CHEAP, TODAY)
    found, again = (assess(each, intake, CHEAP) for each in (bench, back))
    assert again.chances == found.chances
    assert again.value == found.value
    assert repr(again.alike) == repr(found.alike)  # hours may be NaN
    assert again.donors == found.donors
    with pytest.raises(ModelError):
        recall(tmp_path, "0" + log.hash[1:])
    with monkeypatch.context() as edited:
        edited.setattr(stored_bench, "code_at_work", lambda: log.hash)
        with pytest.raises(ModelError):
            recall(tmp_path, log.hash)
        shutil.copytree(next(tmp_path.glob("*/")), stored_bench._model_folder(tmp_path, log.hash))
        with pytest.raises(ModelError, match="other code"):
            recall(tmp_path, log.hash)
    stored = tmp_path / f"{log.hash[:16]}-{code_at_work()[:16]}" / "recovered.json"
    stored.write_text(stored.read_text(encoding="utf-8").replace('"weight"', '"wait"'), encoding="utf-8")
    with pytest.raises(ModelError):
        recall(tmp_path, log.hash)


def test_a_changed_log_or_code_is_fitted_again_with_a_word(tmp_path, monkeypatch):
    folder, cache, said = tmp_path / "log", tmp_path / "cache", []
    folder.mkdir()
    head = "job_id,received_date,intake_damage,decision,outcome,closed_date,first_boot_result,loss_reversible\n"
    lines = [
        f"J{i},2025-01-05,drop,accepted,{'recovered' if i % 2 else 'not_recovered'},2025-01-20,"
        f"{'data_readable' if i % 2 else 'short'},{'' if i % 2 else 'yes'}\n"
        for i in range(60)
    ]
    (folder / "jobs.csv").write_text(head + "".join(lines), encoding="utf-8")
    bench, _ = known_bench(folder, cache, said.append)
    assert (len(said), bench.models[Outcome.RECOVERED].n) == (1, 60)
    known_bench(folder, cache, said.append)
    assert len(said) == 1
    (folder / "jobs.csv").write_text(head + "".join(lines[:50]), encoding="utf-8")
    bench, _ = known_bench(folder, cache, said.append)
    assert bench.models[Outcome.RECOVERED].n == 50
    assert "refused when the log has changed" in said[1]
    (folder / "bench.toml").write_text("bench_hour_cost = 99\n", encoding="utf-8")
    assert known_bench(folder, cache, said.append)[1].bench_hour_cost == 99
    assert len(said) == 3
    for part in cache.glob("*/bench.json"):
        json.loads(part.read_text(encoding="utf-8"), parse_constant=pytest.fail)
        part.write_text("{", encoding="utf-8")
    known_bench(folder, cache, said.append)
    assert "cannot be used" in said[3]
    monkeypatch.setattr(stored_bench, "code_at_work", lambda: "b" * 64)  # somebody has edited a model meanwhile
    known_bench(folder, cache, said.append)
    assert "cannot be used" in said[4]
    known_bench(folder, cache, said.append)
    assert len(said) == 5
    assert digest_of(folder) != digest_of(tmp_path)


def test_a_log_that_changes_while_it_is_read_is_refused_and_nothing_stored(tmp_path, monkeypatch):
    (tmp_path / "jobs.csv").write_text("job_id\n", encoding="utf-8")

    def read_while_somebody_saves(folder):
        (folder / "jobs.csv").write_text("job_id\nJ1\n", encoding="utf-8")
        return None, None

    monkeypatch.setattr("analysis.questions.known_bench._made", read_while_somebody_saves)
    with pytest.raises(LogError, match="The log changed while it was read; nothing was used") as told:
        known_bench(tmp_path, tmp_path / "cache", lambda _: None)
    assert "run the command again" in str(told.value)
    assert not (tmp_path / "cache").exists()


def test_the_way_of_a_stored_model_loads_nothing_heavy():
    code = (
        "import sys, analysis.report.assess_command, analysis.questions.stored_bench;"
        "heavy = {'statsmodels', 'formulaic', 'seaborn', 'matplotlib', 'pandera', 'analysis.models.rolling'};"
        "print(*sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_best_weights_by_hand():
    rng = np.random.default_rng(5)
    guess, model = rng.uniform(0.1, 0.9, (2, 4000))
    truth = 1 / (1 + np.exp(-(0.3 * logit(guess) + 0.8 * logit(model))))
    found = guesses.best_weights(guess, model, (rng.random(4000) < truth).astype(float))
    assert found == pytest.approx((0.3, 0.8), abs=0.11)
    assert guesses.blend_of(np.array([0.8]), np.array([0.6]), 0, 1) == pytest.approx([0.6])


def test_a_ledger_is_of_one_technician_and_looks_at_nobody_else(past):
    rows, rolled = past[0][Outcome.RECOVERED], past[1][Outcome.RECOVERED]
    found = guesses.guess_ledger(rows, rolled, "T2")
    own = rows.rows[rows.rows["technician_id"].eq("T2").fillna(False).to_numpy(bool)]
    assert found.n == own["guessed_success_pct"].notna().sum()
    assert found.n + found.unguessed == len(own)
    assert sum(band.recovered.n for band in found.bands) == found.n
    others = rows.rows.copy()
    others.loc[others["technician_id"].ne("T2").fillna(True).to_numpy(bool), "guessed_success_pct"] = 1.0
    same = guesses.guess_ledger(type(rows)(rows.outcome, others, rows.ledger, rows.log_hash), rolled, "T2")
    assert same == found
    with pytest.raises(ReworkError, match="no closed job of technician 'T99'") as stop:
        guesses.guess_ledger(rows, rolled, "T99")
    assert stop.value.todo == "Give the code of jobs.csv."


def _blended(past, changed) -> guesses.Blend:
    rows, rolled = past[0][Outcome.RECOVERED], past[1][Outcome.RECOVERED]
    table = rolled.rows.copy()
    table["outcome"] = changed(rows.rows.reindex(table["place"]), table)
    told = Rolling(n=rolled.n, events=rolled.events, converged=True, rows=table)
    return guesses.guess_ledger(rows, told, "T2").blend


def test_a_blend_is_chosen_before_the_month_it_is_judged_on(past):
    rows = past[0][Outcome.RECOVERED]
    blend = _blended(past, lambda own, table: table["outcome"].to_numpy())
    assert blend.n > 0
    # With outcomes of the last month turned, what was told in it is the same: only its own score moves.
    last = past[1][Outcome.RECOVERED].rows["month"].max()
    turned = _blended(
        past, lambda own, table: np.where(table["month"].eq(last), 1 - table["outcome"], table["outcome"])
    )
    mine = (
        rows.rows.reindex(past[1][Outcome.RECOVERED].rows["place"])["technician_id"]
        .eq("T2")
        .fillna(False)
        .to_numpy(bool)
    )
    table = past[1][Outcome.RECOVERED].rows
    here = mine & table["month"].eq(last).to_numpy() & table[GUESS].notna().to_numpy()
    assert here.any()
    assert turned.n == blend.n
    y, p = table.loc[here, "outcome"].to_numpy(), table.loc[here, MODEL].to_numpy()
    moved = (np.log(np.where(y == 0, p, 1 - p)) - np.log(np.where(y == 1, p, 1 - p))).sum()
    assert (turned.of_model - blend.of_model) * blend.n == pytest.approx(moved)


def test_bounds_by_hand():
    jobs = [closed(f"R{i}") for i in range(6)] + [closed("N1", "not_recovered"), closed("N2", "stopped_by_client")]
    jobs += [job(f"D{i}", decision="declined", intake_damage="liquid") for i in range(2)]
    jobs += [job("W", decision="withdrawn"), job("open")]
    log = log_of(jobs=jobs)
    cohort = build_cohort(log)
    rows = outcome_rows(cohort)
    found = selection(cohort, bench_model(rows, {outcome: rolled_over(each) for outcome, each in rows.items()}))
    assert (found.accepted, found.declined, found.withdrawn, found.closed) == (9, 2, 1, 8)
    assert (found.low, found.high) == (0.6, 0.8)
    assert (found.chance_low, found.chance_high) == (wilson(6, 10, 0.8).low, wilson(8, 10, 0.8).high)
    assert found.like_n == 0
    liquid = next(row for row in found.rows if row.value == "liquid")
    assert (liquid.accepted, liquid.declined, liquid.declined_of) == (0, 2, 2)


def test_every_intake_draws_a_lot_of_its_own():
    names = [f"W{i}" for i in range(20)]
    taken = taken_at_random(names, 0.25, 7)
    assert taken == taken_at_random(names[::-1], 0.25, 7)
    assert taken != taken_at_random(names, 0.25, 8)
    assert (taken_at_random(names, 0, 7), len(taken_at_random(names, 1, 7))) == ((), 20)
    # Alone on the counter, or on a list with another one more, an intake has the same lot.
    assert {name for name in names if taken_at_random([name], 0.25, 7)} == set(taken)
    assert set(taken_at_random([*names, "late"], 0.25, 7)) - {"late"} == set(taken)
    counts = pd.Series([name for seed in range(400) for name in taken_at_random(names, 0.25, seed)]).value_counts()
    assert len(counts) == 20
    assert counts.between(60, 140).all()
    assert counts.sum() == pytest.approx(2000, abs=4 * np.sqrt(8000 * 0.25 * 0.75))


def test_donors_are_compared_with_what_is_not_said_of_them_at_its_middle(log, past):
    bench = bench_model(*past)
    fit = bench.models[Outcome.RECOVERED].with_donor
    numbers = {t.column: t for t in fit.design.terms if t.column in ("donor_age_years", "prior_installs_n")}
    assert len(numbers) == 2
    facts = {"intake_damage": "drop", "device_age_years": "3"}
    intake = read_intake(facts | {"known_good": "untested", "donor_age_years": "2"}, CHEAP, TODAY)
    told = {each.label: each for each in donor_options(bench.models[Outcome.RECOVERED], intake)}
    known = {"intake_damage": "drop", "device_age_years": 3.0, "second_damage_seen": "no"}
    middle = {name: term.median for name, term in numbers.items()}
    for label, donor in (
        ("full_boot", middle | {"known_good": "full_boot"}),
        (THIS_DONOR, middle | {"known_good": "untested", "donor_age_years": 2.0}),
    ):
        assert told[label].mean == pytest.approx(float(fit.chances(empty_intake(known | donor)).mean[0]))
