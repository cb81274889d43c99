"""What happens on a job hangs together: donors, pads, causes, work between tests, giving up, guesses."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import logit

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop, plain_shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import Truth
from analysis.demo.writing import DEMO_SEED, DEMO_SHOP, FEATURES
from analysis.records.log import Log


@pytest.fixture(scope="module")
def complete():
    return simulate(dataclasses.replace(Shop(jobs=20_000), gaps=False), 6)


@pytest.fixture(scope="module")
def demo():
    simulated = simulate(DEMO_SHOP, DEMO_SEED)
    return build_cohort(Log.from_tables(simulated.tables)).first_boots


def test_another_donor_has_a_row_of_its_own_and_stays(complete):
    tests = complete.tables["boot_tests"].merge(complete.tables["jobs"][["job_id", "donor_id"]], on="job_id")
    changed = tests["change_made"].eq("donor_changed")
    assert changed.sum() > 50
    assert tests.loc[changed, "donor_id_x"].notna().all()
    assert tests.loc[changed, "donor_id_x"].isin(complete.tables["donors"]["donor_id"]).all()
    assert tests.loc[changed, "donor_id_x"].ne(tests.loc[changed, "donor_id_y"]).all()
    after = changed.groupby(tests["job_id"]).cumsum().gt(0)
    assert (tests["donor_id_x"].notna() == after).all()
    assert complete.tables["donors"]["donor_id"].is_unique
    used = set(tests["donor_id_x"].dropna()) | set(tests["donor_id_y"])
    assert set(complete.tables["donors"]["donor_id"]) - used <= set(complete.tables["jobs"]["donor_id"].dropna())


def test_work_between_tests_is_on_the_chip_that_was_changed(complete):
    sides, steps = complete.tables["chip_sides"], complete.tables["heat_steps"]
    tests = complete.tables["boot_tests"].rename(columns={"test_no": "before_test_no"})
    keys = ["job_id", "before_test_no"]
    for change, chip, has_sides in (
        ("memory_replaced", "memory", True),
        ("reball_again", "processor", True),
        ("touch_up", "processor", False),
    ):
        mine = tests.loc[tests["change_made"].eq(change), keys]
        assert set(steps.merge(mine, on=keys)["chip_role"]) == {chip}
        assert set(sides.merge(mine, on=keys)["chip_role"]) == ({chip} if has_sides else set())
    replaced = tests.loc[tests["change_made"].eq("memory_replaced"), keys]
    assert set(sides.merge(replaced, on=keys)["chip_source"]) == {"new"}


def test_pads_once_lost_are_never_found_sound_again(complete):
    sides = complete.tables["chip_sides"]
    clients = sides[sides["chip_source"].eq("client")].sort_values("before_test_no")
    lost = clients["pads_lost_n"].astype(float)
    by_side = lost.groupby([clients["job_id"], clients["chip_role"], clients["side"]], observed=True)
    gone_before = by_side.cumsum() - lost
    again = clients["before_test_no"].gt(1) & gone_before.gt(0)
    assert again.sum() > 100
    assert clients.loc[again, "pad_grade_found"].isna().all()


def test_failed_jobs_get_more_passes(complete):
    sides = complete.tables["chip_sides"]
    lower = sides[sides["chip_role"].eq("processor") & sides["side"].eq("lower")]
    later = lower["before_test_no"].gt(1)
    assert lower.loc[later, "clean_passes_n"].mean() > lower.loc[~later, "clean_passes_n"].mean() + 0.5


def test_causes_agree_with_what_happened(complete):
    jobs = complete.tables["jobs"]
    pads = complete.tables["chip_sides"].groupby("job_id")["pads_lost_n"].sum()
    of_cause = jobs.set_index("job_id").groupby("failure_cause", observed=True)
    assert (pads.reindex(of_cause.get_group("pads_lost").index) > 0).all()
    for cause in ("chip_cracked", "chip_dead_on_arrival"):
        assert not of_cause.get_group(cause)["loss_reversible"].any()
    for cause in ("poor_joint", "misplaced", "donor_faulty_or_wrong", "credential_missing"):
        assert of_cause.get_group(cause)["loss_reversible"].all()
    assert (jobs["failure_cause"].notna() <= jobs["outcome"].eq("not_recovered")).all()


def test_the_bad_lot_is_mostly_not_recognised(complete):
    jobs = complete.tables["jobs"].merge(complete.tables["donors"][["donor_id", "lot"]], on="donor_id")
    failed = jobs[jobs["lot"].eq(Truth().bad_lot) & jobs["outcome"].eq("not_recovered")]
    named = failed["failure_cause"].eq("donor_faulty_or_wrong")
    assert 0.1 < named.mean() < 0.5
    assert failed.loc[named, "cause_evidence"].eq("confirmed").mean() < 0.25


def test_jobs_paid_whatever_happens_are_given_up_sooner(complete):
    jobs, tests = complete.tables["jobs"], complete.tables["boot_tests"]
    tried = jobs["job_id"].map(tests["job_id"].value_counts())
    open_end = jobs["outcome"].eq("not_recovered") & jobs["loss_reversible"].fillna(False)
    failed_once = tried.ge(2) | (tried.eq(1) & open_end)
    stopped_at_one = (tried.eq(1) & open_end)[failed_once]
    by_fee = stopped_at_one.groupby(jobs["fee_basis"].astype(str)).mean()
    assert by_fee["flat"] > by_fee["no_result_no_fee"] + 0.05


def test_guesses_have_the_planted_slope_and_are_too_hopeful(complete):
    jobs = complete.tables["jobs"]
    jobs = jobs[jobs["outcome"].isin(["recovered", "not_recovered"])]
    said, read = jobs["guessed_success_pct"].to_numpy() / 100, jobs["outcome"].eq("recovered").to_numpy(float)
    fit = sm.Logit(read, sm.add_constant(logit(said))).fit(disp=False)
    assert abs(fit.params[1] - Truth().guess_calibration_slope) < 0.1
    assert said.mean() > read.mean() + 0.01


def test_the_best_temperature_lies_inside(complete):
    rows = build_cohort(Log.from_tables(complete.tables)).first_boots
    typed = rows["install_set_temp_c"].notna()
    shown = rows.loc[typed, "install_set_temp_c"] - rows.loc[typed, "install_set_temp_c"].median()
    success = rows.loc[typed, "first_boot"].groupby(pd.cut(shown, [-80, -22, 15, 80]), observed=True).mean()
    assert success.iloc[1] > success.iloc[0] + 0.02
    assert success.iloc[1] > success.iloc[2] + 0.02


def test_a_third_of_the_settings_are_unchanged_presets(complete):
    steps = complete.tables["heat_steps"]
    preset = steps["entry_kind"].eq("preset")
    assert 0.3 < preset.mean() < 0.4
    spread = steps["set_temp_c"].groupby([steps["step_type"], steps["entry_kind"]], observed=True).nunique()
    assert (spread.xs("preset", level=1) == 1).all()
    assert (spread.xs("typed", level=1) > 10).all()


def test_chains_name_a_failed_job_on_the_same_board(complete):
    jobs = complete.tables["jobs"].set_index("job_id")
    again = jobs[jobs["previous_job_id"].notna()]
    before = jobs.loc[again["previous_job_id"]]
    assert 3 <= len(again) <= 12
    assert before["outcome"].eq("not_recovered").all()
    assert (before["closed_date"].to_numpy() < again["received_date"].to_numpy()).all()
    for name in ("board_family", "device_class", "intake_damage"):
        assert before[name].tolist() == again[name].tolist()
    assert (before["device_age_years"].to_numpy() <= again["device_age_years"].to_numpy()).all()


def test_undated_work_is_on_whole_jobs_only():
    tables = simulate(Shop(jobs=5_000), 2).tables
    for name in ("chip_sides", "heat_steps"):
        blank = tables[name]["before_test_no"].isna()
        by_job = blank.groupby(tables[name]["job_id"]).mean()
        assert set(by_job.unique()) == {0.0, 1.0}
        assert 0.02 < by_job.mean() < 0.06


def test_the_lessons_can_be_seen_in_the_demo_log_itself(demo):
    raw = demo.groupby("technician_id")["first_boot"].mean()
    assert raw.idxmin() == "T2"
    bad = demo["donor_lot"].eq(Truth().bad_lot)
    assert bad.sum() >= 25
    assert demo.loc[bad, "first_boot"].mean() < demo.loc[~bad, "first_boot"].mean() - 0.25
    by_alloy, by_preheat = (demo.groupby(name)["first_boot"].mean() for name in ("ball_alloy", "install_preheat"))
    assert by_alloy["sac305"] < by_alloy["sn63pb37"] - 0.03
    assert by_preheat[1.0] > by_preheat[0.0] + 0.05
    few, many = demo["clean_passes_per_side"].lt(2.5), demo["clean_passes_per_side"].gt(3)
    assert demo.loc[many, "first_boot"].mean() < demo.loc[few, "first_boot"].mean() - 0.05


def test_learning_is_small_and_ends():
    truth = Truth()
    assert 0 < truth.learning_per_100_jobs * truth.learning_ends_at_jobs / 100 <= 0.25
    shop = Shop(jobs=3_000)
    rows = simulate(shop, 1).latent
    learned = simulate(dataclasses.replace(shop, learning=True), 1).latent["log_odds"] - rows["log_odds"]
    np.testing.assert_allclose(
        learned, truth.learning_per_100_jobs * rows["earlier_jobs_n"].clip(upper=truth.learning_ends_at_jobs) / 100
    )
    assert rows.groupby("technician_id")["earlier_jobs_n"].apply(lambda n: n.tolist() == list(range(len(n)))).all()


@pytest.mark.parametrize(("technicians", "families"), [(1, 1), (2, 3), (8, 30)])
def test_workshops_of_other_sizes(technicians, families):
    shop = dataclasses.replace(Shop(jobs=400), technicians=technicians, families=families)
    tables = simulate(shop, 3).tables
    assert len(tables["technicians"]) == technicians
    assert tables["jobs"]["board_family"].nunique() <= families
    assert simulate(shop, 3).truth.technician.keys() == set(tables["technicians"]["technician_id"])


def test_noise_spreads_the_true_chances_and_is_off_by_default():
    plain = plain_shop(4_000)
    noisy = simulate(dataclasses.replace(plain, noise_sd=1.0), 1).latent["log_odds"]
    assert noisy.var() == pytest.approx(simulate(plain, 1).latent["log_odds"].var() + 1, rel=0.1)
    assert Shop().noise_sd == 0


def test_every_coefficient_names_its_feature():
    values = Truth().as_dict()
    about_something_else = {
        "best_install_c",
        "learning_ends_at_jobs",
        "bad_lot",
        "bad_lot_received_from",
        "bad_lot_received_to",
        "bad_lot_share",
        "station_2_offset_c",
        "guess_calibration_slope",
        "guess_optimism",
    }
    assert set(FEATURES) == set(values) - about_something_else


@pytest.mark.slow
def test_a_hundred_thousand_jobs_stay_within_bounds():
    import time

    start = time.perf_counter()
    simulated = simulate(Shop(jobs=100_000), 1)
    assert time.perf_counter() - start < 60
    assert len(simulated.tables["jobs"]) == 100_000
    assert np.isfinite(simulated.latent["log_odds"]).all()
