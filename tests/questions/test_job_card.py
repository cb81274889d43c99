"""The card of a job: order of work, usual ranges of earlier jobs only, nothing of money or guesses."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.errors import ReworkError
from analysis.questions.job_card import job_card
from analysis.records.log import Log
from tests.tables import boot, closed, job, log_of


def _step(job_id, set_temp_c, step_no=1, **values):
    base = {"job_id": job_id, "chip_role": "processor", "step_no": step_no, "step_type": "install", "station_id": "S1"}
    return base | {"set_temp_c": set_temp_c, "entry_kind": "typed", "before_test_no": 1} | values


def _bench(**more):
    """Eleven earlier jobs at 300, 310, … 400 °C, one later job, and the one looked at."""
    jobs = [job(f"E{i}", received_date="2025-06-01") for i in range(11)]
    jobs += [job("LATE", received_date="2026-03-01"), closed("ME", guessed_success_pct=70, fee_amount=300)]
    steps = [_step(f"E{i}", 300 + 10 * i) for i in range(11)] + [_step("LATE", 100)]
    return log_of(
        jobs=jobs,
        heat_steps=[*steps, *more.get("heat_steps", [_step("ME", 395)])],
        boot_tests=more.get("boot_tests", [boot("ME", 1, "short"), boot("ME", 2, "data_readable")]),
        chip_sides=more.get("chip_sides", []),
    )


def _temperature(card, at=0):
    steps = [entry for entry in card.entries if entry.kind == "heat step"]
    return next(detail for detail in steps[at].details if detail.column == "set_temp_c")


def test_the_usual_range_is_that_of_earlier_jobs_of_the_same_station():
    other = [_step("ME", 395), _step("E3", 500, step_no=2, station_id="S2")]
    found = _temperature(job_card(_bench(heat_steps=other), "ME"))
    assert (found.low, found.high, found.n) == (310.0, 390.0, 11)
    assert found.outside
    assert (found.text, found.unit) == ("395", "°C")


def test_a_value_inside_and_an_unchanged_preset_are_not_unusual():
    steps = [_step("ME", 390), _step("ME", 450, step_no=2, entry_kind="preset")]
    card = job_card(_bench(heat_steps=steps), "ME")
    assert not _temperature(card, 0).outside
    assert not _temperature(card, 1).outside
    assert card.outside == 0


def test_what_a_thermocouple_read_is_judged_though_the_station_ran_a_preset():
    earlier = [_step(f"E{i}", 300, measured_peak_c=230.0 + i, entry_kind="preset") for i in range(11)]
    mine = [_step("ME", 450, entry_kind="preset", measured_peak_c=262.0)]
    steps = log_of(heat_steps=earlier + mine).tables["heat_steps"]
    card = job_card(Log.from_tables(_bench().tables | {"heat_steps": steps}), "ME")
    (step,) = [entry for entry in card.entries if entry.kind == "heat step"]
    peak = next(detail for detail in step.details if detail.column == "measured_peak_c")
    assert (peak.low, peak.high, peak.n) == (231.0, 239.0, 11)
    assert peak.outside
    assert not _temperature(card).outside


def test_presets_of_earlier_jobs_take_no_part_and_too_few_jobs_give_no_range():
    log = _bench()
    steps = log.tables["heat_steps"].copy()
    steps.loc[steps["job_id"].isin(["E0", "E1"]), "entry_kind"] = "preset"
    found = _temperature(job_card(Log.from_tables(log.tables | {"heat_steps": steps}), "ME"))
    assert found.n == 9
    assert np.isnan(found.low)
    assert not found.outside


def test_a_blank_is_not_taken_for_typed_unless_the_log_never_says_which():
    log = _bench(heat_steps=[_step("ME", 450)])
    steps = log.tables["heat_steps"].copy()
    steps.loc[steps["job_id"].isin(["E0", "E1"]), "entry_kind"] = None
    assert _temperature(job_card(Log.from_tables(log.tables | {"heat_steps": steps}), "ME")).n == 9
    mute = log.tables["heat_steps"].assign(entry_kind=lambda each: each["entry_kind"].mask(each["job_id"].eq("ME")))
    found = _temperature(job_card(Log.from_tables(log.tables | {"heat_steps": mute}), "ME"))
    assert (found.n, found.outside) == (11, False)
    never = log.tables["heat_steps"].assign(entry_kind=lambda each: each["entry_kind"].mask(each["job_id"].notna()))
    found = _temperature(job_card(Log.from_tables(log.tables | {"heat_steps": never}), "ME"))
    assert (found.n, found.outside) == (11, True)


def test_the_timeline_puts_work_before_its_test_and_undated_work_last():
    steps = [_step("ME", 330), _step("ME", 340, step_no=2, before_test_no=2), _step("ME", 350, step_no=3)]
    steps[2]["before_test_no"] = None
    sides = [{"job_id": "ME", "chip_role": "storage", "side": "lower", "before_test_no": 1, "clean_passes_n": 2}]
    card = job_card(_bench(heat_steps=steps, chip_sides=sides), "ME")
    got = [(entry.kind, entry.before_test) for entry in card.entries]
    assert got == [
        ("side", 1),
        ("heat step", 1),
        ("boot test", 1),
        ("heat step", 2),
        ("boot test", 2),
        ("heat step", None),
    ]


def test_work_without_a_test_number_belongs_to_the_only_test():
    step = _step("ME", 330)
    step["before_test_no"] = None
    card = job_card(_bench(heat_steps=[step], boot_tests=[boot("ME", 1, "short")]), "ME")
    assert card.entries[0].before_test == 1


def test_money_and_the_guess_are_not_on_the_card():
    told = {fact.column for fact in job_card(_bench(), "ME").facts}
    assert not told & {"fee_amount", "fee_basis", "donor_cost", "guessed_success_pct", "job_id"}
    assert {"intake_damage", "outcome", "bench_hours"} <= told


def test_an_unknown_job_is_refused_in_words():
    with pytest.raises(ReworkError, match="no job 'NONE'"):
        job_card(_bench(), "NONE")


def test_about_a_fifth_of_usual_settings_lies_outside_the_middle_eighty_percent():
    log = Log.from_tables(simulate(dataclasses.replace(Shop(), gaps=False, presets=False), 5).tables)
    ids = log.tables["heat_steps"]["job_id"].unique()[-60:]
    seen = [d for k in ids for entry in job_card(log, k).entries for d in entry.details if d.column == "set_temp_c"]
    outside = np.mean([d.outside for d in seen if d.n])
    assert 0.08 < outside < 0.28
