"""What changed: the planted lot is found, nothing is made of nothing, counts add up, the interval is about right."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit

from analysis.cohort.features import build_cohort
from analysis.demo.shop import Shop
from analysis.demo.simulator import simulate
from analysis.errors import ModelError
from analysis.models.firth import fit_firth
from analysis.models.standardise import Rows, toll
from analysis.questions.expected import fit_expected
from analysis.questions.verdicts import Verdict
from analysis.questions.what_changed import what_changed
from analysis.records.log import Log
from tests.months import Months, days_of

NEW_YEAR = pd.Timestamp(2024, 1, 1)


@pytest.fixture(scope="module")
def shop():
    log = Log.from_tables(simulate(Shop(jobs=1500), 2).tables)
    cohort = build_cohort(log)
    return log, cohort, fit_expected(cohort, pd.Timestamp("2023-11-01"))


def _jobs(cohort, first, last):
    rows = cohort.first_boots
    return rows.loc[rows["first_boot_date"].between(first, last), "job_id"].tolist()


def test_a_planted_lot_is_ranked_first_and_said_to_be_clear(shop):
    log, cohort, model = shop
    found = what_changed(log, cohort, model, _jobs(cohort, "2023-12-01", "2024-02-29"))
    first = found.listed[0]
    assert (first.column, first.code, first.verdict) == ("donor_lot", "LOT-19", Verdict.CLEAR)
    assert first.share > 0.3 > first.share_before
    assert first.toll.low > 1
    assert found.explained
    assert found.exploratory
    # Log odds were lowered by 2.08: the interval must know of it.
    assert first.toll.low < 8 < first.toll.high


def test_counts_of_a_candidate_add_up(shop):
    log, cohort, model = shop
    ids = _jobs(cohort, "2023-12-01", "2024-02-29")
    found = what_changed(log, cohort, model, ids)
    period = cohort.first_boots[cohort.first_boots["job_id"].isin(ids)]
    assert found.jobs + found.unseen == len(period)
    assert found.observed == period["first_boot"].sum()
    lot = next(c for c in found.candidates if c.code == "LOT-19")
    mine = period[period["donor_lot"].eq("LOT-19")]
    assert (lot.n, lot.failed) == (len(mine), mine["first_boot"].eq(0).sum())
    assert lot.recorded == period["donor_lot"].notna().sum()
    before = cohort.first_boots[cohort.first_boots["first_boot_date"].lt(period["first_boot_date"].min())]
    before = before[model.chances(before).notna() & before["known_good"].notna() & ~before["job_id"].isin(ids)]
    donors = [each for each in found.candidates if each.column == "known_good"]
    assert donors
    for each in donors:
        assert each.share_before == pytest.approx(before["known_good"].eq(each.code).mean())
    assert [c.toll.p for c in found.candidates] == sorted(c.toll.p for c in found.candidates)
    assert all(c.adjusted_p >= c.toll.p for c in found.candidates)


def test_later_jobs_change_nothing_of_what_a_past_period_is_told(shop):
    log, cohort, model = shop
    ids = _jobs(cohort, "2023-12-01", "2024-02-29")
    rows = cohort.first_boots
    cut = dataclasses.replace(cohort, first_boots=rows[rows["first_boot_date"].le("2024-02-29")])
    assert what_changed(log, cohort, model, ids) == what_changed(log, cut, model, ids)


def test_quiet_months_are_seldom_explained():
    explained = []
    for k in range(12):
        log = Log.from_tables(simulate(dataclasses.replace(Shop(), bad_lot=False), 300 + k).tables)
        cohort = build_cohort(log)
        model = fit_expected(cohort, NEW_YEAR)
        for first, last in (("2024-02-01", "2024-04-30"), ("2024-05-01", "2024-07-31")):
            explained.append(what_changed(log, cohort, model, _jobs(cohort, first, last)).explained)
    # Leaning is said at a family-wise 20 %; three Monte Carlo errors of 24 periods are 24 points.
    assert np.mean(explained) <= 0.20 + 3 * np.sqrt(0.2 * 0.8 / len(explained))


def test_jobs_without_a_first_boot_are_refused_in_words(shop):
    log, cohort, model = shop
    with pytest.raises(ModelError, match="None of the jobs") as stop:
        what_changed(log, cohort, model, ["nobody"])
    assert stop.value.todo == "Choose a month or a signal with tested jobs."


@pytest.mark.parametrize(("blanks", "verdict"), [(False, Verdict.CLEAR), (True, Verdict.LEANING)])
def test_failures_without_a_word_on_preheat_are_no_clear_explanation(shop, blanks, verdict):
    """Nine in ten successes of the period have a preheat noted, three in ten failures."""
    log, cohort, model = shop
    ids = _jobs(cohort, "2023-06-01", "2023-09-30")
    rows = cohort.first_boots.copy()
    mine, drawn = rows["job_id"].isin(ids), np.random.default_rng(3).random(len(rows))
    noted = (drawn < np.where(rows["first_boot"].eq(1), 0.9, 0.3)).astype(float)
    rows["install_preheat"] = np.where(mine, noted, 1.0)
    cohort = dataclasses.replace(cohort, first_boots=rows, blanks_as_cold=blanks)
    first = what_changed(log, cohort, model, ids).listed[0]
    assert (first.column, first.code, first.verdict) == ("install_preheat", "0.0", verdict)


def _rows(rng, n, effect, fall=0.0):
    group = rng.random(n) < 0.4
    offset = rng.normal(0.8, 0.5, n)
    return Rows((rng.random(n) < expit(offset + fall + effect * group)).astype(float), offset, group)


def test_a_fall_of_everything_alike_is_not_laid_on_a_new_group():
    rng = np.random.default_rng(5)
    before = Rows(np.ones(200) * (np.arange(200) < 140), np.full(200, 0.8), np.zeros(200, dtype=bool))
    small = [toll(_rows(rng, 60, 0.0, fall=-1.5), before).p < 0.05 for _ in range(200)]
    assert np.mean(small) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)


def test_a_group_that_always_cost_as_much_is_no_change():
    rng = np.random.default_rng(6)
    found = toll(_rows(rng, 400, -1.5), _rows(rng, 4000, -1.5))
    assert found.low > 1, "it goes with failure"
    assert found.lost_low < 0 < found.lost_high, "but as much as ever"
    assert found.p > 0.05


def test_the_interval_of_what_a_group_cost_holds_it_about_as_often_as_it_says():
    rng = np.random.default_rng(7)
    none = Rows(np.array([1.0, 0.0]), np.zeros(2), np.zeros(2, dtype=bool))
    held = []
    for _ in range(400):
        rows = _rows(rng, 60, -1.5)
        own = rows.offset[rows.group]
        real = (expit(own) - expit(own - 1.5)).sum()
        found = toll(rows, none)
        held.append(found.lost_low <= real <= found.lost_high)
    assert 0.91 <= np.mean(held) <= 0.99


def test_a_cost_worked_by_hand():
    # Without intake facts to tell jobs apart, others succeed in 30 of 40, the group in 5 of 20: as the others, it
    # would have had 15 and so lost about 10; the penalty pulls both shares a little towards one half.
    group = np.repeat([False, True], [40, 20])
    y = np.concatenate([np.arange(40) < 30, np.arange(20) < 5]).astype(float)
    rows = Rows(y, np.zeros(60), group)
    none = Rows(np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool))
    found = toll(rows, none)
    others, own = 30.5 / 41, 5.5 / 21
    assert found.lost == pytest.approx(20 * (others - own), abs=1e-6)
    assert np.log(found.odds_ratio) == pytest.approx(logit(others) - logit(own), abs=1e-6)


def _counts(group: tuple[int, int], others: tuple[int, int]) -> Rows:
    """Rows from (jobs, failed) of a group and of the others, all alike at intake."""
    y = np.concatenate([np.arange(n) >= failed for n, failed in (group, others)]).astype(float)
    return Rows(y, np.full(len(y), 1.0), np.arange(len(y)) < group[0])


def test_without_jobs_before_the_profile_gives_the_p_of_the_penalised_fit():
    none = Rows(np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool))
    for group, others in (((3, 3), (20, 6)), ((12, 12), (30, 10)), ((8, 0), (30, 20)), ((40, 20), (50, 20))):
        rows = _counts(group, others)
        x = np.column_stack([np.ones(len(rows.y)), rows.group.astype(float)])
        fit = fit_firth(x, rows.y, ("all", "group"), offset=rows.offset)
        assert toll(rows, none).p == pytest.approx(fit.p[1], rel=0.01)


def test_the_interval_of_the_cost_and_its_p_never_contradict_each_other():
    rng = np.random.default_rng(8)
    for _ in range(60):
        found = toll(_rows(rng, 30, -1.2), _rows(rng, 300, -0.4))
        assert (found.p < 0.05) == (not found.lost_low <= 0 <= found.lost_high)


def test_a_share_that_grew_is_part_of_the_test():
    # As bad as ever, but two of three jobs instead of one of ten.
    grown = toll(_counts((32, 24), (16, 2)), _counts((34, 26), (306, 60)))
    assert grown.lost_low > 5
    assert grown.p < 0.01


def test_a_group_that_always_cost_as_much_is_found_no_oftener_than_stated_though_its_share_moves_by_chance():
    rng = np.random.default_rng(9)
    p = [toll(_rows(rng, 60, -1.5), _rows(rng, 900, -1.5)).p for _ in range(200)]
    assert np.mean(np.array(p) < 0.05) <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)


def _month_of_lots(lots, fails, before):
    """A log whose last month takes its lots and failures as given; ``before`` gives those of earlier jobs."""
    donors = [{"donor_id": f"D{k}", "lot": f"L-{k}", "known_good": "full_boot"} for k in range(4)]
    months = Months(donors=donors)
    for month in pd.period_range("2024-01", "2025-05", freq="M"):
        for k, day in enumerate(days_of(str(month), 20)):
            lot, boots = before(k)
            months.add(day, boots, donor_id=f"D{lot}", intake_damage=("drop", "liquid")[(k // 2) % 2])
    names = [
        months.add(day, not fails(k), donor_id=f"D{lots(k)}", intake_damage=("drop", "liquid")[(k // 4) % 2])
        for k, day in enumerate(days_of("2025-06", 24))
    ]
    log = months.log()
    cohort = build_cohort(log)
    return what_changed(log, cohort, fit_expected(cohort, pd.Timestamp("2025-06-01")), names)


def test_of_two_levels_the_one_that_did_worse_is_told_though_it_is_the_commoner():
    rng = np.random.default_rng(10)
    found = _month_of_lots(
        lots=lambda k: 0 if k % 4 == 0 else 1,
        fails=lambda k: k % 4 != 0,
        before=lambda _: (0, bool(rng.random() < 0.7)),
    )
    assert (found.listed[0].column, found.listed[0].code, found.listed[0].n) == ("donor_lot", "L-1", 18)
    assert found.listed[0].verdict is Verdict.CLEAR
    assert sum(each.column == "donor_lot" for each in found.candidates) == 1, "one test for the pair"


def test_a_lot_as_bad_as_ever_that_took_over_explains_the_fall():
    rng = np.random.default_rng(11)

    def before(k):
        lot = 3 if k % 10 == 4 else k % 3
        return lot, bool(rng.random() < (0.25 if lot == 3 else 0.8))

    lots = lambda k: 3 if k % 3 else (k // 3) % 3  # noqa: E731
    found = _month_of_lots(lots, fails=lambda k: k % 4 != 1 if k % 3 else k == 3, before=before)
    assert found.listed[0].code == "L-3"
    assert found.listed[0].verdict is not Verdict.CANNOT_TELL
    assert found.listed[0].toll.lost_low > 0


def test_a_lot_that_replaced_the_other_wholly_is_named_though_nothing_can_be_compared():
    rng = np.random.default_rng(12)
    found = _month_of_lots(lots=lambda _: 1, fails=lambda k: k % 3 != 0, before=lambda _: (0, bool(rng.random() < 0.8)))
    assert not any(each.column == "donor_lot" for each in found.candidates)
    (lot,) = [each for each in found.took_over if each.column == "donor_lot"]
    assert (lot.code, lot.n, lot.recorded, lot.before, lot.failed) == ("L-1", 24, 24, 0, 16)
    assert (lot.factor, lot.level) == ("donor lot", "L-1")
    assert lot.recorded_before == found.before
    # What stays as it was has not taken over.
    assert not any(each.column == "known_good" for each in found.took_over)


def _lot_and_person(person_alone):
    """24 jobs: lot 3 is new, most of its boards fail and T1 does most of them; ``person_alone`` are other failures."""
    donors = [{"donor_id": f"D{k}", "lot": f"L-{k}", "known_good": "full_boot"} for k in range(4)]
    months = Months(donors=donors, technicians=[{"technician_id": f"T{k}"} for k in (1, 2, 3)])
    rng = np.random.default_rng(14)
    for month in pd.period_range("2024-01", "2025-05", freq="M"):
        for k, day in enumerate(days_of(str(month), 20)):
            months.add(day, bool(rng.random() < 0.85), donor_id=f"D{k % 3}", technician_id=f"T{k % 3 + 1}")
    names = []
    for k, day in enumerate(days_of("2025-06", 24)):
        lot, person = (3, 1) if k < 10 else (k % 3, 1 if k < 14 else 2 + k % 2)
        fails = k < 9 or k in person_alone
        names.append(months.add(day, not fails, donor_id=f"D{lot}", technician_id=f"T{person}"))
    log = months.log()
    cohort = build_cohort(log)
    return what_changed(log, cohort, fit_expected(cohort, pd.Timestamp("2025-06-01")), names)


def test_a_person_whose_failures_are_the_bad_lot_s_is_not_listed():
    found = _lot_and_person(person_alone=(10,))
    assert (found.listed[0].column, found.listed[0].code) == ("donor_lot", "L-3")
    assert all(each.column != "technician_id" for each in found.listed)
    assert found.covered is not None
    assert (found.covered.person.code, found.covered.person.n, found.covered.person.failed) == ("T1", 14, 10)
    assert (found.covered.by.code, found.covered.shared_failures) == ("L-3", 9)
    assert (found.covered.rest_failed, found.covered.rest) == (1, 4)


def test_of_those_as_sure_what_became_commoner_comes_before_what_was_as_common():
    found = _lot_and_person(person_alone=())
    commoner = [each.became_commoner for each in found.listed if each.verdict is found.listed[0].verdict]
    assert commoner == sorted(commoner, reverse=True)
    lot = found.listed[0]
    assert lot.became_commoner
    assert not dataclasses.replace(lot, share_before=lot.share - 0.05).became_commoner
    assert dataclasses.replace(lot, share_before=float("nan"), recorded_before=0).became_commoner


def test_a_group_that_got_better_explains_no_fall():
    # Before, lot 3 nearly always failed; now it does as well as the others, and all of them fail more.
    rng = np.random.default_rng(12)

    def before(k):
        lot = k % 4
        return lot, bool(rng.random() < (0.05 if lot == 3 else 0.9))

    found = _month_of_lots(lots=lambda k: k % 4, fails=lambda k: (k // 4) % 2 == 0, before=before)
    lot = next(each for each in found.candidates if each.code == "L-3")
    assert lot.verdict is not Verdict.CANNOT_TELL, "its own change is more than chance"
    assert lot.toll.lost < 0
    assert lot not in found.listed


def test_the_short_list_begins_with_the_surest(shop):
    log, cohort, model = shop
    found = what_changed(log, cohort, model, _jobs(cohort, "2023-12-01", "2024-02-29"))
    assert len(found.listed) >= 2
    order = [
        (list(Verdict).index(c.verdict), c.column == "technician_id", not c.became_commoner, c.toll.p)
        for c in found.listed
    ]
    assert order == sorted(order)
