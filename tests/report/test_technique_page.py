"""The techniques' page: sound, readable, honest about what it cannot tell, and without an error on little data."""

from __future__ import annotations

import dataclasses
import functools
import re
import shutil
from pathlib import Path
from types import SimpleNamespace

import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO, main
from analysis.errors import ReworkError
from analysis.questions.technique_answers import TechniqueAnswers, build_techniques, technique_answers
from analysis.questions.techniques import Effort, Told
from analysis.questions.trial_outcome import trial_outcome
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log
from analysis.report import technique_closing, technique_details, technique_page, technique_trial, technique_words
from analysis.report.technique_pages import publish_techniques, write_plan
from tests.questions.test_trial import a_plan, helps, no_matter, run
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text
from tests.report.guide_quotes import assert_quoted_rightly
from tests.report.small_logs import emptied, small
from tests.tables import closed, log_of

QUICK = Effort(copies=2, draws=12, complete_draws=12)
NAMES = ("install set temperature", "install time", "reball set temperature", "reball time")
SECTIONS = [
    technique_page.first_screen,
    technique_page.ledger,
    technique_page.contrasts_picture,
    technique_page.contrasts_words,
    technique_page.reach_list,
    technique_page.arms_grid,
    technique_details.dose_list,
    technique_details.stations_words,
    *(functools.partial(technique_details.dose_picture, name=name) for name in NAMES),
    technique_details.pads_words,
    technique_details.pads_picture,
    technique_details.spots_grid,
    technique_details.ratios_grid,
    technique_trial.next_words,
    technique_trial.wrong_to_draw,
    technique_trial.rules,
    technique_trial.lines_grid,
    technique_trial.sizes_grid,
    technique_trial.worth_grid,
    technique_trial.outcome_words,
    technique_trial.outcome_grid,
    technique_trial.outcome_ledger,
    technique_page.settings_grid,
    technique_page.adjusted_for,
    technique_page.overlap_grid,
    technique_page.checks_grid,
    technique_page.contrast_ledgers,
    technique_details.dose_grid,
    technique_details.count_model_words,
    technique_details.pads_ledger,
    technique_closing.definitions,
    technique_closing.methods,
    technique_closing.limits,
    technique_closing.cautions,
]


def shown(log: Log) -> str:
    page = technique_answers(log, effort=QUICK, shops=12)
    technique_page.page_head(page)
    html = "".join(section(page)._repr_html_() for section in SECTIONS)
    for stray in (">nan", " nan", "None", "<NA>", " inf"):
        assert stray not in html
    assert "<tbody></tbody>" not in html
    return html


@pytest.mark.parametrize("jobs", [1, 5, 20, 60, 200])
def test_few_jobs(jobs):
    html = shown(Log.from_tables(small(jobs)))
    if jobs <= 20:
        assert "No two ways of working can be compared yet." in html
        assert "No word on heat yet" in html


def test_a_way_that_is_never_recorded_is_told_with_the_column_to_fill():
    html = shown(
        Log.from_tables({name: table.iloc[:0] if name == "chip_sides" else table for name, table in small(60).items()})
    )
    assert "the log does not say of any job which way was used: fill in ball_reset in chip_sides.csv" in html


@pytest.mark.parametrize("gone", ["heat_steps", "chip_sides", "donors", "technicians", "boot_tests"])
def test_a_table_that_is_not_kept(gone):
    html = shown(Log.from_tables(emptied(small(200), gone)))
    if gone == "heat_steps":
        assert "which way was used: fill in preheat_c in heat_steps.csv and step_type in heat_steps.csv" in html


@pytest.mark.parametrize("result", ["data_readable", "short", "mixed"])
def test_jobs_alone(result):
    jobs = []
    for i in range(60):
        won = result == "data_readable" or (result == "mixed" and i % 3 > 0)
        first = "data_readable" if won else "short"
        jobs.append(closed(f"J{i}", "recovered" if won else "not_recovered", first_boot_result=first))
    html = shown(log_of(jobs=jobs))
    assert "0 of 0" not in html
    assert "No side with a count of pads lost is in the log." in html


def test_a_shop_where_nobody_is_named():
    tables = small(200)
    tables["jobs"]["technician_id"] = tables["jobs"]["technician_id"].where(tables["jobs"]["job_id"].isna())
    assert "no technician is named on these jobs" in shown(Log.from_tables(tables))


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return publish_techniques(DEMO, tmp_path_factory.mktemp("techniques"), lambda text: None)


def test_the_page_is_sound(page):
    assert_page_is_sound(page)


def test_the_guides_quote_the_page_rightly(page):
    assert_quoted_rightly(page)


@pytest.mark.browser
def test_the_page_behaves_in_a_browser(page, running_browser):
    assert_page_behaves(page, running_browser)


