"""Sheets beside one another: what a reader could work out by subtraction is never fewer jobs than the minimum."""

from __future__ import annotations

import datetime as dt
import itertools
import json
import random

import numpy as np
import pytest

from analysis.errors import LogError, ReworkError
from analysis.questions.differencing import can_be_worked_out, nearly_the_same
from analysis.questions.evidence_classes import merged_until
from analysis.questions.published import Shown, gives_away, read_published
from tests.evidence.sealed import copy_of, rows_of, sealed, sheet, write_rows


def shown(kind, ids, measure="recovered"):
    return Shown(measure, kind, frozenset(map(str, ids)))


@pytest.mark.parametrize(
    ("new", "old", "away"),
    [
        ([("total", range(30))], [("total", range(30))], False),  # the same sheet again
        ([("total", range(30))], [("total", range(27))], True),  # three jobs more
        ([("total", range(30))], [("total", range(20))], False),  # ten more
        ([("total", range(27))], [("total", range(30))], True),
        ([("total", range(30))], [("total", range(100, 130))], False),  # apart
        ([("total", range(3, 33))], [("total", range(30))], True),  # shifted by three on either side
        ([("total", range(3, 45))], [("total", range(30))], False),
        ([("total", range(43))], [("total", range(20)), ("total", range(20, 40))], True),  # the two halves less
        ([("total", range(30)), ("whole log", range(33))], [], True),  # one sheet that leaves three jobs of the log out
        ([("total", range(30)), ("whole log", range(40))], [], False),
        (  # classes put together otherwise: b and c of the new sheet less "b+c" of the old one are three jobs
            [("total", range(53)), ("a", range(20)), ("b", [*range(20, 35), 51]), ("c", [*range(35, 51), 52])],
            [("total", range(50)), ("a", range(20)), ("b+c", range(20, 50))],
            True,
        ),
        (  # the same with totals that differ by enough: only several subtractions together tell of three jobs
            [
                ("total", range(63)),
                ("a", [*range(20), *range(53, 63)]),
                ("b", [*range(20, 35), 50]),
                ("c", [*range(35, 50), 51, 52]),
            ],
            [("total", range(50)), ("a", range(20)), ("b+c", range(20, 50))],
            True,
        ),
        ([("total", range(60))], [("total", range(20)), ("total", range(20, 40))], False),
        ([("drop", range(20)), ("total", range(40))], [("drop", range(18)), ("total", range(40))], True),
    ],
)
def test_what_can_be_worked_out_by_subtraction_is_seen(new, old, away):
    assert gives_away([shown(*each) for each in new], [shown(*each) for each in old], 10) is away


def test_rates_of_different_things_are_not_subtracted_from_one_another():
    assert not gives_away([shown("total", range(30))], [shown("total", range(28), "first_boot")], 10)


def test_no_pair_that_passes_differs_by_a_few_jobs_when_one_holds_the_other():
    rng = random.Random(5)
    for _ in range(300):
        old, new = (set(range(rng.randrange(40), rng.randrange(40, 80))) for _ in range(2))
        if not gives_away([shown("total", new)], [shown("total", old)], 10) and (old <= new or new <= old):
            assert len(old ^ new) == 0 or len(old ^ new) >= 10


def by_rank(sets, minimum):
    """The same question answered job by job and without shortcuts: which small unions raise no rank."""
    jobs = sorted(set().union(*sets))
    equations = np.array([[job in each for job in jobs] for each in sets], float)
    groups = {}
    for at, job in enumerate(jobs):
        groups.setdefault(tuple(equations[:, at]), []).append(job)
    rank = np.linalg.matrix_rank(equations)
    for size in range(1, len(groups) + 1):
        for chosen in itertools.combinations(groups.values(), size):
            union = set().union(*chosen)
            row = np.array([[job in union for job in jobs]], float)
            if len(union) < minimum and np.linalg.matrix_rank(np.vstack([equations, row])) == rank:
                return True
    return False


def test_what_can_be_worked_out_is_what_the_rank_of_the_equations_says():
    rng = random.Random(7)
    seen = set()
    for _ in range(400):
        parts = [{f"{at}-{n}" for n in range(size)} for at, size in enumerate(rng.sample([2, 3, 5, 6, 7, 8], 5))]
        sets = [frozenset().union(*rng.sample(parts, rng.randrange(1, 5))) for _ in range(rng.randrange(2, 6))]
        if any(len(each) < 5 for each in sets):
            continue
        near = any(nearly_the_same(a, b, 5) for a, b in itertools.combinations(sets, 2))
        found = can_be_worked_out(sets, [], 5)
        assert found == (near or by_rank(sets, 5))
        seen.add((near, found))
    assert {(False, False), (False, True)} <= seen


