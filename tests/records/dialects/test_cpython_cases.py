"""The CSV cases that CPython carries, read by our reader: the texts and results of its own tests, not ours.

Source: Lib/test/test_csv.py of the running interpreter (Python Software Foundation): the cases of ``Test_Csv`` read
with the usual dialect or only another delimiter, and all of ``TestDialectExcel``. No installed package carries another
corpus of CSV texts (the wheels of pandas and frictionless come without their data). A distribution that leaves out the
``test`` package skips this file.
"""

from __future__ import annotations

import warnings

import pytest

from analysis.records.delimited import DELIMITERS, split_records
from analysis.records.dictionary import JOBS

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)
    corpus = pytest.importorskip("test.test_csv", reason="SKIPPED: this Python comes without its own tests")

# Read leniently by CPython's default; here a quotation mark that is never closed, or goes on after it is, is named.
REFUSED = {'a,"', '"a', '"a" "b"', '"a"b'}


def collected() -> list[tuple[str, list[str], list[list[str]], str]]:
    """Name of CPython's test, lines, expected rows and delimiter of every case in a dialect that is read here."""
    out: list[tuple[str, list[str], list[list[str]], str]] = []

    class Silent:
        def assertRaises(self, *arguments, **named):  # noqa: N802 -- the name is unittest's
            """Cases that hold csv.reader itself to an error are about its interface, not about texts."""

    class Plain(Silent, corpus.Test_Csv):
        def _read_test(self, input, expect, **kwargs):
            delimiter = kwargs.pop("delimiter", ",")
            if not kwargs and delimiter in DELIMITERS and input:
                out.append((self._testMethodName, input, expect, delimiter))

    class Excel(Silent, corpus.TestDialectExcel):
        def readerAssertEqual(self, input, expected_result):  # noqa: N802 -- the name is CPython's
            out.append((self._testMethodName, [input], expected_result, ","))

    for kind in (Plain, Excel):
        for name in sorted(vars(kind.__mro__[2])):
            if name.startswith("test_read") or (kind is Excel and name.startswith("test_")):
                getattr(kind(name), name)()
    return out


CASES = collected()


def test_the_corpus_is_there():
    assert len(CASES) >= 30
    assert {"test_read_quoting", "test_read_nul", "test_quotes_and_more"} <= {name for name, *_ in CASES}


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[0]} {case[1]!r}"[:70])
def test_each_case_gives_the_rows_that_cpython_states(case):
    _, lines, expected, delimiter = case
    text = "\n".join(line.removesuffix("\n") for line in lines)
    records, _, problems = split_records(text, delimiter, 1, JOBS)
    if problems:
        assert text in REFUSED
        assert [p.code for p in problems] == ["quotes"]
    else:
        assert records == [row for row in expected if row or text]
