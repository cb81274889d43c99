"""The comparison of technicians: by hand, direction, invariance, its twin, and learning."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.special import expit, logit

from analysis.cli import DEMO
from analysis.cohort.features import build_cohort
from analysis.models.within_group import compare_groups, fit_case_mix
from analysis.questions.technicians import Technicians, compare_technicians
from analysis.questions.technicians_alone import Alone
from analysis.questions.technicians_learning import learning, shared_range
from analysis.questions.technicians_rows import NotComparable
from analysis.questions.technicians_twin import _Twin, technician_twin
from analysis.questions.twin import rng_of
from analysis.questions.verdicts import Verdict, verdict_of_chance
from analysis.records.log import read_log
from analysis.report.technician_words import not_compared_words


@pytest.fixture(scope="module")
def cohort():
    return build_cohort(read_log(DEMO).without_faulty_jobs())


@pytest.fixture(scope="module")
def found(cohort):
    return compare_technicians(cohort, 20, 10.0)


def with_rows(cohort, rows):
    return dataclasses.replace(cohort, first_boots=rows.reset_index(drop=True))


@pytest.mark.parametrize(
    ("above", "verdict"),
    [
        (0.976, Verdict.CLEAR),
        (0.975, Verdict.LEANING),
        (0.024, Verdict.CLEAR),
        (0.901, Verdict.LEANING),
        (0.09, Verdict.LEANING),
        (0.90, Verdict.CANNOT_TELL),
        (0.5, Verdict.CANNOT_TELL),
    ],
)
def test_verdict_words_by_the_chance_on_either_tail(above, verdict):
    assert verdict_of_chance(above) is verdict


def test_counts_are_those_of_the_log(cohort, found):
    rows = cohort.first_boots
    for person in found.people:
        own = rows[rows["technician_id"].eq(person.code).fillna(False)]
        assert (person.raw.x, person.raw.n) == (int(own["first_boot"].sum()), len(own))
    assert found.ledger.rows_used == sum(person.raw.n for person in found.people) == found.bench.n
    assert [p.code for p in found.people] == sorted(p.code for p in found.people)
    assert (found.fit.ledger, found.fit.log_hash) == (found.ledger, cohort.log_hash)
    assert (found.fit.n, found.fit.events) == (found.bench.n, found.bench.x)


def test_limits_without_any_mix_are_those_of_the_binomial(cohort):
    """All boards alike: everyone's chance is the bench's average, so that the limits are binomial."""
    rows = cohort.first_boots.copy()
    for name in ("board_family", "prior_rework", "underfill", "second_damage_seen", "device_class", "intake_damage"):
        rows[name] = "drop"
    rows["device_age_years"] = 3.0
    alike = compare_technicians(with_rows(cohort, rows), 20, 10.0)
    chance = float(expit(alike.centre))
    for person in alike.people:
        assert person.hardness == pytest.approx(chance)
        low, high = stats.binom.ppf([0.025, 0.975], person.raw.n, chance)
        assert (person.limits[0].low, person.limits[0].high) == (low, high)
    few = sorted((p for p in alike.people if p.raw.n < 100), key=lambda p: p.above)
    assert [p.raw.rate for p in few] == sorted(p.raw.rate for p in few)


def test_row_order_and_the_codes_decide_nothing(cohort, found):
    rows = cohort.first_boots.sample(frac=1, random_state=3)
    again = compare_technicians(with_rows(cohort, rows), 20, 10.0)
    np.testing.assert_allclose([p.above for p in again.people], [p.above for p in found.people], atol=1e-7)
    renamed = rows.assign(technician_id=rows["technician_id"].str.replace("T2", "Z2"))
    other = compare_technicians(with_rows(cohort, renamed), 20, 10.0)
    assert other.person("Z2").above == pytest.approx(found.person("T2").above, abs=1e-7)
    assert other.people[-1].code == "Z2"


def test_an_age_in_months_compares_alike(cohort, found):
    rows = cohort.first_boots.assign(device_age_years=12 * cohort.first_boots["device_age_years"])
    again = compare_technicians(with_rows(cohort, rows), 20, 10.0)
    np.testing.assert_allclose([p.above for p in again.people], [p.above for p in found.people], atol=1e-6)


def test_a_success_more_raises_and_a_failure_more_lowers(cohort, found):
    rows = cohort.first_boots
    for before, after in ((0.0, 1.0), (1.0, 0.0)):
        own = np.flatnonzero(rows["technician_id"].eq("T3").fillna(False) & rows["first_boot"].eq(before))[:6]
        changed = rows["first_boot"].copy()
        changed.iloc[own] = after
        moved = compare_technicians(with_rows(cohort, rows.assign(first_boot=changed)), 20, 10.0)
        assert (moved.person("T3").above > found.person("T3").above) == (after == 1.0)


def test_a_small_number_is_left_out_of_the_comparison_but_not_of_the_ledger(cohort):
    shown = compare_technicians(cohort, 80, 10.0)
    assert [p.code for p in shown.people] == ["T2", "T3", "T4"]
    assert ("of technicians with fewer than 80 such jobs each", 128) in shown.ledger.exclusions
    none = compare_technicians(cohort, 1000, 10.0)
    assert isinstance(none, NotComparable)
    assert none.people == 0


def test_what_two_people_still_lack_is_said_of_those_who_have_most(cohort):
    counts = sorted(cohort.first_boots["technician_id"].value_counts(), reverse=True)
    both, one = (compare_technicians(cohort, minimum, 10.0) for minimum in (counts[0] + 5, counts[0]))
    assert (both.lacking, one.lacking) == ((5, counts[0] + 5 - counts[1]), (counts[0] - counts[1],))
    words = not_compared_words(both, counts[0] + 5)
    assert words.endswith(f"still lacking are 5 of one and {both.lacking[1]} of another.")
    assert not_compared_words(one, counts[0]).endswith(f"still lacking are {one.lacking[0]} of another.")


def test_the_twin_compares_as_the_page_does(found):
    twin = _Twin(found)
    rngs = [rng_of(9, k) for k in range(3)]
    at_once = twin.above(np.zeros((3, 5)), rngs)
    for k in range(3):
        rng = rng_of(9, k)
        y = (np.log(1 / rng.random(len(twin.base)) - 1) > -twin.base).astype(float)
        mix = fit_case_mix(twin.within, y)
        np.testing.assert_allclose(at_once[k], compare_groups(twin.within, y, mix).above_mean(), atol=2e-3)


@pytest.fixture(scope="module")
def told(found):
    return technician_twin(found)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_distance_as_told_is_clear_in_four_of_five_logs(found, told, side):
    """The size is read off all people together; it must hold on either side, and for each of them roughly."""
    twin, seen = _Twin(found), []
    for who, each in enumerate(told.detectable):
        distance = each.log_odds_above if side > 0 else -each.log_odds_below
        planted = np.array([twin.one_apart(who, distance)] * 40)
        above = twin.above(planted, [rng_of(100 + who, k) for k in range(40)])[:, who]
        seen.append(((above if side > 0 else 1 - above) > 0.975).mean())
    read = told.smallest_above if side > 0 else told.smallest_below
    assert abs(np.mean(seen) - 0.8) < 3 * np.hypot(0.2 * read.error, np.sqrt(0.8 * 0.2 / 200))
    assert min(seen) > 0.8 - 0.1 - 3 * np.sqrt(0.8 * 0.2 / 40)


def test_more_jobs_show_smaller_differences(cohort, found):
    doubled = with_rows(cohort, cohort.first_boots.loc[np.repeat(cohort.first_boots.index, 3)])
    larger = compare_technicians(doubled, 20, 10.0)
    assert isinstance(larger, Technicians)
    assert (_Twin(larger).se < 0.7 * _Twin(found).se).all()


def test_a_planted_rise_with_earlier_jobs_is_found_and_a_level_line_mostly_is_not(cohort):
    rows = cohort.first_boots
    earlier = rows["experience_jobs"].to_numpy(float, na_value=0.0)
    rng = np.random.default_rng(5)
    verdicts = []
    for slope in (0.0, 0.06):
        y = (rng.random(len(rows)) < expit(0.7 + slope * (earlier - 50))).astype(float)
        told = learning(compare_technicians(with_rows(cohort, rows.assign(first_boot=y)), 20, 10.0))
        verdicts.append(told.verdict)
        if slope:
            assert told.curve.chance[-1] > told.curve.chance[0] + 0.3
    assert verdicts == [Verdict.CANNOT_TELL, Verdict.CLEAR]


def test_the_curve_of_learning_is_drawn_as_far_as_three_people_have_come():
    alike = np.arange(100.0)
    who = pd.Series(["T1"] * 100 + ["T2"] * 100 + ["T3"] * 30)
    assert shared_range(np.concatenate([alike, alike, alike[:30]]), who)[1] == 29
    two = pd.Series(["T1"] * 500 + ["T2"] * 500 + ["T3"] * 5)
    low, high = shared_range(np.concatenate([np.arange(500.0), np.arange(500.0), np.arange(5.0)]), two)
    assert low > high == 4


def test_a_change_for_everyone_does_not_pass_for_learning(cohort):
    """From the middle of the log on nearly all boards boot: a new station, not learning."""
    rows = cohort.first_boots
    quarter = rows["received_date"].dt.to_period("Q")
    late = quarter.ge("2023Q3").to_numpy(bool)
    rng = np.random.default_rng(2)
    p = []
    for _ in range(6):
        y = (rng.random(len(rows)) < np.where(late, 0.9, 0.5)).astype(float)
        told = learning(compare_technicians(with_rows(cohort, rows.assign(first_boot=y)), 20, 10.0))
        p.append(told.p)
    assert np.mean(np.array(p) < 0.05) <= 2 / 6


def test_the_twin_of_a_large_log_tells_the_same_as_drawing_every_job(cohort):
    """Bounds the short way of large logs: on a log of three times the demo's jobs, shares within five in a hundred."""
    larger = with_rows(cohort, cohort.first_boots.loc[np.repeat(cohort.first_boots.index, 3)])
    twin = _Twin(compare_technicians(larger, 20, 10.0))
    rngs = [[rng_of(seed, k) for k in range(100)] for seed in (1, 2)]
    for size in (0.0, 2.5, 3.5):
        planted = np.array([twin.one_apart(k % 5, size * twin.se[k % 5]) for k in range(100)])
        own = np.arange(100), np.arange(100) % 5
        full, short = (way(planted, r)[own] for way, r in zip((twin.above, twin.above_by_estimates), rngs, strict=True))
        error = np.sqrt(2 * 0.25 / 100)
        assert abs((full > 0.975).mean() - (short > 0.975).mean()) < 0.05 + 2 * error
        assert abs(full.mean() - short.mean()) < 0.05 + 2 * error * 0.5


