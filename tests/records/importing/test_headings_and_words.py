"""Headings and words: which column, chip, step, unit or code they stand for, and that each stands for one only."""

from __future__ import annotations

from collections import Counter

import pytest

from analysis.records.dictionary import BY_NAME, TABLES
from analysis.records.importing import value_words, words
from analysis.records.importing.headings_guess import guess_heading, variants
from analysis.records.importing.mapping import OPEN, column_named
from analysis.records.importing.mapping_check import code_mistake
from analysis.records.importing.words import plain_words

COLUMN_NAMES = {name for listed in TABLES for name in listed.names}


@pytest.mark.parametrize(
    ("heading", "to", "qualifiers"),
    [
        ("CPU pads lost", "chip_sides.pads_lost_n", {"chip": "processor"}),
        ("Pads lost (CPU, upper side)", "chip_sides.pads_lost_n", {"chip": "processor", "side": "upper"}),
        ("NAND clean passes", "chip_sides.clean_passes_n", {"chip": "storage"}),
        ("ufs_clean_passes", "chip_sides.clean_passes_n", {"chip": "storage"}),
        ("RAM reball tries", "chip_sides.reball_tries_n", {"chip": "memory"}),
        ("CPU donor pads lost", "chip_sides.pads_lost_n", {"chip": "processor", "side": "landing"}),
        ("Install temp", "heat_steps.set_temp_c", {"chip": OPEN, "step": "install"}),
        ("NAND removal temp (°C)", "heat_steps.set_temp_c", {"chip": "storage", "step": "removal"}),
        ("Test 1 result", "boot_tests.boot_result", {"test": 1}),
        ("Second boot", "boot_tests.boot_result", {"test": 2}),
        ("Boot test 2 date", "boot_tests.test_date", {"test": 2}),
        ("Donor age", "donors.donor_age_years", {}),
        ("Date received", "jobs.received_date", {}),
        ("RECEIVED", "jobs.received_date", {}),
        ("received_date", "jobs.received_date", {}),
        ("Client phone", "personal", {}),
        ("Remarks", "ignored", {}),
    ],
)
def test_headings_say_chip_side_step_and_test(heading, to, qualifiers):
    guess, _ = guess_heading(heading, "jobs")
    assert guess is not None
    assert guess.sure
    assert guess.column.to == to
    named = {key: getattr(guess.column, key) for key in ("chip", "side", "step", "test") if getattr(guess.column, key)}
    assert named == qualifiers


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Bench time (min)", "min"),
        ("Install temp °F", "°F"),
        ("Install temp (F)", "°F"),
        ("Labour hrs", "hours"),
        ("Donor age [years]", "years"),
        ("Guess %", "%"),
        ("Side C", ""),
        ("Job no (ours)", ""),
    ],
)
def test_units_are_read_from_headings(heading, unit):
    assert variants(heading)[1] == unit


@pytest.mark.parametrize(("heading", "to"), [("Recieved", "jobs.received_date"), ("Hours", "jobs.bench_hours")])
def test_headings_that_are_only_alike_or_loose_are_never_sure(heading, to):
    guess, _ = guess_heading(heading, "jobs")
    assert guess is not None
    assert guess.column.to == to
    assert not guess.sure


def test_a_heading_without_any_likeness_is_not_guessed():
    assert guess_heading("Colour of the tape", "jobs")[0] is None


def test_every_phrase_stands_for_one_column_only_and_is_written_plainly():
    for table_words in (words.PHRASES, words.TEST_PHRASES, words.CHIP_PHRASES, words.STEP_PHRASES, words.DONOR_PHRASES):
        counts = Counter(phrase for phrases in table_words.values() for phrase in phrases)
        assert [phrase for phrase, n in counts.items() if n > 1] == []
        assert [phrase for phrase in counts if phrase != plain_words(phrase)] == []
        assert set(table_words) <= COLUMN_NAMES
    loose = {phrase for phrases in words.LOOSE.values() for phrase in phrases}
    sure = {phrase for phrases in words.PHRASES.values() for phrase in phrases}
    assert not loose & (sure | set(words.PERSONAL) | set(words.IGNORED))
    assert not sure & (set(words.PERSONAL) | set(words.IGNORED))


def test_every_word_for_a_value_stands_for_one_code_that_exists():
    for name, codes in value_words.VALUES.items():
        column = next(listed[name] for listed in TABLES if name in listed.by_name)
        said = Counter(word for listed in codes.values() for word in listed)
        assert [word for word, n in said.items() if n > 1] == [], name
        assert [word for word in said if word != value_words.plain_value(word)] == [], name
        assert [code for code in codes if code_mistake(code, column)] == [], name
        own = {value_words.plain_value(code): code for code in column.codes}
        assert [w for code, listed in codes.items() for w in listed if own.get(w, code) != code] == [], name
        maybe = value_words.MAYBE.get(name, {})
        assert not set(maybe) & set(said), name
        assert set(maybe.values()) <= set(column.codes), name


def test_the_helpers_know_the_dictionary():
    assert column_named("jobs.job_id") is BY_NAME["jobs"]["job_id"]
    assert column_named("jobs.nothing") is None


@pytest.mark.parametrize(
    ("heading", "to", "sure"),
    [
        ("Data back", "jobs.outcome", True),
        ("SoC cleaned (times)", "chip_sides.clean_passes_n", True),
        ("Donor board price", "jobs.donor_cost", True),
        ("Opened by someone before?", "jobs.prior_rework", True),
        ("Min at test 1", "boot_tests.bench_hours_so_far", True),
        ("SoC max temp C", "heat_steps.set_temp_c", False),  # as set, or as measured?
        ("Boot 1 - why not", "jobs.failure_cause", False),
    ],
)
def test_headings_of_an_own_sheet_are_known(heading, to, sure):
    guess, _ = guess_heading(heading, "jobs")
    assert guess is not None
    assert (guess.column.to, guess.sure) == (to, sure)


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Hours", "hours"),
        ("hrs", "hours"),
        ("Min at test 1", "min"),
        ("SoC max temp C", "°C"),
        ("Hours at bench", "hours"),
    ],
)
def test_a_unit_anywhere_in_the_heading_settles_it(heading, unit):
    assert variants(heading)[1] == unit