def test_what_old_sheets_told_is_not_held_against_a_new_one():
    old = [frozenset(map(str, range(20))), frozenset(map(str, range(23)))]
    assert can_be_worked_out(old, [], 10)
    assert not can_be_worked_out([frozenset(map(str, range(100, 130)))], old, 10)
    assert not can_be_worked_out(old, old, 10)


def test_classes_are_merged_further_until_nothing_is_given_away():
    sizes = {"drop": 30, "liquid": 20, "heat": 12, "none_seen": 15}
    groups = tuple((name,) for name in sizes)

    def liquid_or_heat_alone(found):
        return ("liquid",) in found or ("heat",) in found

    after = merged_until(groups, sizes, liquid_or_heat_alone)
    assert not liquid_or_heat_alone(after)
    assert sorted(itertools.chain(*after)) == sorted(sizes)
    assert sum(len(group) > 1 for group in after) == 1
    assert merged_until(groups, sizes, lambda found: True) is None


def closed_later(folder, n):
    """Close the last n closed jobs of 2024H1 only after the day of the seal."""
    heads, rows = rows_of(folder / "jobs.csv")
    at = {name: heads.index(name) for name in heads}
    mine = [row for row in rows if "2024-01" <= row[at["received_date"]][:7] <= "2024-06" and row[at["closed_date"]]]
    for row in mine[-n:]:
        row[at["closed_date"]] = "2024-10-01"
    write_rows(folder / "jobs.csv", heads, rows)


def test_a_later_seal_with_a_few_more_closed_jobs_gives_no_second_sheet(tmp_path, demo_log):
    folder = copy_of(demo_log, tmp_path / "log")
    for path in (folder / "seals").iterdir():
        path.unlink()
    closed_later(folder, 4)
    sealed(folder)
    first = sheet(folder, tmp_path).read_bytes()
    sealed(folder, dt.date(2024, 10, 31))
    with pytest.raises(ReworkError, match="would show what became of fewer than 10 jobs"):
        sheet(folder, tmp_path)
    assert (tmp_path / "evidence-2024H1.html").read_bytes() == first


def test_a_year_beside_its_two_halves_is_fine_and_the_same_sheet_is_listed_once(tmp_path, demo_log):
    folder = copy_of(demo_log, tmp_path / "log")
    sheet(folder, tmp_path, half="2023H2")
    sheet(folder, tmp_path, half="2024H1")
    sheet(folder, tmp_path, first="2023-07", last="2024-06")  # the year: nothing beyond the two halves
    every = read_published(folder)
    sheet(folder, tmp_path, first="2023-07", last="2024-06", language="de")
    assert read_published(folder) == every, "the same sheet in another language shows nothing new"
    text = (folder / "seals" / "published.private.jsonl").read_text(encoding="utf-8")
    assert "J-0" not in text
    assert len(text.splitlines()) == 3


def test_months_that_end_a_few_jobs_short_of_a_published_half_year_are_refused(tmp_path, demo_log):
    """The last month loses all but four of its jobs, so that the months before it differ from the half by four."""
    folder = copy_of(demo_log, tmp_path / "log")
    for path in (folder / "seals").iterdir():
        path.unlink()
    heads, rows = rows_of(folder / "jobs.csv")
    day, decision = heads.index("received_date"), heads.index("decision")
    june = [row for row in rows if row[day].startswith("2024-06") and row[decision] == "accepted"]
    for row in june[4:]:
        row[day] = "2024-05-31"
    write_rows(folder / "jobs.csv", heads, rows)
    sealed(folder)
    sheet(folder, tmp_path)
    with pytest.raises(ReworkError, match="fewer than 10 jobs"):
        sheet(folder, tmp_path, first="2024-01", last="2024-05")


def test_a_damaged_list_stops_the_next_sheet(tmp_path, demo_log):
    folder = copy_of(demo_log, tmp_path / "log")
    (folder / "seals" / "published.private.jsonl").write_text(json.dumps({"sheet": "x"}) + "\n", encoding="utf-8")
    with pytest.raises(LogError, match="list of published sheets is damaged"):
        sheet(folder, tmp_path)
    assert not list(tmp_path.glob("*.html"))