def test_the_rise_as_told_is_seen_in_four_of_five_logs(found):
    """The formula held against simulation with the page's own test."""
    told, rows = learning(found), found.jobs.compared
    counted = rows["experience_jobs"].to_numpy(float)
    base = found.offset + found.centre + told.smallest * (counted - counted.mean()) / 100
    seen = []
    for k in range(24):
        y = found.jobs.y.copy()
        y[found.jobs.within.compared] = np.random.default_rng(k).random(len(base)) < expit(base)
        drawn = dataclasses.replace(found, jobs=dataclasses.replace(found.jobs, y=y))
        seen.append(learning(drawn).p <= 0.05)
    assert abs(np.mean(seen) - 0.8) < 0.05 + 3 * np.sqrt(0.8 * 0.2 / 24)


def test_the_ends_of_that_rise_keep_its_steepness_also_where_it_ends_at_certainty(found, cohort):
    """By hand on boards of one mix: log odds a hundred jobs; on forty jobs no number of points is left to be told."""
    told = learning(found)
    first, last = (logit(end) for end in told.smallest_ends)
    steep = 100 * (last - first) / (told.curve.x[-1] - told.curve.x[0])
    assert steep == pytest.approx(told.smallest, rel=0.1)  # an average of chances is a little flatter than each of them
    few = cohort.first_boots[cohort.first_boots["technician_id"].isin(["T1", "T2"])].groupby("technician_id").head(45)
    small = learning(compare_technicians(with_rows(cohort, few), 20, 10.0))
    assert small.smallest > 4 * told.smallest
    assert small.smallest_ends[0] < 0.3
    assert small.smallest_ends[1] > 0.9


