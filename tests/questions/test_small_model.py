"""A model with room for few terms: the damage is shrunk, never left out, so that a harder mix is no alarm."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.models.design import fit_design
from analysis.models.firth import fit_firth
from analysis.questions.description import holm
from analysis.questions.review import review_of
from analysis.questions.terms import AGE, DAMAGE, GRADE, PASSES, PRIOR, UNDERFILL
from analysis.questions.verdicts import Verdict
from tests.tables import boot, closed, log_of

USUAL = ["drop"] * 9 + ["liquid"] * 4 + ["power_fault"] * 3 + ["bend_or_snap"] * 2 + ["heat", "none_seen"]
HARD = ["liquid"] * 11 + ["drop"] * 6 + ["power_fault"] * 3
BOOTS = {"drop": 0.95, "liquid": 0.3}


def mixed_log(rng_seed=8):
    """Twenty jobs a month at chances that never change; in the last month alone most boards come in wet."""
    rng = np.random.default_rng(rng_seed)
    jobs, tests = [], []
    for month in pd.period_range("2024-02", "2024-12", freq="M"):
        for k, damage in enumerate(HARD if month == pd.Period("2024-12") else USUAL):
            name, day = f"{month}-{k}", f"{month}-{k + 2:02d}"
            booted = rng.random() < BOOTS.get(damage, 0.9)
            outcome = "recovered" if booted else "not_recovered"
            age = float(rng.integers(1, 6))
            dates = {"received_date": f"{month}-01", "closed_date": day}
            jobs.append(closed(name, outcome, intake_damage=damage, device_age_years=age, **dates))
            tests.append(boot(name, 1, "data_readable" if booted else "short", test_date=day))
    return log_of(jobs=jobs, boot_tests=tests)


def test_a_harder_mix_alone_is_no_clear_fall_and_no_alarm():
    review = review_of(mixed_log(), pd.Period("2024-12"))
    model = review.watching.charts.frozen[-1].model
    assert model.design.budget < 5  # damage does not fit whole
    assert model.design.has(DAMAGE.label)
    assert review.now.verdict is not Verdict.CLEAR
    charts = (review.watching.charts.primary, *review.watching.charts.others)
    assert not any(chart.signals for chart in charts)
    assert all(each.verdict is Verdict.CANNOT_TELL for each in review.expected_by_damage)


def test_classes_without_a_chance_of_their_own_are_not_held_against_one():
    review = review_of(mixed_log(), pd.Period("2024-12"))
    model = review.watching.charts.frozen[-1].model
    told = {each.label for each in review.expected_by_damage}
    assert model.tells_apart("drop")
    assert not model.tells_apart("heat")
    assert "drop" in told
    assert "heat" not in told


def test_passes_driven_by_the_damage_alone_are_not_called_clear_in_a_small_log():
    """Damage drives both passes and failures, passes do nothing; without room for the damage they took its blame."""
    kinds = np.array(["drop", "liquid", "power_fault", "bend_or_snap", "heat", "none_seen"], dtype=object)
    chance, passes = np.array([0.95, 0.5, 0.92, 0.92, 0.9, 0.95]), np.array([1.5, 4, 1.5, 1.5, 1.5, 1.5])
    clear = 0
    for rng_seed in range(40):
        rng = np.random.default_rng(rng_seed)
        at = rng.choice(6, 130, p=[0.4, 0.2, 0.15, 0.1, 0.1, 0.05])
        y = (rng.random(130) < chance[at]).astype(float)
        rows = pd.DataFrame(
            {
                DAMAGE.column: kinds[at],
                PRIOR.column: rng.choice(np.array(["none", "elsewhere"], dtype=object), 130),
                UNDERFILL.column: rng.choice(np.array(["none", "full"], dtype=object), 130),
                AGE.column: rng.integers(0, 7, 130).astype(float),
                PASSES.column: np.clip(rng.poisson(passes[at]), 0, 8).astype(float),
                GRADE.column: rng.integers(0, 4, 130).astype(float),
            }
        )
        design = fit_design(rows, (DAMAGE, PRIOR, UNDERFILL, AGE, PASSES, GRADE), y)
        assert design.has(DAMAGE.label)
        if design.has(PASSES.label):
            fit = fit_firth(design.matrix(rows), y, design.names)
            places = [design.term_columns(term.label)[0] for term in (PASSES, GRADE) if design.has(term.label)]
            clear += bool(holm(fit.p[places])[0] <= 0.05)
    assert clear <= 4  # one in twenty of forty, and two Monte Carlo errors above it
