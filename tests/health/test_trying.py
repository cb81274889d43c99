"""A mutant is tried in a copy of the process; killed, survived and timed out are told apart; the file is put back."""

from __future__ import annotations

import os

import pytest

from tests.health import mutation
from tests.health.mutants import Mutant
from tests.health.outcomes import Outcome, as_rows, from_rows, summary, told

TRUE, WRONG = "def double(x):\n    return 2 * x\n", "def double(x):\n    return 3 * x\n"
ENDLESS, BROKEN = "def double(x):\n    while True:\n        pass\n", "def double(x:\n"
TESTS = """from double import double

def test_weak():
    assert double(0) == 0

def test_strong():
    assert double(2) == 4
"""


@pytest.fixture
def trial(tmp_path, monkeypatch):
    if not hasattr(os, "fork"):
        pytest.skip("this system cannot copy a process; mutants are tried where it can")
    (tmp_path / "double.py").write_text(TRUE)
    (tmp_path / "test_double.py").write_text(TESTS)
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    own = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    monkeypatch.setattr(mutation, "environment", lambda root: own | {"PYTHONPATH": str(root)})
    one = mutation.Trial(tmp_path, tmp_path, libraries=())
    yield one
    one.close()


def test_outcomes_are_told_apart_and_the_file_is_put_back(trial):
    both = ["test_double.py::test_weak", "test_double.py::test_strong"]
    assert trial.run(both, 60)["code"] == 0
    assert trial.run(both, 60, "double.py", WRONG) == {"code": 1, "by": "test_double.py::test_strong", "late": False}
    assert trial.run(both[:1], 60, "double.py", WRONG)["code"] == 0
    assert trial.run(both, 60, "double.py", BROKEN)["code"] not in (0, 1)
    late = trial.run(both, 2, "double.py", ENDLESS)
    assert (late["code"], late["late"]) == (None, True)
    assert trial.run(both, 60)["code"] == 0
    assert (trial.root / "double.py").read_text() == TRUE


def test_killers_that_fail_without_a_change_are_named(trial):
    (trial.root / "test_never.py").write_text("def test_never():\n    assert False\n")
    real = outcome("killed", by="test_double.py::test_strong")
    assert mutation.killers_fail_unchanged(trial, [real]) == []
    false = outcome("killed", by="test_never.py::test_never")
    assert mutation.killers_fail_unchanged(trial, [real, false]) == ["test_never.py::test_never"]


def outcome(kind, by="", before="a", number=0, tried=1):
    return Outcome(Mutant("analysis/x.py", 1, number, "swap op"), before, "b", kind, by, tried, 2)


def test_the_score_counts_what_was_noticed_and_equivalents_apart():
    kinds = ["killed"] * 7 + ["timed out"] + ["survived", "not covered"]
    found = [outcome(kind, before=str(at), number=at) for at, kind in enumerate(kinds)]
    same = {found[8].change: "no reader", found[0].change: "wrong"}
    counted = summary(found, same)
    assert counted["counts"] == {"killed": 7, "timed out": 1, "survived": 1, "not covered": 1}
    assert counted["declared_equivalent"] == 1
    assert counted["refuted"] == ["analysis/x.py\n0\nb"]
    # Wilson's 95 % interval of 8 in 10 and 8 in 9, by Newcombe's formula worked by hand.
    assert counted["score_of_all"] == pytest.approx(
        {"noticed": 8, "n": 10, "score": 0.8, "low": 0.4902, "high": 0.9433}, abs=1e-4
    )
    without = counted["score_without_equivalents"]
    assert (without["n"], without["score"]) == (9, pytest.approx(8 / 9))
    assert counted["cut_short"] == 1
    words = told(found, same)
    assert "7 killed, 1 timed out, 1 survived, 1 not covered" in words
    assert "DECLARED EQUIVALENT, YET NOTICED" in words
    assert "declared equivalent: no reader" in words
    assert words.count("  + b") == 2


def test_outcomes_come_back_from_a_file_as_they_were():
    found = [outcome("killed", by="t"), outcome("survived")]
    assert from_rows(as_rows(found)) == found


def test_what_there_was_no_time_to_try_again_stays_unnoticed(tmp_path, monkeypatch):
    kinds = ("killed", "survived", "not covered", "survived")
    before = [outcome(kind, before=str(at), number=at) for at, kind in enumerate(kinds)]
    monkeypatch.setattr(mutation, "_same_change", lambda root, old: old.mutant if old.mutant.number != 1 else None)
    monkeypatch.setattr(mutation, "_try_all", lambda drawn, *_: [outcome("killed", number=drawn[0].number)])
    now, gone, waiting = mutation.try_again(tmp_path, before, None, None)
    assert [(each.mutant.number, each.kind) for each in now] == [(0, "killed"), (2, "killed"), (3, "survived")]
    assert (gone, waiting) == (1, 1)