def owning(cohort, owners, rng_seed=3):
    """The cohort's boards, dealt so that only the owners have liquid damage; people alike, liquid boards harder."""
    rows, rng = cohort.first_boots, np.random.default_rng(rng_seed)
    liquid = rows["intake_damage"].eq("liquid").to_numpy(bool)
    others = [code for code in ("T1", "T2", "T3", "T4", "T5") if code not in owners]
    who = np.where(liquid, rng.choice(owners, len(rows)), rng.choice(others, len(rows)))
    y = (rng.random(len(rows)) < expit(1.4 - 1.2 * liquid)).astype(float)
    return with_rows(cohort, rows.assign(technician_id=pd.array(who, dtype="string"), first_boot=y))


@pytest.mark.parametrize("owners", [["T5"], ["T4", "T5"]])
def test_who_alone_has_a_kind_of_board_is_named_and_not_compared(cohort, owners):
    """Person and board cannot be told apart: what the boards cost would pass for the person."""
    found = compare_technicians(owning(cohort, owners), 20, 10.0)
    assert found.jobs.alone == (Alone(tuple(owners), "damage at intake", ("liquid",)),)
    assert [p.code for p in found.people] == [code for code in ("T1", "T2", "T3", "T4", "T5") if code not in owners]
    left = dict(found.ledger.exclusions)["of technicians who cannot be told from their boards"]
    assert left == int(cohort.first_boots["intake_damage"].eq("liquid").sum())
    assert found.ledger.rows_used == found.bench.n
    assert len(technician_twin(found, 4).detectable) == len(found.people)


