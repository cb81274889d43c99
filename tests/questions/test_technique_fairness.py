"""What a referee found: time, people and small arms must not pass for a technique."""

from __future__ import annotations

import dataclasses
import re
import shutil

import numpy as np
import pytest
from scipy.special import expit

from analysis.cli import DEMO, main
from analysis.cohort.features import build_cohort
from analysis.cohort.technique_rows import TechniqueRows, technique_rows
from analysis.questions.contrasts import DECLARED
from analysis.questions.technique_design import columns_of, with_neighbours
from analysis.questions.technique_samples import Samples, _strata
from analysis.questions.techniques import UNLIKE, Effort, Refused, Told, techniques
from analysis.questions.twin import shops_for
from analysis.questions.verdicts import Verdict
from analysis.records.log import read_log

RESET = tuple(c for c in DECLARED if c.name == "ball_reset")
QUICK = Effort(copies=2, draws=40, complete_draws=5)
AMONG = 7  # contrasts that Holm's method usually allows for here


@pytest.fixture(scope="module")
def found() -> TechniqueRows:
    log = read_log(DEMO).without_faulty_jobs()
    return technique_rows(log, build_cohort(log))


def asked(found: TechniqueRows, **changes) -> Told | Refused:
    return techniques(dataclasses.replace(found, rows=found.rows.assign(**changes)), RESET, effort=QUICK)[0]


def time_of(found: TechniqueRows) -> np.ndarray:
    """Day of receipt, 0 for the first and 1 for the last."""
    days = (found.rows["received_date"] - found.rows["received_date"].min()).dt.days.to_numpy(float)
    return days / days.max()


def test_success_that_rises_by_itself_is_not_laid_to_a_technique_that_came_into_use(found):
    """The true effect is none. With quarters drawn together by a narrow prior this was 15 points, often "clear"."""
    at, told = time_of(found), []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        arm = (rng.random(len(at)) < np.clip((at - 0.4) / 0.2, 0, 1)).astype(float)
        won = (rng.random(len(at)) < expit(-1.2 + 3.2 * at)).astype(float)
        told.append(asked(found, ball_reset=arm, first_boot=won))
    no_effect_is_told(told)


def no_effect_is_told(told: list[Told | Refused]) -> None:
    answered = [each for each in told if isinstance(each, Told)]
    assert len(answered) >= 3
    assert abs(np.mean([each.difference.estimate for each in answered])) < 0.09
    assert not any(each.difference.p <= 0.05 / AMONG for each in answered)


def test_a_better_technician_is_not_taken_for_the_technique_he_uses(found):
    n, told = len(found.rows), []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        best = rng.random(n) < 0.3
        who = np.where(best, "T1", rng.choice(["T2", "T3", "T4", "T5"], n)).astype(object)
        arm = (rng.random(n) < np.where(best, 0.95, 0.05)).astype(float)
        won = (rng.random(n) < expit(0.2 + 1.2 * best)).astype(float)
        told.append(asked(found, technician_id=who, ball_reset=arm, first_boot=won))
    no_effect_is_told(told)


def test_arms_that_stay_unlike_after_weighting_are_never_clear(found, monkeypatch):
    rng = np.random.default_rng(1)
    arm = (rng.random(len(found.rows)) < 0.5).astype(float)
    won = (rng.random(len(found.rows)) < 0.4 + 0.5 * arm).astype(float)
    fair = asked(found, ball_reset=arm, first_boot=won)
    assert fair.verdict is Verdict.CLEAR
    assert not fair.unlike
    assert max(fair.overlap.left.values()) < UNLIKE
    monkeypatch.setattr("analysis.questions.techniques.UNLIKE", 0.0)
    held = asked(found, ball_reset=arm, first_boot=won)
    assert set(held.unlike) == {"technician_id", "quarter", "intake_damage"}
    assert held.verdict is Verdict.CANNOT_TELL


def test_arms_that_hardly_overlap_are_refused_with_what_they_amount_to(found):
    at = time_of(found)
    arm = (at > 0.5).astype(float)
    swapped = np.flatnonzero(np.abs(at - 0.5) < 0.01)
    arm[swapped] = np.arange(len(swapped)) % 2
    refused = asked(found, ball_reset=arm)
    assert isinstance(refused, Refused)
    assert re.search(r"amount to only \d with '(ball reset|none)' \(at least 10 are needed\)", refused.why)


@pytest.mark.parametrize("jobs", [14, 25])
def test_a_small_arm_without_a_failure_is_no_wonder(found, jobs):
    """With a rate of 80 % such an arm has none by luck in 1 of 23 or of 265 logs: Fisher's P says as much."""
    told, n = [], len(found.rows)
    for seed in range(4):
        rng = np.random.default_rng(seed)
        arm, won = np.zeros(n), (rng.random(n) < 0.8).astype(float)
        own = rng.choice(n, jobs, replace=False)
        arm[own], won[own] = 1.0, 1.0
        told.append(asked(found, ball_reset=arm, first_boot=won))
    p = [each.difference.p for each in told if isinstance(each, Told)]
    assert len(p) >= 2
    assert min(p) > 0.8**jobs
    if jobs == 14:
        assert min(p) > 0.05 / AMONG


