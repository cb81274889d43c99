"""The demo log: made again byte for byte, clean, at the stated levels, with its lessons visible."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit

from analysis.cohort.features import build_cohort
from analysis.demo.__main__ import levels
from analysis.demo.shop import Shop, plain_shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import Truth
from analysis.demo.writing import DEMO_SEED, DEMO_SHOP, write_demo
from analysis.records.check import check_log
from analysis.records.log import Log

FOLDER = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture(scope="module")
def big():
    return simulate(Shop(jobs=30_000), 3)


@pytest.fixture(scope="module")
def cohort(big):
    return build_cohort(Log.from_tables(big.tables)).first_boots


def test_the_demo_is_made_again_byte_for_byte(tmp_path):
    write_demo(tmp_path)
    made = {path.name for path in tmp_path.iterdir()}
    assert made == {path.name for path in FOLDER.iterdir() if path.is_file()}
    for name in made:
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes(), name


def test_the_demo_log_is_clean():
    report = check_log(FOLDER)
    assert report.problems == ()
    assert report.rows_read["jobs"] == 650


def test_everything_about_the_demo_says_that_it_is_invented():
    assert "Invented data" in (FOLDER / "README.md").read_text(encoding="utf-8")
    settings = (FOLDER / "bench.toml").read_text(encoding="utf-8")
    assert "\ninvented = true\n" in settings
    assert "(invented)" in settings
    assert "invented" in json.loads((FOLDER / "answer_key.json").read_text(encoding="utf-8"))["what"]


def test_the_answer_key_is_the_truth():
    key = json.loads((FOLDER / "answer_key.json").read_text(encoding="utf-8"))
    assert key["coefficients"] == json.loads(json.dumps(Truth().as_dict()))
    assert key["rng_seed"] == DEMO_SEED


def test_levels_are_those_of_such_a_bench():
    found = levels(simulate(DEMO_SHOP, DEMO_SEED))
    assert 0.60 <= found["first boot"] <= 0.70
    assert 0.70 <= found["recovered of accepted closed"] <= 0.80
    assert 0.25 <= found["boot test 2: share booted"] <= 0.5
    assert 8 <= found["heat steps a job"] <= 12


def test_levels_over_many_shops(big):
    found = levels(big)
    assert 0.60 <= found["first boot"] <= 0.70
    assert 0.70 <= found["recovered of accepted closed"] <= 0.80
    assert 0.35 <= found["boot test 2: share booted"] <= 0.45
    assert 0.10 <= found["boot test 3: share booted"] <= 0.25
    assert 0.08 <= found["lost for good of accepted closed"] <= 0.12


def test_the_best_technician_looks_worst(big, cohort):
    raw = cohort.groupby("technician_id")["first_boot"].mean()
    assert max(big.truth.technician, key=big.truth.technician.get) == raw.idxmin() == "T2"


def test_passes_go_with_failure_though_a_pass_does_little(cohort):
    few, many = cohort["clean_passes_per_side"].lt(2.4), cohort["clean_passes_per_side"].gt(2.9)
    assert cohort.loc[many, "first_boot"].mean() < cohort.loc[few, "first_boot"].mean() - 0.05
    assert abs(Truth().clean_passes_per_side) <= 0.1


def test_the_bad_lot_stands_out_only_in_its_months(big, cohort):
    bad = cohort["donor_lot"].eq(Truth().bad_lot)
    months = cohort.loc[bad, "received_date"]
    assert months.min() >= pd.Timestamp(Truth().bad_lot_received_from)
    assert months.max() <= pd.Timestamp(Truth().bad_lot_received_to)
    assert cohort.loc[bad, "first_boot"].mean() < cohort.loc[~bad, "first_boot"].mean() - 0.25


def test_sac305_balls_look_bad_without_an_effect_and_preheat_helps(cohort):
    by_alloy = cohort.groupby("ball_alloy")["first_boot"].mean()
    assert by_alloy["sac305"] < by_alloy["sn63pb37"] - 0.02
    assert Truth().ball_alloy_sac305 == 0
    by_preheat = cohort.groupby("install_preheat")["first_boot"].mean()
    assert by_preheat[1.0] > by_preheat[0.0] + 0.05


def test_pads_are_lost_mostly_in_removal_and_cleaning(big):
    steps = big.tables["chip_sides"]["pads_lost_at"].value_counts(normalize=True)
    assert steps["removal"] + steps["cleaning"] > 0.6
    sides = big.tables["chip_sides"]
    oxidised = sides["pad_grade_found"].ge(1).groupby([sides["chip_role"], sides["side"]], observed=True).mean()
    assert oxidised[("processor", "lower")] > 3 * oxidised[("processor", "upper")]


def test_hopeless_jobs_are_given_up_more_often(big):
    jobs = big.tables["jobs"].merge(big.latent[["job_id", "chance"]], on="job_id")
    tests = big.tables["boot_tests"]
    tried = tests.groupby("job_id")["test_no"].max().astype(float)
    first = tests[tests["test_no"].eq(1)].set_index("job_id")["boot_result"]
    failed_once = ~jobs["job_id"].map(first.astype(object)).isin(["data_readable", "starts_locked"])
    jobs = jobs.assign(tried=jobs["job_id"].map(tried))[failed_once & jobs["job_id"].isin(first.index)]
    given_up = jobs["tried"].eq(1) & jobs["loss_reversible"].fillna(False) & jobs["outcome"].eq("not_recovered")
    went_on = jobs["tried"].ge(2)
    assert jobs.loc[given_up, "chance"].mean() < jobs.loc[went_on, "chance"].mean() - 0.05


def test_guesses_are_informative_and_too_sure_of_themselves(big):
    import statsmodels.api as sm

    jobs = big.tables["jobs"]
    jobs = jobs[jobs["outcome"].isin(["recovered", "not_recovered"]) & jobs["guessed_success_pct"].notna()]
    said = logit(jobs["guessed_success_pct"].to_numpy() / 100)
    fit = sm.Logit(jobs["outcome"].eq("recovered").to_numpy(float), sm.add_constant(said)).fit(disp=False)
    assert 0.5 < fit.params[1] < 0.7


def test_a_plain_shop_is_the_planted_model(big):
    """A logistic fit to 50,000 plain jobs on the features as they truly are finds every coefficient within 4 errors."""
    import statsmodels.api as sm

    truth = big.truth
    rows = simulate(plain_shop(50_000), 8).latent
    off = (rows["install_set_temp_c"] - truth.best_install_c) / 25
    columns = {
        "liquid": (rows["intake_damage"].eq("liquid"), truth.intake_damage["liquid"]),
        "heat": (rows["intake_damage"].eq("heat"), truth.intake_damage["heat"]),
        "bend": (rows["intake_damage"].eq("bend_or_snap"), truth.intake_damage["bend_or_snap"]),
        "power": (rows["intake_damage"].eq("power_fault"), truth.intake_damage["power_fault"]),
        "none": (rows["intake_damage"].eq("none_seen"), truth.intake_damage["none_seen"]),
        "rework": (rows["prior_rework"].eq("elsewhere"), truth.prior_rework_elsewhere),
        "full": (rows["underfill"].eq("full"), truth.underfill["full"]),
        "partial": (rows["underfill"].eq("partial"), truth.underfill["partial"]),
        "age": (rows["device_age_years"], truth.device_age_years),
        "second": (rows["second_damage_seen"].eq("yes"), truth.second_damage_seen),
        "tablet": (rows["device_class"].eq("tablet"), truth.tablet),
        "donor age": (rows["donor_age_years"], truth.donor_age_years),
        "current": (rows["known_good"].eq("current_only"), truth.known_good["current_only"]),
        "untested": (rows["known_good"].eq("untested"), truth.known_good["untested"]),
        "installs": (rows["prior_installs_n"], truth.prior_installs_n),
        "passes": (rows["clean_passes_per_side"], truth.clean_passes_per_side),
        "grade": (rows["pad_grade_found_worst"], truth.pad_grade_found_worst),
        "some": (rows["pads_lost_band"].eq("1 to 3"), truth.pads_lost_band["1 to 3"]),
        "many": (rows["pads_lost_band"].eq("4 or more"), truth.pads_lost_band["4 or more"]),
        "preheat": (rows["install_preheat"], truth.install_preheat),
        "tries": (rows["reball_tries_n"] - 1, truth.reball_tries_n),
        "blade": (rows["blade_used"], truth.blade_used),
        "alloy": (rows["ball_alloy"].eq("sac305"), truth.ball_alloy_sac305),
        "reset": (rows["ball_reset"], truth.ball_reset),
        "temperature": (off**2, -truth.temperature_loss_at_25),
    }
    reference, *others = truth.board_family
    first = truth.board_family[reference]
    columns |= {name: (rows["board_family"].eq(name), truth.board_family[name] - first) for name in others}
    columns["every job"] = (pd.Series(1.0, index=rows.index), truth.intercept + first)
    x = np.column_stack([np.asarray(values, dtype=float) for values, _ in columns.values()])
    fit = sm.Logit(rows["first"].to_numpy(float), x).fit(disp=False)
    distance = (fit.params - [real for _, real in columns.values()]) / fit.bse
    assert np.abs(distance).max() < 4, dict(zip(columns, distance.round(1), strict=True))
    assert np.corrcoef(expit(x @ fit.params), rows["chance"])[0, 1] > 0.99


def test_features_from_the_tables_are_those_that_were_simulated():
    simulated = simulate(plain_shop(400), 4)
    rows = build_cohort(Log.from_tables(simulated.tables)).jobs
    latent = simulated.latent
    assert rows["job_id"].tolist() == latent["job_id"].tolist()
    for name in (
        "clean_passes_per_side",
        "pad_grade_found_worst",
        "pads_lost_n",
        "reball_tries_n",
        "blade_used",
        "ball_reset",
        "install_set_temp_c",
        "install_preheat",
        "donor_age_years",
        "prior_installs_n",
    ):
        np.testing.assert_allclose(rows[name].to_numpy(float), latent[name].to_numpy(float), err_msg=name)
    for name in ("pads_lost_band", "ball_alloy", "known_good", "second_damage_seen"):
        assert rows[name].tolist() == latent[name].tolist(), name


def test_nothing_is_dated_after_the_cut(big):
    cut = pd.Timestamp(Shop().cut)
    for name, column in (("jobs", "received_date"), ("jobs", "closed_date"), ("boot_tests", "test_date")):
        assert big.tables[name][column].max() <= cut
