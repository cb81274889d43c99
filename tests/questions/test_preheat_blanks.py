"""Blank preheats taken for none: who notes successes better than failures must not learn that preheating helps."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.cohort.features import build_cohort
from analysis.cohort.technique_rows import technique_rows
from analysis.questions.contrasts import DECLARED
from analysis.questions.description import describe
from analysis.questions.techniques import Effort, Told, techniques
from analysis.questions.verdicts import Verdict
from analysis.report.first_screen import blank_preheat_words
from analysis.report.technique_words import reach_words
from tests.tables import boot, closed, log_of

PREHEAT = tuple(each for each in DECLARED if each.name == "preheat")
N = 160


def bench(said_none: bool):
    """Every board is preheated; nine in ten successes say so, and six in ten failures; the others are blank, or 0."""
    rng = np.random.default_rng(5)
    jobs, tests, steps = [], [], []
    for k in range(N):
        won = rng.random() < 0.65
        job = f"J{k:03d}"
        facts = {"technician_id": f"T{k % 3}", "intake_damage": str(rng.choice(["drop", "liquid", "bend_or_snap"]))}
        when = {"received_date": f"2025-{1 + 12 * k // N:02d}-05", "closed_date": "2026-02-01"}
        jobs.append(closed(job, "recovered" if won else "not_recovered", **facts, **when))
        tests.append(boot(job, 1, "data_readable" if won else "short"))
        noted = rng.random() < (0.9 if won else 0.6)
        step = {"job_id": job, "chip_role": "processor", "step_no": 1, "step_type": "install", "before_test_no": 1}
        steps.append(step | {"preheat_c": 150.0 if noted else 0.0 if said_none else None, "entry_kind": "typed"})
    log = log_of(jobs=jobs, boot_tests=tests, heat_steps=steps)
    return log, build_cohort(log)


@pytest.mark.parametrize(("said_none", "verdict"), [(False, Verdict.LEANING), (True, Verdict.CLEAR)])
def test_no_effect_of_preheat_is_clear_where_a_blank_counts_as_none(said_none, verdict):
    log, cohort = bench(said_none)
    found = technique_rows(log, cohort)
    told = techniques(found, PREHEAT, effort=Effort(2, 25, 5))[0]
    assert isinstance(told, Told)
    assert told.adjusted_p < 0.05
    assert told.verdict is verdict
    assert ("nothing would be called clear" in reach_words(told, None, 10, 0)) == (not said_none)
    model = describe(cohort, cohort.first_boots["first_boot_month"].max())
    effect = next(each for each in model.effects if each.label.startswith("preheat"))
    assert effect.adjusted_p < 0.05
    assert effect.verdict is verdict


def test_the_page_says_that_one_nought_undoes_every_blank_of_the_log():
    log, cohort = bench(said_none=False)
    blank = int(log.tables["heat_steps"]["preheat_c"].isna().sum())
    told = blank_preheat_words(technique_rows(log, cohort).blank_preheats)[0]
    assert f"counted as none: {blank} jobs" in told
    assert "never more than 'leaning'" in told
    log.tables["heat_steps"].loc[log.tables["heat_steps"]["preheat_c"].isna().idxmax(), "preheat_c"] = 0.0
    rows = build_cohort(log).first_boots
    assert (rows["install_preheat"].eq(0).sum(), rows["install_preheat"].isna().sum()) == (1, blank - 1)
    assert "on those of past jobs too" in told
    assert "every blank is not recorded" in told
