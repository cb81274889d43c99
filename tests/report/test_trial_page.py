"""What a plan brought, in the words of the techniques' page."""

from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace

from analysis.cli import DEMO
from analysis.questions.trial_outcome import trial_outcome
from analysis.questions.trial_plan import reach_of
from analysis.report import technique_trial
from analysis.report.technique_pages import write_plan
from analysis.report.technique_words import reach_of_plan
from tests.questions.test_trial import a_plan, helps, run


def told(outcome) -> str:
    return technique_trial.outcome_words(SimpleNamespace(outcome=outcome))._repr_html_()  # type: ignore[arg-type]


def test_lots_that_were_read_and_do_not_count_are_told_with_the_p_that_decides(tmp_path):
    outcome = trial_outcome(*run(a_plan(), tmp_path, helps, jobs=50, N003={"written_consent": "no"}))
    html = told(dataclasses.replace(outcome, skipped=3, p=0.01, strict_p=0.23))
    assert re.search(r"P = 0\.01\S*, but P = 0\.23 if every lot that was read", html)
    assert re.search("Lots read that will never count: (1 of|0 of).*, (0|1) of", html)
    assert "3 lines passed over before a later one of the same class" in html
    fair = told(trial_outcome(*run(a_plan(), tmp_path, helps)))
    assert "if every lot" not in fair
    assert "never count" not in fair


def test_jobs_left_open_are_told_by_way(tmp_path):
    path, log = run(a_plan(), tmp_path, helps, jobs=50)
    jobs = log.tables["jobs"]
    open_ = jobs["job_id"].isin(["N000", "N001", "N002"]).to_numpy(bool)
    jobs.loc[open_, ["outcome", "closed_date", "first_boot_result", "bench_hours"]] = None
    outcome = trial_outcome(path, log)
    first, second = outcome.waiting
    assert first + second == 3
    assert f"No first boot yet: {first} of &#x27;preheat&#x27;, {second} of &#x27;none&#x27;." in told(outcome)


def test_what_was_done_is_told_apart_from_what_is_not_known(tmp_path):
    outcome = trial_outcome(*run(a_plan(), tmp_path, helps))
    html = told(dataclasses.replace(outcome, otherwise=2, neither=5))
    assert "On 2 jobs the log says that the other way was taken" in html
    assert "usually makes a difference look smaller." in html
    assert "never larger" not in html
    assert "On 5 jobs the log says neither way" in html
    assert "neither way" not in told(dataclasses.replace(outcome, neither=0))


def test_a_list_gets_a_fresh_seed_and_consent_comes_before_the_lot(tmp_path, monkeypatch):
    plans = []

    def plan_of(folder, jobs, seed):
        plans.append(a_plan(seed=seed))
        return SimpleNamespace(plan=plans[-1])

    monkeypatch.setattr("analysis.questions.technique_answers.plan_of", plan_of)
    said: list[str] = []
    for name, seed in (("a.csv", None), ("b.csv", None), ("c.csv", 3)):
        write_plan(DEMO, tmp_path / name, said.append, seed=seed)
    assert plans[0].rng_seed != plans[1].rng_seed
    assert plans[2].rng_seed == 3
    for name, plan in zip("abc", plans, strict=True):
        assert f"seed {plan.rng_seed} " in (tmp_path / f"{name}.csv").read_text(encoding="utf-8-sig")
    assert "Consent in writing comes before a lot is uncovered." in said[1]
    page = SimpleNamespace(trial=SimpleNamespace(plan=plans[0]))
    html = technique_trial.rules(page)._repr_html_()  # type: ignore[arg-type]
    assert html.index("First the written consent") < html.index("uncover its lot")
    assert str(plans[0].rng_seed) not in html


def test_the_time_a_plan_takes_supposes_that_everyone_agrees():
    assert reach_of_plan(reach_of(216, 18, 0.7)).startswith("216 jobs take about 12 months if everyone agrees and show")
