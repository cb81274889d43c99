"""Property-based corruption of the demo log: what changes the meaning is reported at its cell; nothing is missed."""

from __future__ import annotations

import random

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.hostile import corruption
from tests.hostile.corruption import HARMLESS_KINDS, KINDS, clean, judge
from tests.hostile.demo_log import Case, demo

# The cases differ from run to run of the table only by its seed; here hypothesis looks for one that is missed.
STEADY = {"deadline": None, "derandomize": True, "suppress_health_check": list(HealthCheck), "phases": [Phase.generate]}


@pytest.mark.parametrize("kind", KINDS)
def test_two_of_each_kind_are_reported_or_harmless(kind):
    verdicts, why = corruption.tried(kind, 2, seed=1)
    assert not why
    assert verdicts.total() == 2


@pytest.mark.slow
@settings(max_examples=1000, **STEADY)
@given(st.sampled_from(sorted(KINDS)), st.integers(0, 2**32))
def test_a_thousand_corruptions_are_reported_or_harmless(kind, source):
    verdict = judge(KINDS[kind](random.Random(source)), kind in HARMLESS_KINDS)
    assert verdict.word != "missed", verdict.why


def test_every_kind_is_reported_at_least_sometimes_and_harmless_kinds_never():
    kinds = {name: corruption.tried(name, 3)[0] for name in ("date in another order", "harmless: blank lines")}
    assert kinds["date in another order"]["reported"]
    assert kinds["harmless: blank lines"] == {"unchanged": 3}


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (("heat_steps", 4, "set_temp_c", "231"), "nothing is said"),  # a plausible number: no reader could know
        (("jobs", 0, "board_family", "FAM-B"), "nothing is said"),
    ],
)
def test_the_judge_sees_what_is_missed(spoil, why):
    verdict = judge(demo().with_cell(*spoil), harmless=False)
    assert verdict.word == "missed"
    assert why in verdict.why


def test_the_judge_sees_a_second_change_beside_the_reported_one():
    first = demo().with_cell("jobs", 0, "bench_hours", "900")
    rows = first.data.decode().splitlines()
    rows[5] = rows[5].replace("FAM-", "FAMILY-", 1)
    both = Case("jobs", ("\n".join(rows) + "\n").encode(), first.places, rows_kept=True)
    assert "without a word" in judge(both, harmless=False).why


def test_the_judge_holds_harmless_kinds_to_the_hash():
    assert judge(demo().with_cell("jobs", 0, "bench_hours", "7"), harmless=True).word == "missed"
    assert clean().hash
