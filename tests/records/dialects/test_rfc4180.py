"""The rules of RFC 4180, section 2, each with an example in the RFC's own words (from memory), and pandas beside us.

Source: Y. Shafranovich, RFC 4180 (2005), section 2. Where we differ from it on purpose, the test says so.
"""

from __future__ import annotations

import io

import pandas as pd
import pytest

from analysis.records.delimited import split_records
from analysis.records.dictionary import JOBS
from tests.files import BASE, as_csv_text, base, found, write

# rule of section 2: text, the fields it stands for
RULES = {
    "1: each record on a line of its own, ended by CRLF": (
        "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
        [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]],
    ),
    "2: the last record may lack its line end": (
        "aaa,bbb,ccc\r\nzzz,yyy,xxx",
        [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]],
    ),
    "3: the first line may hold names": (
        "field_name,field_name2,field_name3\r\naaa,bbb,ccc\r\n",
        [["field_name", "field_name2", "field_name3"], ["aaa", "bbb", "ccc"]],
    ),
    "4: spaces are part of a field": ("aaa, bbb ,ccc\r\n", [["aaa", " bbb ", "ccc"]]),
    "5: a field may stand in quotes": (
        '"aaa","bbb","ccc"\r\nzzz,yyy,xxx\r\n',
        [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]],
    ),
    "6: line ends, quotes and commas in quotes": (
        '"aaa","b\r\nbb","ccc"\r\nzzz,"y,y",xxx\r\n',
        [["aaa", "b\r\nbb", "ccc"], ["zzz", "y,y", "xxx"]],
    ),
    "7: a quote in quotes is written twice": ('"aaa","b""bb","ccc"\r\n', [["aaa", 'b"bb', "ccc"]]),
}


@pytest.mark.parametrize("rule", RULES)
def test_each_rule_gives_the_fields_it_states(rule):
    text, fields = RULES[rule]
    records, _, problems = split_records(text, ",", 1, JOBS)
    assert (records, problems) == (fields, [])


@pytest.mark.parametrize("rule", RULES)
def test_pandas_reads_the_same_fields(rule):
    text, _ = RULES[rule]
    records, _, _ = split_records(text, ",", 1, JOBS)
    peer = pd.read_csv(io.BytesIO(text.encode()), header=None, dtype=str, keep_default_na=False)
    # pandas turns a CRLF within quotes into a line feed or keeps it, by version: compared without the difference.
    assert [[cell.replace("\r\n", "\n") for cell in row] for row in peer.to_numpy().tolist()] == [
        [cell.replace("\r\n", "\n") for cell in row] for row in records
    ]


def test_line_numbers_count_lines_within_quotes():
    _, lines, _ = split_records('a,b\r\n"x\r\ny",z\r\nq,r\r\n', ",", 1, JOBS)
    assert lines == [1, 2, 4]


def test_a_whole_log_written_by_the_rules_is_read_without_a_word(tmp_path):
    """Every cell in quotes, lines ended by CRLF."""
    folder = write(tmp_path, base())
    lines = as_csv_text("jobs", BASE["jobs"]).splitlines()
    quoted = "\r\n".join(",".join(f'"{cell}"' for cell in line.split(",")) for line in lines) + "\r\n"
    (folder / "jobs.csv").write_bytes(quoted.encode())
    assert found(folder) == []


def test_outer_spaces_are_taken_off_unlike_rule_4(tmp_path):
    """A space that a spreadsheet leaves around a code is no other code."""
    folder = write(tmp_path, base())
    text = as_csv_text("jobs", BASE["jobs"]).replace(",drop,", ", drop ,")
    (folder / "jobs.csv").write_text(text, encoding="utf-8")
    assert found(folder) == []


@pytest.mark.parametrize("text", ['a,"b\r\nc,d\r\n', 'a,"b"c,d\r\n'])
def test_what_the_rules_forbid_is_named(text):
    """A quote never closed; letters after a closing quote."""
    assert [p.code for p in split_records(text, ",", 1, JOBS)[2]] == ["quotes"]