def test_a_small_quarter_goes_with_its_neighbour_in_time():
    level = np.repeat([0, 1, 2, 3, 4], [8, 3, 20, 2, 9])
    assert np.bincount(with_neighbours(level, 5)).tolist() == [11, 20, 11]
    assert with_neighbours(np.array([0, 1, 2]), 5).tolist() == [0, 0, 0]
    assert with_neighbours(np.zeros(0, dtype=np.int64), 5).tolist() == []


def test_people_with_hardly_a_job_are_told_apart_from_the_busiest(found):
    who = found.rows["technician_id"].astype(object).to_numpy().copy()
    who[:9] = ["H1", "H1", "H2", "H2", "H3", "H3", "H4", "H4", "H4"]
    rows = found.rows.assign(technician_id=who)
    rows["technician_id"] = rows["technician_id"].fillna("T1")
    level = columns_of(rows.fillna({"prior_rework": "none"})).part(np.ones(len(rows), bool), ("technician_id",)).watched
    few = level["technician_id"][:9]
    assert len(set(few)) == 1
    assert (level["technician_id"] == few[0]).sum() == 9
    strata = _strata(rows)
    assert (strata[:9] == strata[0]).all()
    assert (strata == strata[0]).sum() == 9


def test_work_without_a_boot_test_that_is_taken_as_first_is_counted():
    log = read_log(DEMO).without_faulty_jobs()
    before = technique_rows(log, build_cohort(log))
    sides = log.tables["chip_sides"]
    single = log.tables["boot_tests"]["job_id"].value_counts().loc[lambda n: n == 1].index
    named = sides.loc[sides["before_test_no"].notna(), "job_id"]
    job = next(job for job in before.rows["job_id"] if job in set(single) & set(named) and job not in silent_jobs(log))
    blank = sides.assign(before_test_no=sides["before_test_no"].mask(sides["job_id"].eq(job)))
    after = dataclasses.replace(log, tables=dict(log.tables) | {"chip_sides": blank})
    assert technique_rows(after, build_cohort(after)).taken_as_first == before.taken_as_first + 1


def silent_jobs(log) -> set[str]:
    tables = [log.tables[name] for name in ("chip_sides", "heat_steps")]
    return {job for table in tables for job in table.loc[table["before_test_no"].isna(), "job_id"]}


def test_many_helpers_with_two_jobs_each_do_not_make_an_answer_surer(found):
    """A stratum of one or two jobs hardly varies in a bootstrap that keeps its number of jobs."""
    rng = np.random.default_rng(4)
    n = len(found.rows)
    who = np.array([f"H{i // 2}" for i in range(n)], dtype=object)
    won = (rng.random(n) < 0.7).astype(float)
    arm = (rng.random(n) < 0.5).astype(float)
    tables = [found.rows.assign(technician_id=each, first_boot=won) for each in (who, np.full(n, "T1", dtype=object))]
    variances = []
    for rows in tables:
        samples = Samples(rows, arm, np.ones(n, bool), 60, np.random.default_rng(1))
        plain = rows.assign(known_good="untested", board_family="one")  # nothing else to adjust for
        variances.append(samples.of(columns_of(plain.fillna(0)), _bare()).variance["difference"])
    assert variances[0] > 0.8 * variances[1]


def _bare():
    return dataclasses.replace(RESET[0], adjust={"nothing else": ("technician_id",)})


def test_the_check_judges_contrasts_of_the_shops_own(tmp_path, capsys):
    log = tmp_path / "log"
    shutil.copytree(DEMO, log)
    settings = log / "bench.toml"
    text = settings.read_text(encoding="utf-8")
    own = 'extra_contrasts = ["few: melts_n <= nan"]'
    settings.write_text(text.replace("# extra_contrasts = []", own), encoding="utf-8")
    assert main(["check", str(log)]) == 2
    said = capsys.readouterr()
    assert "extra_contrasts holds 'few: melts_n <= nan'" in said.err
    assert "The log is clean" in said.out
    settings.write_text(text.replace("# minimum_class_n = 10", "minimum_class_n = 0"), encoding="utf-8")
    assert main(["check", str(log)]) == 1
    assert "minimum_class_n" in capsys.readouterr().out


def test_a_network_is_simulated_in_fewer_shops_and_never_under_a_few():
    assert [shops_for(100, jobs) for jobs in (0, 600, 20_000, 40_000, 10**6)] == [100, 100, 100, 50, 25]
    assert shops_for(10, 10**6) == 10
