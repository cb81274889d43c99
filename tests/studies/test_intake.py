"""The pooled model of the intake against the planted truth and against its own prior."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.demo import intake
from analysis.demo.truth import Truth
from tests.studies import pooled_prior
from tests.studies.intake import BREAK_EVEN, SHOPS, SIZES, findings, study, told
from tests.studies.intake_oracle import intake_log_odds, new_intakes
from tests.studies.record import failing


def test_the_engine_is_calibrated_where_its_own_assumptions_hold():
    found = pooled_prior.study(200)
    assert found["shops"] > 150
    assert not failing(pooled_prior.findings(found))
    assert 3 * found["slope: error"] < 0.1
    assert 3 * found["covered: error"] < 0.05


def test_the_oracle_uses_the_planted_log_odds_and_averages_what_is_not_recorded():
    truth = Truth.sized(5, 12)
    devices = intake.draw_devices(SHOPS["demo"], truth, np.random.default_rng(1))
    np.testing.assert_allclose(intake_log_odds(devices, truth), devices["intake_lp"])
    found = new_intakes(SHOPS["alike"], truth, 300, 80, 5)
    assert found.recorded["device_age_years"].isna().any()
    facts = ["board_family", "device_age_years", "underfill", "prior_rework"]
    known = found.recorded[facts].notna().all(axis=1)
    own = intake_log_odds(found.recorded[known], truth)
    assert np.corrcoef(own, found.chance[known])[0, 1] > 0.9
    assert found.spread.max() < 0.05


def test_a_few_shops_run_through():
    table = study(3, SHOPS["alike"], -0.6, intakes_n=150)
    assert table["jobs"].tolist() == list(SIZES)
    assert table["covered"].between(0.4, 1).all()
    assert all(f"share at {t}" in told(table) for t in BREAK_EVEN)


@pytest.mark.slow
def test_following_the_chance_pays_where_there_is_something_to_gain():
    table = study(200, SHOPS["alike"], -0.6)
    assert not failing(findings(table, 200, asked=True))
    table = table.set_index("jobs")
    # More jobs, a better chance: half of what the oracle gains at 500 jobs, where declining is a live question.
    for t in (0.4, 0.5, 0.6):
        assert table.loc[150, f"share at {t}"] < table.loc[300, f"share at {t}"] < table.loc[500, f"share at {t}"]
    assert table.loc[500, "off"] < table.loc[300, "off"] < table.loc[150, "off"]
