"""Contrasts of techniques: declared, refused where they must be, and only by work before boot test 1."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from analysis.cli import DEMO
from analysis.cohort.features import build_cohort
from analysis.cohort.technique_rows import technique_rows
from analysis.errors import SettingsError
from analysis.questions.contrasts import DECLARED, contrasts_for, own_contrast
from analysis.questions.technique_design import TERM_OF
from analysis.questions.technique_groups import groups_of, why_refused
from analysis.questions.techniques import Effort, Refused, Told, techniques
from analysis.questions.trial_plan import worth_of
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log, read_log

QUICK = Effort(copies=3, draws=20, complete_draws=30)
AFTER_OF = {"heat_cycles": {"known_good"}}  # a donor installed on before is seen to boot less often
AFTERWARDS = {"pads_lost_n", "pads_lost_band", "pad_grade_left", "melts_n", "bench_hours", "tests_n", "ending"}


@pytest.fixture(scope="module")
def log() -> Log:
    return read_log(DEMO).without_faulty_jobs()


@pytest.fixture(scope="module")
def found(log):
    return technique_rows(log, build_cohort(log))


@pytest.fixture(scope="module")
def answers(found):
    return {a.contrast.name: a for a in techniques(found, DECLARED, effort=QUICK)}


AGREED = (
    "hot_short",
    "preheat",
    "one_pass",
    "blade",
    "ball_reset",
    "ball_alloy",
    "donor_tested",
    "heat_cycles",
)


def test_the_declared_contrasts_are_those_agreed():
    told = "a further contrast moves every verdict: name it in AGREED, in the guide and under Changes in DEVELOPERS.md"
    assert tuple(c.name for c in DECLARED) == AGREED, told
    assert not any(c.exploratory for c in DECLARED)


@pytest.mark.parametrize("contrast", DECLARED, ids=lambda c: c.name)
def test_a_log_that_never_says_which_way_is_told_what_to_fill_in(contrast, found):
    rows = found.rows.assign(**{contrast.column: None})
    why = why_refused(groups_of(rows, contrast.arm(rows)), contrast, 10)
    told = f"say in FEATURE_SOURCES (analysis/cohort/features.py) which columns of the log {contrast.column} is made of"
    assert ".csv" in why, told


ARMS = {
    "hot_short": ("install_style", {"hot and short": 1, "low and long": 0, "neither": None}),
    "preheat": ("install_preheat", {1.0: 1, 0.0: 0}),
    "one_pass": ("processor_lower_passes", {0.0: None, 1.0: 1, 2.0: 0, 5.0: 0}),
    "blade": ("blade_on_oxidised", {1.0: 1, 0.0: 0}),
    "ball_reset": ("ball_reset", {1.0: 1, 0.0: 0}),
    "ball_alloy": ("ball_alloy", {"sac305": 1, "sn63pb37": 0, "sn42bi58": None}),
    "donor_tested": ("known_good", {"full_boot": 1, "current_only": 0, "untested": 0}),
    "heat_cycles": ("prior_installs_n", {0.0: 0, 1.0: 1, 3.0: 1}),
}


@pytest.mark.parametrize("contrast", DECLARED, ids=lambda c: c.name)
def test_each_job_is_on_the_side_that_its_name_says_and_a_blank_on_none(contrast):
    """By the words of the question; what is neither (no pass at all, another alloy) is left out."""
    column, sides = ARMS[contrast.name]
    rows = pd.DataFrame({column: pd.Series([*sides, None]).convert_dtypes()})
    wanted = [float("nan") if side is None else float(side) for side in (*sides.values(), None)]
    np.testing.assert_array_equal(contrast.arm(rows), wanted)


@pytest.mark.parametrize("name", AGREED)
def test_a_sure_answer_is_worth_the_mean_gain_less_the_gain_of_what_looks_better_now(name, answers):
    """By integration over what is believed of the difference; of a refused contrast only the prior is known."""
    answer, prior = answers[name], 0.1
    mean, sd = 0.0, prior
    if isinstance(answer, Told):
        precision = 1 / prior**2 + 1 / answer.difference.se**2
        mean, sd = answer.difference.estimate / answer.difference.se**2 / precision, precision**-0.5
    gain = integrate.quad(lambda d: d * stats.norm.pdf(d, mean, sd), 0, mean + 12 * sd, points=[max(mean, 0.0)])[0]
    assert worth_of(answer, 10.0) == pytest.approx(100 * (gain - max(mean, 0.0)), abs=1e-6)


@pytest.mark.parametrize("contrast", DECLARED, ids=lambda c: c.name)
def test_no_contrast_adjusts_for_what_comes_after_it(contrast):
    assert {"technician_id", "quarter", "intake_damage"} <= set(contrast.columns)
    assert not set(contrast.columns) & (AFTERWARDS | AFTER_OF.get(contrast.name, set()))
    assert contrast.column not in contrast.columns
    assert set(contrast.columns) <= set(TERM_OF)
    assert all(contrast.adjust)  # every set of columns has its reason


def test_the_answer_key_of_the_demo(answers):
    """Preheat is planted as helpful, the others as without effect; the plain rates of lead-free balls mislead."""
    assert answers["preheat"].difference.estimate > 0.05
    assert answers["preheat"].verdict is Verdict.CLEAR
    for name in ("ball_alloy", "ball_reset"):
        assert answers[name].verdict is Verdict.CANNOT_TELL
        low, high = answers[name].difference.interval()
        assert low < 0 < high
    alloy = answers["ball_alloy"].groups
    assert alloy.with_it.rate < alloy.without.rate - 0.04


def test_a_contrast_hardly_used_is_refused_with_its_number(found):
    refused = techniques(found, tuple(c for c in DECLARED if c.name == "one_pass"), least=30, effort=QUICK)[0]
    assert isinstance(refused, Refused)
    assert re.fullmatch(r"only \d+ jobs with 'one pass' \(at least 30 are needed, \d+ more\)", refused.why)


def test_one_pass_is_meant_on_the_side_that_carries_the_balls(answers, log, found):
    """A mean over all sides was 1 against 489 in the demo, and nobody cleans a mean of sides."""
    sides = log.tables["chip_sides"]
    main = sides[
        sides["chip_role"].eq("processor") & sides["side"].eq("lower") & sides["before_test_no"].fillna(1).eq(1)
    ]
    passes = main.drop_duplicates("job_id").set_index("job_id")["clean_passes_n"].reindex(found.rows["job_id"])
    one = answers["one_pass"].groups
    assert one.with_it.n == passes.eq(1).sum() > 10
    assert one.without.n == passes.gt(1).sum() > 400
    assert "processor_lower_grade" in answers["one_pass"].contrast.columns


def test_every_job_stands_in_the_ledger(answers, found):
    for answer in answers.values():
        n = answer.groups.with_it.n + answer.groups.without.n
        assert answer.ledger.rows_used == n
        assert sum(row.with_it.n + row.without.n for row in answer.groups.by_damage) == n


def test_complete_jobs_alone_have_fewer_jobs_and_an_interval_somewhat_wider_than_the_normal_one(answers):
    told = answers["preheat"]
    low, high = told.complete.interval()
    assert 100 < told.complete.df < told.complete_n < told.ledger.rows_used
    assert 1.96 < (high - low) / 2 / told.complete.se < 1.99  # Student's quantile at 100 jobs and more
    assert (low + high) / 2 == pytest.approx(told.complete.estimate)


def test_weighting_makes_the_arms_alike(answers):
    told = answers["ball_alloy"]
    assert isinstance(told, Told)
    assert told.overlap.before > 0.4
    assert told.overlap.after < 0.12


def test_one_measure_tells_what_would_have_been_clear_and_how_many_jobs_it_takes(answers, found):
    told = [answer for answer in answers.values() if isinstance(answer, Told)]
    errors = stats.norm.isf(0.05 / (2 * len(told))) + stats.norm.isf(0.2)
    for each in told:
        assert each.detectable == pytest.approx(errors * each.difference.se)
        # With so many more jobs, of which as many are in the arms as now, ten points would be as clear.
        jobs = len(found.rows)
        later = each.detectable * (jobs / (jobs + each.further_jobs)) ** 0.5
        assert later == pytest.approx(0.10, rel=0.01)


def test_work_after_the_first_boot_test_changes_nothing(log, answers):
    tables = dict(log.tables)
    for name in ("chip_sides", "heat_steps"):
        table = tables[name].copy()
        later = table["before_test_no"].gt(1).fillna(False).to_numpy(bool)
        assert later.sum() > 20
        for column in ("blade_used", "ball_reset", "clean_passes_n", "set_temp_c", "step_s"):
            if column in table:
                table.loc[later, column] = table[column].dropna().iloc[0]
        tables[name] = table
    changed = dataclasses.replace(log, tables=tables)
    again = techniques(technique_rows(changed, build_cohort(changed)), DECLARED, effort=QUICK)
    for answer in again:
        before = answers[answer.contrast.name]
        assert counts(answer) == counts(before)
        if isinstance(answer, Told):
            assert answer.difference == before.difference


def test_the_order_of_the_rows_of_the_log_does_not_matter_for_who_is_counted(log, answers):
    tables = {n: t.sample(frac=1, random_state=3).reset_index(drop=True) for n, t in log.tables.items()}
    mixed = dataclasses.replace(log, tables=tables)
    again = techniques(technique_rows(mixed, build_cohort(mixed)), DECLARED[1:2], effort=QUICK)[0]
    assert counts(again) == counts(answers["preheat"])
    # The draws fall on other rows, so that estimates agree within their Monte Carlo error only.
    assert again.difference.estimate == pytest.approx(answers["preheat"].difference.estimate, abs=0.01)


def counts(answer: Told | Refused) -> list[tuple]:
    """Every count of both arms (an interval of no jobs is no number and equals nothing)."""
    return [(r.damage, r.with_it.x, r.with_it.n, r.without.x, r.without.n) for r in answer.groups.by_damage]


def rows_of(who: list[str], arm: list[float], won: list[float]) -> tuple[pd.DataFrame, np.ndarray]:
    frame = pd.DataFrame({"intake_damage": "drop", "technician_id": who, "first_boot": won})
    return frame, np.array(arm)


def test_a_technique_of_one_person_is_refused():
    won = [float(i % 2) for i in range(60)]
    preheat = DECLARED[1]
    who, arm = ["A"] * 30 + ["B"] * 30, [1.0] * 30 + [0.0] * 30
    told = "{} both (at least 3 jobs of each), so that the technique cannot be told from the people who use it"
    assert why_refused(groups_of(*rows_of(who, arm, won)), preheat, 10) == told.format("no technician uses")
    arm = [1.0] * 25 + [0.0] * 35
    groups = groups_of(*rows_of(who, arm, won))
    assert groups.both == ("A",)
    assert why_refused(groups, preheat, 10) == told.format("only one technician uses")
    arm, won = [1.0, 0.0] * 30, [float(i % 3 > 0) for i in range(60)]
    assert why_refused(groups_of(*rows_of(who, arm, won)), preheat, 10) == ""
    assert why_refused(groups_of(*rows_of([None] * 60, arm, won)), preheat, 10) == (
        "no technician is named on these jobs, so that habits of people cannot be told from the technique"
    )


def test_a_way_that_no_job_names_is_refused_with_the_columns_to_fill():
    nobody, preheat = groups_of(*rows_of([], [], [])), DECLARED[1]
    assert why_refused(nobody, preheat, 10) == (
        "the log does not say of any job which way was used: fill in preheat_c in heat_steps.csv and step_type in"
        " heat_steps.csv"
    )
    own = own_contrast("few melts: melts_n <= 2")
    assert why_refused(nobody, own, 10) == "the log does not say of any job which way was used"


def test_few_failures_are_refused():
    who, arm = ["A", "B"] * 30, [1.0, 1.0, 0.0, 0.0] * 15
    won = [1.0] * 55 + [0.0] * 5
    told = "only 5 of the rarer outcome among 60 jobs (at least 10 are needed"
    why = why_refused(groups_of(*rows_of(who, arm, won)), DECLARED[1], 10)
    assert why == f"{told}; at the pace so far about 60 more of these jobs)"
    never = why_refused(groups_of(*rows_of(who, arm, [1.0] * 60)), DECLARED[1], 10)
    assert never.endswith("(at least 10 are needed)"), "no pace is known"


def test_both_ways_hardly_used_are_told_with_what_each_lacks():
    groups = groups_of(*rows_of(["A", "B"] * 6, [1.0] * 4 + [0.0] * 8, [1.0, 0.0] * 6))
    assert why_refused(groups, DECLARED[1], 10) == (
        "only 4 jobs with 'preheat' (at least 10 are needed, 6 more)"
        " and 8 jobs with 'none' (at least 10 are needed, 2 more)"
    )


def test_a_contrast_of_the_shops_own_is_exploratory_and_does_not_burden_the_declared(found, answers):
    own = contrasts_for(("few passes: clean_passes_per_side <= 3", "other balls: ball_alloy is sac305"))
    assert [c.exploratory for c in own] == [False] * len(DECLARED) + [True] * 2
    assert [(c.name, c.question) for c in own[-2:]] == [
        ("own: few passes", "few passes"),
        ("own: other balls", "other balls"),
    ]
    assert "clean_passes_per_side" not in own[-2].columns
    told = {a.contrast.name: a for a in techniques(found, own, effort=QUICK)}
    for name, before in answers.items():  # not by a hair: the shop's own help to fill no blank of theirs
        assert getattr(told[name], "difference", None) == getattr(before, "difference", None)
        assert getattr(told[name], "adjusted_p", None) == getattr(before, "adjusted_p", None)
        assert getattr(told[name], "further_jobs", None) == getattr(before, "further_jobs", None)
    few = told["own: few passes"]
    assert few.contrast.exploratory
    assert few.groups.with_it.n + few.groups.without.n > 400


def test_what_comes_after_a_donor_fact_is_not_adjusted_for_in_a_contrast_of_the_shops_own():
    assert not {"known_good", "prior_installs_n"} & set(own_contrast("old donors: donor_age_years <= 2").columns)
    assert "known_good" not in own_contrast("often used: prior_installs_n <= 2").columns
    assert {"known_good", "donor_age_years"} <= set(own_contrast("few melts: melts_n <= 4").columns)


@pytest.mark.parametrize(
    "extra",
    [
        ("ball_reset: melts_n <= 9",),
        ("Ball reset: melts_n <= 9",),
        ("mine: melts_n <= 9", "Mine: melts_n <= 8"),
    ],
)
def test_a_contrast_of_the_shops_own_takes_no_others_name(extra):
    with pytest.raises(SettingsError, match="is the name of another contrast"):
        contrasts_for(extra)


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("few passes", "has a name, a colon"),
        ("pads: pads_lost_n <= 2", "the column is one of clean_passes_per_side"),
        ("grade: pad_grade_left <= 1", "the column is one of"),
        ("passes: clean_passes_per_side <= three", "stands a number"),
        ("passes: clean_passes_per_side <= nan", "stands a number"),
        ("passes: clean_passes_per_side <= inf", "stands a number"),
        ("passes: clean_passes_per_side <= 1e400", "stands a number"),
        ("balls: ball_alloy is gold", "ball_alloy is one of sn63pb37"),
    ],
)
def test_a_contrast_that_cannot_be_read_is_refused_in_words(text, rule):
    with pytest.raises(SettingsError, match=rule) as stop:
        own_contrast(text)
    assert text in str(stop.value)
    assert "Write for example" in str(stop.value)
