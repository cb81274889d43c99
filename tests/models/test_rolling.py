"""Rolling months look at nothing later; the rule for trusting the model; bootstrap optimism."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analysis.errors import ModelError, UnconvergedError
from analysis.models.class_rates import fit_class_rates
from analysis.models.optimism import MEASURES, optimism
from analysis.models.pooled import pooled_fitter
from analysis.models.rolling import CLASS, GUESS, MODEL, PLAIN, RIVALS, Columns, compared, log_score_gain, roll
from analysis.models.terms import Category, Number

TERMS = (Category("intake_damage", "damage"), Number("age", "age"), Category("family", "family"))
FIT = pooled_fitter(TERMS, "family")


def _jobs(n: int = 300, rng_seed: int = 3, age_effect: float = -0.5) -> pd.DataFrame:
    rng = np.random.default_rng(rng_seed)
    received = pd.Timestamp("2023-01-01") + pd.to_timedelta(np.sort(rng.integers(0, 540, n)), unit="D")
    damage = rng.choice(np.array(["drop", "liquid", "heat"], dtype=object), n)
    age = rng.integers(1, 9, n).astype(float)
    chance = expit(2.4 + age_effect * age - 0.5 * (damage == "liquid"))
    return pd.DataFrame(
        {
            "intake_damage": damage,
            "age": age,
            "family": rng.choice(np.array(["A", "B"], dtype=object), n),
            "received_month": received.to_period("M"),
            "first_boot": (rng.random(n) < chance).astype(float),
            "first_boot_date": received + pd.to_timedelta(rng.integers(3, 60, n), unit="D"),
            "guessed_success_pct": np.where(rng.random(n) < 0.2, np.nan, np.clip(np.round(100 * chance), 1, 99)),
        }
    )


JOBS = _jobs()
ROLLED = roll(JOBS, FIT)


def test_scrambling_the_future_leaves_past_predictions_identical():
    month = pd.Period("2024-01")
    rng = np.random.default_rng(8)
    scrambled = JOBS.copy()
    # Unknown when the month began: outcomes that came later, whatever the month of receipt.
    late = JOBS["first_boot_date"].ge(month.start_time)
    scrambled.loc[late, "first_boot"] = rng.integers(0, 2, int(late.sum())).astype(float)
    later = JOBS["received_month"].gt(month)
    for name in ("intake_damage", "age", "family", "guessed_success_pct"):
        scrambled.loc[later, name] = JOBS.loc[later, name].to_numpy()[rng.permutation(int(later.sum()))]
    scrambled.loc[later, "intake_damage"] = scrambled.loc[later, "intake_damage"].replace("heat", "bend")
    before, after = ROLLED.rows, roll(scrambled, FIT).rows
    upto = [rows[rows["month"] <= month].reset_index(drop=True) for rows in (before, after)]
    assert len(upto[0]) > 50
    pd.testing.assert_frame_equal(*(rows[["place", "month", MODEL, *RIVALS]] for rows in upto))
    assert not before.tail(40).equals(after.tail(40))


def test_a_month_s_own_results_are_never_used():
    month = ROLLED.rows["month"].iloc[-1]
    own = JOBS["received_month"].eq(month)
    turned = JOBS.assign(first_boot=JOBS["first_boot"].where(~own, 1 - JOBS["first_boot"]))
    rows = roll(turned, FIT).rows
    pd.testing.assert_frame_equal(rows[[MODEL, PLAIN, CLASS]], ROLLED.rows[[MODEL, PLAIN, CLASS]])


def test_rivals_by_hand():
    first = ROLLED.rows["month"].iloc[0]
    before = JOBS[JOBS["first_boot_date"] < first.start_time]
    row = ROLLED.rows.iloc[0]
    damage = JOBS.loc[row["place"], "intake_damage"]
    plain = (before["first_boot"].sum() + 0.5) / (len(before) + 1)
    own = before.loc[before["intake_damage"] == damage, "first_boot"]
    assert row[PLAIN] == pytest.approx(plain)
    rates = fit_class_rates(before["intake_damage"], before["first_boot"])
    assert row[CLASS] == pytest.approx(rates.chance(damage)[0], abs=1e-12)
    assert min(own.mean(), plain) <= row[CLASS] <= max(own.mean(), plain)
    assert row["outcome"] == JOBS.loc[row["place"], "first_boot"]


def test_every_job_is_accounted_for():
    jobs = JOBS.copy()
    jobs.loc[jobs.index[-1], "intake_damage"] = "bend"
    jobs.loc[0, "received_month"] = pd.NaT
    found = roll(jobs, FIT)
    assert found.ledger.rows_in == len(JOBS)
    assert found.ledger.rows_used == found.n == len(found.rows)
    reasons = dict(found.ledger.exclusions)
    assert reasons["outside what the model had seen by then"] >= 1
    assert reasons["no month of receipt"] == 1
    assert any("enough outcomes" in reason for reason in reasons)
    assert len(jobs) - 1 not in set(found.rows["place"])


def test_the_guess_is_judged_where_it_was_written_down():
    model, guess = compared(ROLLED, GUESS)
    assert model.n == guess.n == int(ROLLED.rows[GUESS].notna().sum()) < ROLLED.n
    assert compared(ROLLED, PLAIN)[0].n == ROLLED.n
    nobody = roll(JOBS.assign(guessed_success_pct=np.nan), FIT)
    with pytest.raises(ModelError, match="No job of the months"):
        compared(nobody, GUESS)
    assert not log_score_gain(nobody, GUESS, rng_seed=1).convincing


def test_a_model_with_something_to_say_is_trusted_and_one_without_is_not():
    told = log_score_gain(ROLLED, rng_seed=1)
    assert told.rival == CLASS
    assert told.convincing
    assert told.low < told.gain < told.high
    assert told.months >= 12
    trusted = [log_score_gain(roll(_jobs(rng_seed=k, age_effect=0.0), FIT), rng_seed=1).convincing for k in range(10)]
    assert sum(trusted) <= 3


def test_the_interval_is_a_bootstrap_of_whole_months():
    rows = ROLLED.rows
    found = log_score_gain(ROLLED, rng_seed=1)
    told = np.where(rows["outcome"] == 1, rows[MODEL], 1 - rows[MODEL])
    rival = np.where(rows["outcome"] == 1, rows[CLASS], 1 - rows[CLASS])
    difference = pd.Series(np.log(told) - np.log(rival))
    assert found.gain == pytest.approx(difference.mean())
    groups = [part.to_numpy() for _, part in difference.groupby(rows["month"].to_numpy())]
    rng = np.random.default_rng(5)
    means = [np.concatenate([groups[i] for i in rng.integers(0, len(groups), len(groups))]).mean() for _ in range(4000)]
    assert (found.low, found.high) == pytest.approx(tuple(np.quantile(means, [0.1, 0.9])), abs=0.004)
    assert log_score_gain(ROLLED, rng_seed=1) == found


def test_too_young_a_log_is_told_so():
    few = roll(JOBS.head(25), FIT)
    assert not few.converged
    assert "in no month" in few.reason
    with pytest.raises(UnconvergedError):
        compared(few, PLAIN)
    gain = log_score_gain(few, rng_seed=1)
    assert not gain.convincing
    start = ROLLED.rows["month"].iloc[0]
    short = roll(JOBS[JOBS["received_month"] <= start + 2], FIT)
    gain = log_score_gain(short, rng_seed=1)
    assert not gain.converged
    assert "3 months were judged; it takes 6" in gain.reason
    assert not gain.convincing


def test_other_columns_may_be_named():
    names = Columns(outcome="got", known="when")
    renamed = JOBS.rename(columns={"first_boot": "got", "first_boot_date": "when"})
    pd.testing.assert_frame_equal(roll(renamed, FIT, names).rows, ROLLED.rows)


def test_optimism_makes_a_model_look_worse_and_a_constant_none():
    y = JOBS["first_boot"].to_numpy()
    found = optimism(JOBS, y, FIT, rng_seed=1, draws=25)
    assert found.converged
    gap = dict(zip(MEASURES, found.optimism, strict=True))
    assert gap["brier"] < 0 < gap["auc"]
    assert gap["log_score"] > 0
    assert found.corrected == pytest.approx(found.apparent - found.optimism)
    again = optimism(JOBS, y, FIT, rng_seed=1, draws=25)
    assert (again.optimism == found.optimism).all()


def test_optimism_without_a_model_is_told_so():
    found = optimism(JOBS, JOBS["first_boot"], lambda frame, y: None, rng_seed=1, draws=5)
    assert not found.converged
    assert np.isnan(found.corrected).all()
    with pytest.raises(UnconvergedError):
        found.shown()
