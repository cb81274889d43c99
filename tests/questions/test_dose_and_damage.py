"""Heat settings and pads: presets left out and counted, an effect found where planted, none claimed elsewhere."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.cli import DEMO
from analysis.cohort.features import build_cohort
from analysis.cohort.pad_rows import PadRows, pad_rows
from analysis.cohort.technique_rows import HOT_SHORT, LOW_LONG, install_style, technique_rows
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.demo.truth import Truth
from analysis.models.dose_response import setting_difference
from analysis.models.firth import fit_firth
from analysis.models.terms import Curve
from analysis.questions.contrasts import DECLARED
from analysis.questions.damage_steps import NOT_NOTED, damage_steps
from analysis.questions.description import describe
from analysis.questions.dose import Counted, Dose, NoDose, doses
from analysis.questions.technique_twin import dose_twin
from analysis.questions.techniques import Effort, techniques
from analysis.questions.verdicts import Verdict
from analysis.records.log import Log, read_log
from analysis.report.review_models import temperature_words
from analysis.report.technique_details import held_words, pads_heading
from analysis.report.technique_words import counted_words, damage_words, dose_words, helps_words, told_words


@pytest.fixture(scope="module")
def log() -> Log:
    return read_log(DEMO).without_faulty_jobs()


@pytest.fixture(scope="module")
def found(log):
    return technique_rows(log, build_cohort(log))


def test_every_job_is_typed_preset_or_blank(found):
    told = doses(found)
    assert [d.setting.name for d in told] == [
        "install set temperature",
        "install time",
        "reball set temperature",
        "reball time",
    ]
    for dose in told:
        c = dose.counted
        assert c.used + c.presets + c.unknown + c.blank == len(found.rows)
        assert c.unknown == 0
        assert not c.how_unknown
        assert c.presets > 100
        assert dose.fit.n == c.used == dose.ledger.rows_used
        assert dose.curve.recorded.size == c.used


def entry_blank(log: Log, where) -> Log:
    """The log with how heat settings were entered blank in some steps."""
    steps = log.tables["heat_steps"]
    steps = steps.assign(entry_kind=steps["entry_kind"].mask(np.broadcast_to(where, len(steps))))
    return dataclasses.replace(log, tables=dict(log.tables) | {"heat_steps": steps})


def test_a_setting_that_does_not_say_how_it_was_entered_is_left_out_and_counted(log, found):
    rng = np.random.default_rng(4)
    some = entry_blank(log, rng.random(len(log.tables["heat_steps"])) < 0.3)
    cohort = build_cohort(some)
    rows = technique_rows(some, cohort)
    for before, now in zip(doses(found), doses(rows), strict=True):
        c = now.counted
        assert c.unknown > 30
        assert c.used < 0.8 * before.counted.used
        assert not c.how_unknown
        assert c.used + c.presets + c.unknown + c.blank == len(rows.rows) == len(found.rows)
        assert f"{c.unknown} left out that do not say how they were entered" in counted_words(now)
        assert dict(now.ledger.exclusions)["how it was entered not recorded"] == c.unknown
    entry = cohort.first_boots["install_temp_entry"]
    assert cohort.first_boots.loc[entry.eq("not recorded how"), "install_set_temp_c"].isna().all()
    assert 0 < pad_rows(some, cohort).rows["removal_c"].count() < pad_rows(log, cohort).rows["removal_c"].count()


def test_a_setting_that_is_never_recorded_is_said_to_be_not_recorded():
    setting = SimpleNamespace(name="install time")
    none = SimpleNamespace(setting=setting, counted=Counted(0, 0, 0, 74, False))
    assert counted_words(none) == "No install time is recorded (n = 74)."
    unsaid = SimpleNamespace(setting=setting, counted=Counted(0, 0, 58, 16, False))
    assert counted_words(unsaid) == "No install time is recorded of which the log says how it was entered (n = 74)."


def test_pads_whose_step_is_not_noted_are_not_most_in_one_step():
    row = SimpleNamespace(lost=SimpleNamespace(x=23))
    steps = [SimpleNamespace(step=NOT_NOTED, pads=30)]
    damage = SimpleNamespace(sides=201, lost=30, spots=[row], steps=steps)
    assert damage_words(damage) == "30 pads lost at this bench, on 23 of 201 sides; the step is never noted."
    assert pads_heading(damage) == "In which step pads are lost is never noted"
    damage.lost = 50
    assert damage_words(damage).endswith("of 30 pads the step is not noted.")
    assert pads_heading(damage) == "In which step pads are lost is often not noted"
    steps[0].step = "cleaning"
    assert pads_heading(damage) == "Most pads are lost in one step: cleaning"


@pytest.mark.parametrize(
    ("left_out", "told"),
    [
        ([], ", damage at intake and technician too"),
        (["technician", "blade"], ", damage at intake too"),
        (["technician", "damage at intake"], ""),
    ],
)
def test_what_had_no_room_is_not_said_to_be_held_equal(left_out, told):
    labels = [SimpleNamespace(label=each) for each in left_out]
    assert held_words(labels) == f"Each other thing held equal{told}."


@pytest.mark.parametrize(("n", "told"), [(1, "the one contrast"), (3, "any of the 3 contrasts")])
def test_contrasts_of_which_none_can_be_told_are_named_so(n, told):
    each = SimpleNamespace(verdict=Verdict.CANNOT_TELL, contrast=SimpleNamespace(exploratory=False))
    assert helps_words((each,) * n) == f"Cannot tell on {told} that could be compared."


def test_a_log_that_never_says_how_settings_were_entered_is_used_with_a_loud_word_and_never_clear():
    truth = dataclasses.replace(Truth(), temperature_loss_at_25=1.2)
    shop = dataclasses.replace(Shop(), jobs=900, presets=False)
    log = entry_blank(Log.from_tables(dict(simulate(shop, 8, truth).tables)), True)
    cohort = build_cohort(log)
    found = technique_rows(log, cohort)
    told = doses(found)
    assert told[0].counted.how_unknown
    assert told[0].counted.used > 500
    assert told[0].adjusted_p < 0.001
    assert told[0].verdict is Verdict.LEANING
    assert "How settings were entered was never recorded" in counted_words(told[0])
    model = describe(cohort, cohort.first_boots["first_boot_month"].max())
    assert model.temperature.how_unknown
    assert model.temperature.verdict is not Verdict.CLEAR
    assert "how settings were entered was never recorded" in temperature_words(model)
    assert pad_rows(log, cohort).how_unknown
    hot = tuple(c for c in DECLARED if c.name == "hot_short")
    rows = found.rows.assign(first_boot=found.rows["install_style"].eq(HOT_SHORT).astype(float))
    rows.loc[::5, "first_boot"] = 1 - rows.loc[::5, "first_boot"]
    style = techniques(dataclasses.replace(found, rows=rows), hot, effort=Effort(2, 20, 5))[0]
    assert style.how_unknown
    assert style.adjusted_p < 0.001
    assert style.verdict is Verdict.LEANING
    assert "never more than 'leaning'" in told_words(style)


def test_the_heat_of_a_removal_belongs_to_the_clients_chip_alone(log):
    rows = pad_rows(log, build_cohort(log)).rows
    landing = rows["side"].eq("landing")
    assert landing.sum() > 500
    assert rows.loc[landing, "removal_c"].isna().all()
    assert rows.loc[rows["spot"].eq("processor, lower"), "removal_c"].notna().mean() > 0.4


def test_an_unchanged_preset_says_nothing_whatever_stands_in_its_cell(log, found):
    steps = log.tables["heat_steps"].copy()
    preset = steps["entry_kind"].eq("preset").fillna(False).to_numpy(bool)
    steps.loc[preset, ["set_temp_c", "step_s"]] = [200.0, 200.0]
    changed = dataclasses.replace(log, tables=dict(log.tables) | {"heat_steps": steps})
    again = technique_rows(changed, build_cohort(changed))
    for one, two in zip(doses(found), doses(again), strict=True):
        np.testing.assert_allclose(one.fit.coefficients, two.fit.coefficients)


def test_no_detectable_effect_is_said_of_the_demo(found):
    temperature = doses(found)[0]
    assert isinstance(temperature, Dose)
    assert temperature.verdict is Verdict.CANNOT_TELL
    assert all(d.low < 0 < d.high for d in temperature.differences)


def test_a_deep_optimum_is_found_where_one_is_planted():
    truth = dataclasses.replace(Truth(), temperature_loss_at_25=1.2)
    tables = simulate(dataclasses.replace(Shop(), jobs=900, presets=False), 8, truth).tables
    log = Log.from_tables(dict(tables))
    told = doses(technique_rows(log, build_cohort(log)))
    assert told[0].verdict is Verdict.CLEAR
    assert 320 < told[0].curve.best < 345
    assert all(d.high < 0 for d in told[0].differences)
    assert told[3].verdict is Verdict.CANNOT_TELL


def test_a_few_typed_settings_give_no_curve(found):
    rows = found.rows.copy()
    rows.loc[rows["install_dose_c"].dropna().index[25:], "install_dose_c"] = np.nan
    told = doses(dataclasses.replace(found, rows=rows))
    assert isinstance(told[0], NoDose)
    assert told[0].why == "only 25 typed settings (at least 30 are needed, 5 more)"
    assert isinstance(told[1], Dose)
    rows["install_dose_c"] = np.nan
    assert doses(dataclasses.replace(found, rows=rows))[0].why == "no typed setting (at least 30 are needed)"


def test_a_setting_that_never_changes_gives_no_curve(found):
    rows = found.rows.copy()
    rows["reball_dose_s"] = rows["reball_dose_s"].where(rows["reball_dose_s"].isna(), 40.0)
    assert "fewer than 3 different settings" in doses(dataclasses.replace(found, rows=rows))[3].why


def test_times_read_off_a_dial_in_tens_get_a_flatter_curve_and_a_twin_that_settles(found):
    """Four settings, one of them rare: a curve of three columns had no fit in some twins, and the page was lost."""
    rows = found.rows.copy()
    dial = np.random.default_rng(9).choice([50.0, 60.0, 70.0, 80.0], len(rows), p=[0.42, 0.42, 0.15, 0.01])
    rows["install_dose_s"] = rows["install_dose_s"].where(rows["install_dose_s"].isna(), dial)
    told = doses(dataclasses.replace(found, rows=rows))[1]
    assert isinstance(told, Dose)
    assert sum(told.setting.name in name for name in told.fit.names) == 2
    assert all(-100 <= each.low <= each.points <= each.high <= 100 for each in told.differences)
    dose_twin(told, dataclasses.replace(found, rows=rows), 4, shops=40)


def test_a_setting_is_not_told_while_damage_cannot_be_adjusted_for_and_never_clear_without_the_technician(found):
    typed = found.rows["install_dose_c"].notna()
    told = doses(dataclasses.replace(found, rows=found.rows[typed].head(60)))[0]
    assert isinstance(told, NoDose)
    assert "too few failures to compare boards with the same damage" in told.why
    rows = found.rows[typed].head(150).copy()
    hot = rows["install_dose_c"] > rows["install_dose_c"].median()
    rows["first_boot"] = (np.random.default_rng(2).random(len(rows)) < np.where(hot, 0.5, 0.95)).astype(float)
    told = doses(dataclasses.replace(found, rows=rows))[0]
    assert isinstance(told, Dose)
    assert told.people_unadjusted
    assert told.adjusted_p < 0.01
    assert told.verdict is Verdict.LEANING
    assert "never more than 'leaning'" in dose_words(told)


def test_two_settings_differ_as_the_curve_says():
    rng = np.random.default_rng(5)
    frame = pd.DataFrame({"t": rng.uniform(300, 360, 400)})
    y = (rng.random(400) < 1 / (1 + np.exp((frame["t"] - 330) / 20))).astype(float)
    term = Curve("t", "t", "°C", df=3).fit(frame)
    x = np.column_stack([np.ones(400), term.columns(frame, False)])
    fit = fit_firth(x, y, ("i", "a", "b", "c"), intervals=False)
    found = setting_difference(fit, x, (1, 2, 3), term, 350.0, 310.0)
    moved = [fit.chance(np.column_stack([np.ones(1), term.at(np.array([v]))])).mean() for v in (350.0, 310.0)]
    assert found.points == pytest.approx(100 * (moved[0] - moved[1]))
    assert found.low < found.points < found.high < 0
    same = setting_difference(fit, x, (1, 2, 3), term, 330.0, 330.0)
    assert same.points == same.low == same.high == 0


def test_hot_and_short_are_meant_against_the_benchs_own_middle():
    style = install_style(pd.Series([300, 340, 340, 300, 320, np.nan]), pd.Series([90, 50, 90, 50, 70, 50]))
    assert style.tolist() == [LOW_LONG, HOT_SHORT, "neither", "neither", "neither", None]


def test_pads_lost_add_up_and_those_gone_before_are_counted_apart(log):
    cohort = build_cohort(log)
    pads = pad_rows(log, cohort)
    found = damage_steps(pads)
    assert sum(row.pads for row in found.steps) == sum(row.pads for row in found.spots) == found.lost
    sides, dated = log.tables["chip_sides"], set(cohort.first_boots["job_id"]) - cohort.undated.jobs
    gone = sides[sides["pads_lost_at"].eq("found") & sides["job_id"].isin(dated)]
    assert (found.gone.pads, found.gone.sides) == (gone["pads_lost_n"].sum(), len(gone))
    assert not found.pads.rows["lost_at"].eq("found").any()
    assert pads.ledger.rows_used == len(pads.rows) == sum(row.lost.n for row in found.spots)


def test_a_blade_costs_pads_as_planted_and_losses_vary_more_than_poisson(log):
    found = damage_steps(pad_rows(log, build_cohort(log)))
    assert found.fit.kind == "negative binomial"
    ratio = {r.label: r for r in found.ratios}
    assert ratio["blade: used"].low > 1
    assert ratio["each pad grade found worse"].low > 1
    heat = ratio["each 10 °C of removal set temperature"]
    assert heat.low < 1 < heat.high


def test_work_after_the_first_boot_test_changes_no_count_of_pads(log):
    sides = log.tables["chip_sides"].copy()
    later = sides["before_test_no"].gt(1).fillna(False).to_numpy(bool)
    sides.loc[later, "pads_lost_n"] = 9
    changed = dataclasses.replace(log, tables=dict(log.tables) | {"chip_sides": sides})
    before, after = (pad_rows(each, build_cohort(each)) for each in (log, changed))
    pd.testing.assert_frame_equal(before.rows, after.rows)


def test_few_losses_give_no_model(log):
    pads = pad_rows(log, build_cohort(log))
    few = pads.rows[pads.rows["pads_lost"].eq(0) | (pads.rows.index < 60)].reset_index(drop=True)
    found = damage_steps(PadRows(few, pads.found_gone, pads.ledger))
    assert found.fit is None
    lost, sides = int((few["pads_lost"] > 0).sum()), len(few)
    more = math.ceil((20 - lost) * sides / lost)
    assert found.why == (
        f"only {lost} of {sides} sides lost a pad (at least 20 are needed; at the pace so far about {more} more sides)"
    )
    none = damage_steps(PadRows(few[few["pads_lost"].eq(0)], pads.found_gone, pads.ledger))
    assert none.why.endswith("lost a pad (at least 20 are needed)"), "no pace is known"