def test_the_first_screen_is_plain_and_every_number_has_its_n(page):
    first = BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib").select_one(".first")
    assert [tag.get_text() for tag in first.select(".label")] == [
        "What helps",
        "Heat settings",
        "Where pads are lost",
        "What to try next",
        "Jobs left out",
    ]
    says = [tag.get_text() for tag in first.select(".says")]
    assert re.search(r"Clear: preheat at install, \d+ points more .*\d+ jobs", says[0])
    assert "No detectable effect of install set temperature (" in says[1]
    for word in ("holm", "bootstrap", "propensity", "overlap", "odds", "e-value", "imputation", "robust"):
        assert word not in first.get_text().lower()


def test_the_answer_key_of_the_demo_and_what_the_page_says(page):
    text = visible_text(BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib"))
    assert re.search(r"Preheat at install: on like boards .* clear\.", text)
    for null in ("Lead-free balls against leaded", "Ball reset"):
        assert re.search(rf"{null}: on like boards [^.]*cannot tell\.", text)
        assert re.search(
            rf"{null} \(\d+ jobs\): a difference of \d+ points .* would have been clear in 80 of 100 such logs", text
        )
    assert "Never on a client's only copy without written consent" in text
    assert "never a specification" in text


def test_jobs_needed_are_told_at_this_bench_with_the_time_they_take():
    told = next(a for a in technique_answers(Log.from_tables(small(300)), effort=QUICK, shops=12).told)
    told = dataclasses.replace(told, further_jobs=1234, unlike=(), detectable=0.4)
    words = technique_words.reach_words(told, None, 10.0, 18.0)
    assert "only a difference of 40 points or more would have been clear in 80 of 100" in words
    assert "it takes about 1200 further first boots at this bench (about 5.6 years at its pace)" in words
    far = technique_words.reach_words(dataclasses.replace(told, further_jobs=11_111), None, 10.0, 18.0)
    assert "about 11000 further first boots at this bench (about 51 years at its pace)" in far
    never = technique_words.reach_words(dataclasses.replace(told, detectable=1.3), None, 10.0, 0.0)
    assert "no difference, however large, would have been clear" in never
    assert "at its pace" not in never
    held = technique_words.reach_words(dataclasses.replace(told, unlike=("quarter",)), None, 10.0, 18.0)
    assert "nothing, however many jobs" in held
    left = dict.fromkeys(told.overlap.left, 0.0) | {"quarter": 0.41}
    apart = dataclasses.replace(told, unlike=("quarter",), overlap=dataclasses.replace(told.overlap, left=left))
    assert "differ in quarter (by up to 0.41 standard deviations)" in technique_words.told_words(apart)


def test_a_log_that_never_says_how_settings_were_entered_is_told_so_on_the_first_screen():
    tables = small(200)
    steps = tables["heat_steps"]
    html = shown(
        Log.from_tables(
            tables | {"heat_steps": steps.assign(entry_kind=steps["entry_kind"].where(steps["job_id"].isna()))}
        )
    )
    heat = html.split("Heat settings")[1].split("Where pads are lost")[0]
    assert "How settings were entered was never recorded" in heat
    assert "Unchanged presets are left out" not in heat


def test_no_technician_is_named(page):
    text = visible_text(BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib"))
    assert not re.search(r"\bT[1-5]\b", text)


def test_the_list_of_a_plan_is_written_once_and_read_back(tmp_path):
    said: list[str] = []
    target = tmp_path / "plan.csv"
    write_plan(DEMO, target, said.append, jobs=48, seed=3)
    text = target.read_text(encoding="utf-8")
    assert "seed 3 jobs 48 look 24" in text
    assert "Consent in writing" in said[-1]
    with pytest.raises(ReworkError, match="exists already"):
        write_plan(DEMO, target, said.append)
    html = technique_trial.outcome_words(
        technique_answers(Log.from_tables(small(60)), str(target), effort=QUICK, shops=12)
    )._repr_html_()
    assert "0 of 48 planned jobs" in html
    assert "It is not time to look" in html


def test_the_plan_that_a_notebook_names_is_the_one_that_is_told(monkeypatch):
    module = "analysis.questions.technique_answers"
    monkeypatch.setattr(f"{module}.usable_log", lambda folder: f"the log in {folder}")
    monkeypatch.setattr(f"{module}.technique_answers", lambda *given: given)
    assert build_techniques(Path("a"), "plan.csv", 48, 3) == ("the log in a", "plan.csv", 48, 3)


@pytest.fixture(scope="module")
def small_page() -> TechniqueAnswers:
    return technique_answers(Log.from_tables(small(40)), effort=QUICK, shops=12)


@pytest.mark.parametrize(
    ("jobs", "wins", "said"),
    [
        (12, helps, "It is not time to look: the first look comes at 20 jobs."),
        (25, no_matter, "The rule says to go on; it is no result."),
        (25, lambda way, k: way == "preheat", "The rule says to stop: clear."),
        (40, helps, r"The plan has ended: \+\d+ points for .* n = 40, P = .*; clear."),
        (40, no_matter, "this plan cannot tell them apart"),
    ],
)
def test_what_a_plan_brought_is_told_at_its_looks_only(small_page, tmp_path, jobs, wins, said):
    page = dataclasses.replace(small_page, outcome=trial_outcome(*run(a_plan(), tmp_path, wins, jobs=jobs)))
    sections = (technique_trial.outcome_words, technique_trial.outcome_grid, technique_trial.outcome_ledger)
    html = "".join(section(page)._repr_html_() for section in sections)
    assert re.search(said, html)
    assert f"{jobs} of 40 planned jobs" in html
    assert ("First boots as drawn by lot" in html) == (jobs >= 20)


def test_what_went_wrong_with_a_plan_is_told(small_page, tmp_path):
    outcome = trial_outcome(*run(a_plan(), tmp_path, helps, N003={"written_consent": "no"}))
    outcome = dataclasses.replace(outcome, otherwise=2, out_of_order=1)
    html = technique_trial.outcome_words(dataclasses.replace(small_page, outcome=outcome))._repr_html_()
    assert "1 line without written consent noted: left out. This must not happen" in html
    assert "On 2 jobs the log says that the other way was taken" in html
    assert "1 line taken out of order" in html


def test_a_contrast_that_cannot_be_read_is_told_before_anything_runs(tmp_path):
    log = tmp_path / "log"
    shutil.copytree(DEMO, log)
    settings = log / "bench.toml"
    text = settings.read_text(encoding="utf-8").replace(
        "# extra_contrasts = []", 'extra_contrasts = ["pads: pads_lost_n <= 2"]'
    )
    settings.write_text(text, encoding="utf-8")
    with pytest.raises(ReworkError, match="pads: pads_lost_n"):
        publish_techniques(log, tmp_path / "o", lambda text: None)


def test_the_command(tmp_path, capsys, monkeypatch):
    done: list[tuple] = []
    pages = "analysis.report.technique_pages"
    monkeypatch.setattr(f"{pages}.publish_techniques", lambda *given: done.append(("page", *given)))
    monkeypatch.setattr(f"{pages}.write_plan", lambda *given: done.append(("list", *given)))
    monkeypatch.setattr(
        "analysis.report.technician_pages.publish_technicians", lambda *_, **__: done.append(("others",))
    )
    plan, out = tmp_path / "plan.csv", ["--out", str(tmp_path)]
    assert main(["compare", *out]) == 0
    assert main(["compare", "--plan", str(plan), *out]) == 0
    assert main(["compare", "--plan-out", str(plan), "--plan-jobs", "48", "--random-seed", "3"]) == 0
    assert done == [
        ("page", DEMO, tmp_path, print, None, 0, None),
        ("others",),
        ("page", DEMO, tmp_path, print, plan, 0, None),
        ("list", DEMO, plan, print, 48, 3),
    ]


def test_a_plan_that_cannot_be_read_stops_the_command_in_words(tmp_path, capsys):
    assert main(["compare", "--plan", str(tmp_path / "no.csv"), "--out", str(tmp_path / "o")]) == 2
    assert "no.csv: cannot be read" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()


def test_a_contrast_of_the_shops_own_is_marked_wherever_it_stands():
    log = Log.from_tables(small(400))
    settings = dataclasses.replace(log.settings, extra_contrasts=("few passes: clean_passes_per_side <= 3",))
    page = technique_answers(dataclasses.replace(log, settings=settings), effort=QUICK, shops=12)
    own = page.answers[-1]
    assert isinstance(own, Told)
    assert "lost to blanks" in technique_page.checks_grid(page)._repr_html_()
    words = technique_page.contrasts_words(page)._repr_html_()
    assert re.search(r"few passes: on like boards .*\(exploratory\)\.", words)
    assert "by the shop, exploratory" in technique_page.settings_grid(page)._repr_html_()
    marked = dataclasses.replace(page, answers=(dataclasses.replace(own, verdict=Verdict.CLEAR),))
    assert "few passes" not in technique_page.first_screen(marked)._repr_html_().split("Heat settings")[0]


def test_where_a_lot_took_some_first_boots_the_page_says_what_its_counts_stand_for():
    said = [
        technique_closing.limits(SimpleNamespace(found=SimpleNamespace(share=share))).items for share in (1.0, 0.104)
    ]
    assert list(said[1][:-1]) == list(said[0])
    assert "Only 10 % of this log's first boots are compared, taken by lot." in said[1][-1]
