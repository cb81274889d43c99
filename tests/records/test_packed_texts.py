"""Codes handled as numbers, millions at once, are told apart, sorted, looked up and judged as texts one by one are."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from analysis.records import identifiers
from analysis.records.coded import Coded
from analysis.records.dictionary import JOBS
from analysis.records.identifiers import all_read_like, reads_like, with_lone_words
from analysis.records.log import read_log
from analysis.records.loghash import _ranked
from analysis.records.packed_texts import joined, numbered, packed, places, ranked, shapes, unpacked
from tests.files import BASE, TODAY, base, write

TEXT = st.text(alphabet="aZé€0129-.#", max_size=20)
TEXTS = st.lists(TEXT, max_size=12)
# Codes near every rule: prefixes, groups of digits, names, dates, telephones, check digits.
PARTS = (
    "J JOB tel Anna Mueller schmidt KOWALSKI 0 0049 171 2024 03 15 2345678 X1 490154203237518 8944110068256270054 @"
    " mail.example + GB82WEST12345698765432 AB12CD34EF5"
)
PART = st.sampled_from(PARTS.split())
CODE = st.lists(st.one_of(PART, st.sampled_from(list("-_./#"))), min_size=1, max_size=5).map("".join)


@given(TEXTS)
@example(["", "a", "a", "aa", "12345678", "123456789", "é" * 9])
def test_words_are_the_texts(texts):
    words = packed(texts)
    assert unpacked(words) == texts
    assert joined(words) == "\n".join(texts).encode()
    ranks, different = ranked(words)
    assert unpacked(different) == sorted(set(texts))
    assert ranks.tolist() == [sorted(set(texts)).index(text) for text in texts]
    codes, kinds = numbered(words)
    assert unpacked(kinds) == list(dict.fromkeys(texts))
    assert [unpacked(kinds)[code] for code in codes] == texts


@given(TEXTS, TEXTS)
def test_places_are_those_of_the_first_that_is_alike(texts, among):
    want = [among.index(text) if text and text in among else -1 for text in texts]
    assert places(packed(texts), packed(among)).tolist() == want


@given(TEXTS)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_texts_that_come_to_one_number_when_mixed_are_told_apart(monkeypatch, texts):
    monkeypatch.setattr("analysis.records.packed_texts._MIXER", np.uint64(0))  # the last eight letters alone remain
    codes, kinds = numbered(packed([*texts, "a" * 8 + "same", "b" * 8 + "same"]))
    assert [unpacked(kinds)[code] for code in codes][:-2] == texts
    assert codes[-1] != codes[-2]


def test_texts_with_line_ends_or_nul_are_not_mixed_up():
    assert unpacked(packed(["a\nb", "c"])) == ["a\nb", "c"]
    assert numbered(packed(["a\0", "a"]))[0].tolist() == [0, 1]
    assert numbered(packed([None, "a"]))[1].tolist() == [[0, ord("a")]]


def test_a_shape_keeps_everything_but_which_digit_from_1_to_9_it_is():
    codes, kinds = shapes(packed(["J-0123", "J-0987", "J-1023", "é-5", "J-0123"]))
    assert kinds == ["J-0111", "J-1011", "é-1"]
    assert codes.tolist() == [0, 0, 1, 2, 0]


@given(st.lists(CODE, max_size=8))
@settings(max_examples=400, deadline=None)
@example(["J-0001", "Anna-Mueller", "0171-2345678", "490154203237518", "2024-0101", "2024-0001", "tel-030123456"])
def test_codes_read_like_what_each_reads_like_by_itself(codes):
    assert all_read_like(packed(codes)) == {at: reads_like(code) for at, code in enumerate(codes) if reads_like(code)}


def lone_one_by_one(codes: list[str]) -> list[int]:
    """Every code's own words counted."""
    words = {code: {word.casefold() for word in identifiers._LONG_WORD.findall(code)} for code in codes}
    held = Counter(word for own in words.values() for word in own)
    n = len([code for code in codes if code])
    rare = {word for word, times in held.items() if times < identifiers.SHARED <= n - times}
    return [at for at, code in enumerate(codes) if words[code] & (rare - identifiers._words("trade_words"))]


@given(st.lists(st.one_of(CODE, st.builds("{}-{}".format, st.sampled_from(["Auftrag", "Weber"]), st.integers(0, 99)))))
@settings(max_examples=300, deadline=None)
@example(["J-1", "J-2", "J-3", "Weber-1", "Weber-1", "Weber-2", "Auftrag-7"])
def test_lone_words_are_those_counted_code_by_code(codes):
    assert with_lone_words(packed(codes)) == lone_one_by_one(codes)


@pytest.mark.parametrize("values", [["b", "a", "", "J-10", "J-9"], ["b", "a"], [], [""]])
def test_keys_enter_the_hash_as_sorted_texts(values):
    keys = [value or None for value in values]
    rows = np.array([*range(len(values)), -1, 0, 0][: len(values) + 3 if values else 1])
    found, n, texts = _ranked(Coded(rows, keys), JOBS["job_id"])
    different = sorted({key for key in keys if key})
    assert (n, texts) == (len(different), "\n".join(different).encode())
    told = [None if row < 0 else keys[row] for row in rows]
    assert found.tolist() == [-1 if text is None else different.index(text) for text in told]


def test_a_job_without_a_code_is_not_held_against_a_test_without_one(tmp_path):
    tables = base()
    tables["jobs"] = [*BASE["jobs"], {**BASE["jobs"][0], "job_id": ""}]
    tables["boot_tests"] = [
        *BASE["boot_tests"],
        {**BASE["boot_tests"][0], "job_id": "", "test_no": "1", "boot_result": "short"},
    ]
    assert BASE["jobs"][0].get("first_boot_result") != "short"
    tables["jobs"][-1]["first_boot_result"] = "data_readable"
    log = read_log(write(tmp_path, tables), TODAY)
    codes = [p.code for p in log.problems]
    assert codes.count("blank") == 2
    assert "first-boot-differs" not in codes