def test_one_board_in_common_links_a_technician_to_the_others(cohort):
    owned = owning(cohort, ["T5"])
    rows = owned.first_boots.copy()
    rows.loc[rows.index[rows["intake_damage"].eq("drop")][0], "technician_id"] = "T5"
    found = compare_technicians(with_rows(owned, rows), 20, 10.0)
    assert found.jobs.alone == ()
    assert found.person("T5").verdict is Verdict.CANNOT_TELL


def test_a_fact_only_one_technician_leaves_blank_sets_that_one_apart(cohort):
    rows = cohort.first_boots
    mine = rows["technician_id"].eq("T3").fillna(False)
    known = rows["device_age_years"].fillna(3.0)
    found = compare_technicians(with_rows(cohort, rows.assign(device_age_years=known.mask(mine))), 20, 10.0)
    assert found.jobs.alone == (Alone(("T3",), "device age", ("not recorded",)),)


def test_two_people_without_a_board_in_common_are_not_compared(cohort):
    rows = cohort.first_boots
    who = np.where(rows["intake_damage"].eq("liquid"), "A", "B")
    found = compare_technicians(with_rows(cohort, rows.assign(technician_id=pd.array(who, dtype="string"))), 20, 10.0)
    assert isinstance(found, NotComparable)
    assert [each.codes for each in found.alone] == [("A",), ("B",)]
