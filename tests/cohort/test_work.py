"""Work before a boot test, and nothing else, enters the features of that test."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.cohort.features import build_cohort
from analysis.cohort.work import centre_by_station, work_before
from tests.tables import boot, closed, log_of

WANTED = pd.DataFrame({"job_id": ["A"], "test_no": [1.0]})


def side(chip="processor", which="lower", before=1, **values):
    return {"job_id": "A", "chip_role": chip, "side": which, "before_test_no": before} | values


def step(no, kind="install", before=1, **values):
    base = {"job_id": "A", "chip_role": "processor", "step_no": no, "step_type": kind, "before_test_no": before}
    return base | {"entry_kind": "typed"} | values


def two_test_log(sides=(), steps=()):
    return log_of(
        jobs=[closed("A")],
        boot_tests=[boot("A", 1, "short"), boot("A", 2, "data_readable")],
        chip_sides=list(sides),
        heat_steps=list(steps),
    )


def test_features_by_hand():
    log = two_test_log(
        sides=[
            side(
                clean_passes_n=3,
                pad_grade_found=1,
                pads_lost_n=2,
                ball_alloy="sn63pb37",
                ball_reset=True,
            ),
            side("storage", clean_passes_n=2, pad_grade_found=2, pads_lost_n=0, blade_used=True),
            side("memory", clean_passes_n=1, pad_grade_found=4, reball_tries_n=2),
            side("processor", "landing"),
        ],
        steps=[
            step(1, "removal", set_temp_c=360),
            step(2, "preheat"),
            step(3, set_temp_c=325, step_s=70),
            step(4, set_temp_c=335, step_s=80),
        ],
    )
    row = work_before(log, WANTED)[0].iloc[0]
    assert row["clean_passes_per_side"] == 2.0
    assert row["pad_grade_found_worst"] == 2.0, "the memory is replaceable: its pads do not count"
    assert row["pads_lost_n"] == 2.0
    assert row["pads_lost_band"] == "1 to 3"
    assert row["reball_tries_n"] == 2.0
    assert row["blade_used"] == 1.0
    assert row["ball_alloy"] == "sn63pb37"
    assert row["ball_reset"] == 1.0
    assert (row["install_set_temp_c"], row["install_s"]) == (335.0, 80.0)
    assert row["install_preheat"] == 1.0
    assert row["melts_n"] == 3.0


@pytest.mark.parametrize(
    ("lost", "band"), [(0, "none"), (1, "1 to 3"), (3, "1 to 3"), (4, "4 or more"), (40, "4 or more")]
)
def test_bands_of_pads_lost(lost, band):
    row = work_before(two_test_log(sides=[side(pads_lost_n=lost)]), WANTED)[0].iloc[0]
    assert row["pads_lost_band"] == band


def test_blank_counts_stay_blank_and_are_not_zero():
    row = work_before(two_test_log(sides=[side()]), WANTED)[0].iloc[0]
    assert row[["clean_passes_per_side", "pad_grade_found_worst", "pads_lost_n"]].isna().all()
    assert row["pads_lost_band"] is np.nan or pd.isna(row["pads_lost_band"])


def test_an_unchanged_preset_says_nothing_about_temperature():
    row = work_before(two_test_log(steps=[step(1, set_temp_c=330, entry_kind="preset")]), WANTED)[0].iloc[0]
    assert np.isnan(row["install_set_temp_c"])
    assert row["install_temp_entry"] == "unchanged preset"


def test_later_work_is_seen_by_later_tests_only():
    log = two_test_log(sides=[side(clean_passes_n=2), side(before=2, clean_passes_n=6)])
    wanted = pd.DataFrame({"job_id": ["A", "A"], "test_no": [1.0, 2.0]})
    assert work_before(log, wanted)[0]["clean_passes_per_side"].tolist() == [2.0, 4.0]


def test_undated_work_is_left_out_and_counted_only_where_it_could_be_later():
    log = two_test_log(sides=[side(before=None, clean_passes_n=5)], steps=[step(1, before=None)])
    work, undated = work_before(log, WANTED)
    assert work["clean_passes_per_side"].isna().all()
    assert (undated.sides, undated.steps) == (1, 1)
    single = log_of(
        jobs=[closed("A")], boot_tests=[boot("A", 1, "short")], chip_sides=[side(before=None, clean_passes_n=5)]
    )
    work, undated = work_before(single, WANTED)
    assert work["clean_passes_per_side"].tolist() == [5.0]
    assert undated.sides == 0


def test_stations_are_centred_on_the_common_median():
    steps = pd.DataFrame({"station_id": ["S1", "S1", "S2", "S2"], "set_temp_c": [320.0, 340.0, 330.0, 350.0]})
    assert centre_by_station(steps, "set_temp_c").tolist() == [325.0, 345.0, 325.0, 345.0]
    one = steps.assign(station_id="S1")
    assert centre_by_station(one, "set_temp_c").tolist() == one["set_temp_c"].tolist()


def test_an_install_without_a_preheat_is_cold_only_where_the_log_ever_keeps_preheats():
    def preheats(*steps):
        return build_cohort(two_test_log(steps=steps)).first_boots["install_preheat"].tolist()

    assert np.isnan(preheats(step(1))).all()
    assert preheats(step(1, preheat_c=150)) == [1.0]
    assert preheats(step(1), step(2, "touch_up", before=2, preheat_c=150)) == [0.0]


def test_once_a_log_says_that_there_was_no_preheat_a_blank_is_not_recorded():
    def preheats(*noted, extra=()):
        steps = [step(1, preheat_c=degrees) | {"job_id": job} for job, degrees in zip("ABC", noted, strict=True)]
        log = log_of(
            jobs=[closed(job) for job in "ABC"],
            boot_tests=[boot(job, 1, "data_readable") for job in "ABC"],
            heat_steps=[*steps, *extra],
        )
        cohort = build_cohort(log)
        rows = cohort.first_boots
        return rows["install_preheat"].tolist(), cohort.blank_preheats(rows)

    assert preheats(150, None, None) == ([1.0, 0.0, 0.0], 2), "a log that never says none: the blanks are counted"
    told, blanks = preheats(150, 0, None)
    assert told[:2] == [1.0, 0.0]
    assert np.isnan(told[2])
    assert blanks == 0
    assert np.isnan(preheats(0, None, None)[0][1])
    own_step = step(2, "preheat") | {"job_id": "C"}
    assert preheats(150, 0, None, extra=[own_step])[0] == [1.0, 0.0, 1.0], "a preheat noted as a step of its own"
    at_nought = step(2, "preheat", preheat_c=0) | {"job_id": "C"}
    assert preheats(150, 0, None, extra=[at_nought])[0] == [1.0, 0.0, 0.0], "a preheat step at 0 was none"
    later = step(3, before=2, preheat_c=0) | {"job_id": "A"}
    assert preheats(150, None, None, extra=[later])[0] == [1.0, 0.0, 0.0], "work after test 1 changes nothing before it"


def test_no_work_at_all_gives_blanks_not_errors():
    work, undated = work_before(log_of(jobs=[closed("A")]), WANTED)
    assert len(work) == 1
    assert work["melts_n"].isna().all()
    assert (undated.sides, undated.steps) == (0, 0)


def test_altering_all_later_work_changes_no_first_boot_feature():
    def log(passes, temperature, lost):
        return two_test_log(
            sides=[side(clean_passes_n=2), side(before=2, clean_passes_n=passes, pads_lost_n=lost)],
            steps=[step(1, set_temp_c=330), step(2, "touch_up", before=2, set_temp_c=temperature, station_id="S9")],
        )

    once, twice = build_cohort(log(1, 250, 0)).first_boots, build_cohort(log(8, 450, 90)).first_boots
    pd.testing.assert_frame_equal(once, twice)


def test_a_preheat_step_counts_for_the_install_it_comes_before_and_not_for_a_removal():
    """The board preheated for a removal is the client's; the install is on the donor."""

    def preheats(*steps):
        return work_before(two_test_log(steps=steps), WANTED)[0]["install_preheat"].tolist()

    said = {"preheat_c": 0}
    assert preheats(step(1, "preheat"), step(2, "removal"), step(3, **said)) == [0.0]
    assert preheats(step(1, "removal"), step(2, "preheat"), step(3, **said)) == [1.0]
    assert preheats(step(1, "preheat"), step(2, "removal"), step(3, "preheat"), step(4, **said)) == [1.0]
    assert preheats(step(1, "preheat"), step(2), step(3, "touch_up"), step(4, "removal", before=2)) == [1.0]
    again = [step(1, "preheat"), step(2), step(3, "removal", before=2), step(4, before=2, **said)]
    wanted = pd.DataFrame({"job_id": ["A", "A"], "test_no": [1.0, 2.0]})
    assert work_before(two_test_log(steps=again), wanted)[0]["install_preheat"].tolist() == [1.0, 0.0]
