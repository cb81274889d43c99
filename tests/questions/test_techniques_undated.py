"""Work that names no boot test on jobs with several: no comparison of techniques, as the review has no model."""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.cli import DEMO
from analysis.cohort.features import build_cohort
from analysis.cohort.undatable import Undatable
from analysis.errors import ReworkError
from analysis.questions.description import describe
from analysis.questions.dose import NoDose
from analysis.questions.technique_answers import TechniqueAnswers, technique_answers
from analysis.questions.techniques import Effort, Refused
from analysis.records.log import Log, read_log
from analysis.report import technique_details, technique_page, technique_trial
from analysis.report.first_screen import no_model_words
from analysis.report.technique_pages import write_plan

WORK = ("chip_sides", "heat_steps")
QUICK = Effort(copies=2, draws=12, complete_draws=12)
REASON = "Without them the failures would be mostly those given up at once"


@pytest.fixture(scope="module")
def undated() -> Log:
    """The demo, had nobody noted which boot test work came before."""
    tables = {name: frame.copy() for name, frame in read_log(DEMO).without_faulty_jobs().tables.items()}
    for name in WORK:
        tables[name]["before_test_no"] = pd.array([pd.NA] * len(tables[name]), dtype="Int64")
    return Log.from_tables(tables)


@pytest.fixture(scope="module")
def page(undated) -> TechniqueAnswers:
    return technique_answers(undated, effort=QUICK, shops=12)


def test_no_contrast_curve_pad_or_plan_is_made_of_jobs_picked_by_their_outcome(page):
    at_bench = [answer for answer in page.answers if not answer.contrast.of_donor]
    assert len(at_bench) == 6
    assert all(isinstance(answer, Refused) for answer in at_bench)
    assert all(answer.groups.with_it.n == answer.groups.without.n == 0 for answer in at_bench), "no plain rates"
    assert all(isinstance(dose, NoDose) for dose in page.doses)
    assert page.damage.fit is None
    assert not page.damage.sides
    assert page.trial.plan is None
    assert not page.trial.sizes


def test_the_reason_and_the_count_are_those_of_the_review(undated, page):
    review = describe(build_cohort(undated), pd.Period("2099-01", "M"))
    assert isinstance(review, Undatable)
    assert page.found.undatable == review
    told = no_model_words(review, "comparison of techniques")
    assert f"{review.jobs} jobs" in told
    assert REASON in told
    assert told in technique_page.contrasts_words(page)._repr_html_()
    sections = (technique_page.first_screen, technique_details.dose_list, technique_details.pads_words)
    for section in (*sections, technique_trial.next_words):
        assert REASON in section(page)._repr_html_()
    for section in (technique_page.first_screen, technique_trial.sizes_grid):
        assert "%" not in section(page)._repr_html_()
    for section in (technique_page.contrasts_words, technique_page.arms_grid, technique_page.contrast_ledgers):
        html = section(page)._repr_html_()
        assert "Blade on oxidised pads" not in html
        assert html.count("Donor seen to boot before use") in (1, 2)  # a row an arm


def test_donors_are_compared_on_every_first_boot_and_no_work_moves_them(undated, page):
    """They need no work: another log of work, dated or not, gives the same answer."""
    donors = [answer for answer in page.told if answer.contrast.of_donor]
    assert [each.contrast.name for each in donors] == [each.contrast.name for each in page.told]
    assert {each.contrast.name for each in donors} == {"donor_tested", "heat_cycles"}
    assert page.found.ledger.rows_used == len(page.found.rows) == len(page.cohort.first_boots)
    tables = dict(undated.tables)
    sides = tables["chip_sides"].copy()
    sides["pad_grade_found"] = pd.array([0] * len(sides), dtype="Int64")
    again = technique_answers(Log.from_tables(tables | {"chip_sides": sides}), effort=QUICK, shops=12)
    assert [(each.difference, each.verdict) for each in again.told] == [(e.difference, e.verdict) for e in page.told]


def test_no_list_of_lots_is_written(undated, tmp_path, monkeypatch):
    monkeypatch.setattr("analysis.questions.technique_answers.usable_log", lambda _: undated)
    with pytest.raises(ReworkError, match="several boot tests have work without before_test_no"):
        write_plan(tmp_path, tmp_path / "plan.csv", print)
    assert not list(tmp_path.iterdir())


def test_a_few_undated_jobs_are_left_out_and_the_rest_compared():
    log = read_log(DEMO).without_faulty_jobs()
    cohort = build_cohort(log)
    assert cohort.undated.jobs, "the demo has some"
    page = technique_answers(log, effort=QUICK, shops=12)
    assert page.found.undatable is None
    assert page.told
