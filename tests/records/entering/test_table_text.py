"""Rows are added and filled in; whatever else stands in the file keeps its bytes, in every dialect."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from analysis.errors import LogError
from analysis.records.delimited import read_delimited
from analysis.records.dictionary import BOOT_TESTS, JOBS
from analysis.records.entering.table_text import TableText

REQUIRED = ["job_id", "received_date", "intake_damage", "decision"]
MARKS = {"utf-8": b"", "utf-8-sig": b"\xef\xbb\xbf", "utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff", "cp1252": b""}
# Free text stands only in columns of the shop's own, which are never read.
words = st.text(st.characters(codec="cp1252", exclude_categories=("Cc",)), max_size=6)
nasty = st.one_of(words, st.sampled_from(["two\nlines", "two\r\nlines", 'a "quoted" word', "a,b", "a;b", "a\tb", " "]))


@st.composite
def files(draw):
    """Bytes of a jobs.csv as some program might have written it, and how it was written."""
    own = draw(st.lists(st.sampled_from(["Kommentar", "Größe", "remark (own)"]), unique=True))
    heads = draw(st.permutations([*REQUIRED, "bench_hours", "outcome", *own]))
    rows = [
        {"job_id": f"J-{n}", "received_date": "2024-03-02", "bench_hours": draw(st.sampled_from(["", "2", "7"]))}
        | {name: draw(nasty) for name in own}
        for n in range(draw(st.integers(0, 4)))
    ]
    delimiter, end = draw(st.sampled_from(",;\t")), draw(st.sampled_from(["\n", "\r\n", "\r"]))
    # The csv module leaves a line feed unquoted where lines end with a carriage return; no reader could know it then.
    quoting = csv.QUOTE_ALL if end == "\r" else draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, heads, delimiter=delimiter, lineterminator=end, quoting=quoting)
    writer.writeheader()
    writer.writerows(rows)
    text = out.getvalue()
    if draw(st.booleans()):
        text = text.removesuffix(end)
    if draw(st.booleans()):
        text = f"sep={delimiter}{end}{text}"
    codec = draw(st.sampled_from(sorted(MARKS)))
    data = MARKS[codec] + text.encode("utf-8" if codec == "utf-8-sig" else codec)
    return data, delimiter, end, len(rows)


def read_again(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("again") / "jobs.csv"
    path.write_bytes(data)
    return read_delimited(path, JOBS)


@settings(max_examples=300, deadline=None)
@given(files())
def test_added_rows_follow_bytes_that_stay(tmp_path_factory, file):
    data, delimiter, end, n = file
    text = TableText.read(data, JOBS)
    assert text.to_bytes() == data
    ends_known = text.text.endswith(end) or n  # a lone heading without a line end says nothing
    assert (text.delimiter, text.line_end, len(text.rows)) == (delimiter, end if ends_known else "\n", n)
    rows = [{"job_id": "J-9", "bench_hours": "6.5", "decision": "accepted"}, {"job_id": "J-10"}]
    grown = text.with_rows(rows).to_bytes()
    assert grown.startswith(data)
    raw = read_again(tmp_path_factory, grown)
    assert raw.complete
    assert not [p for p in raw.problems if p.severity == "fault"]
    assert [raw.columns["job_id"][n], raw.columns["job_id"][n + 1]] == ["J-9", "J-10"]
    assert raw.columns["bench_hours"][n] in (("6.5",) if delimiter == "," else ("6.5", "6,5"))


@settings(max_examples=300, deadline=None)
@given(files(), st.data())
def test_a_filled_row_leaves_all_other_rows_alone(tmp_path_factory, file, data):
    before, _, _, n = file
    assume(n)
    at = data.draw(st.integers(0, n - 1))
    text = TableText.read(before, JOBS)
    after = text.with_cells("job_id", f"J-{at}", {"decision": "declined", "bench_hours": "3"})
    row = text.rows[at]
    old, new = (list(io.StringIO(t.text, newline="")) for t in (text, after))
    assert old[: row.start] == new[: row.start]
    assert old[row.end :] == new[row.end :]
    expected = text.texts(row) | {"decision": "declined", "bench_hours": "3"}
    assert after.texts(after.rows[at]) == expected
    kept = [i for i in range(text.width) if i not in (text.headings["decision"], text.headings["bench_hours"])]
    assert [row.cells[i] for i in kept] == [after.rows[at].cells[i] for i in kept]
    raw = read_again(tmp_path_factory, after.to_bytes())
    assert raw.columns["decision"][at] == "declined"


@settings(max_examples=200, deadline=None)
@given(files())
def test_a_missing_column_goes_to_the_end_and_gives_every_row_one_blank_cell(tmp_path_factory, file):
    data, delimiter, _, n = file
    text = TableText.read(data, JOBS)
    grown = text.with_rows([{"job_id": "J-9", "underfill": "full"}])
    assert grown.headings["underfill"] == text.width
    assert [row.cells for row in grown.rows[:n]] == [[*row.cells, ""] for row in text.rows]
    for old, new in zip(text.rows, grown.rows, strict=False):
        was = "".join(text._physical[old.start : old.end]).rstrip("\r\n")
        assert "".join(grown._physical[new.start : new.end]).rstrip("\r\n") == was + delimiter
    raw = read_again(tmp_path_factory, grown.to_bytes())
    assert not [p for p in raw.problems if p.severity == "fault"]
    assert raw.columns["underfill"][n] == "full"


def jobs(text: str) -> TableText:
    return TableText.read(text.encode(), JOBS)


HEAD = "job_id;received_date;intake_damage;decision;bench_hours\n"


@pytest.mark.parametrize(("hours_before", "written"), [("6,5", "2,25"), ("6.5", "2.25"), ("", "2,25"), ("3", "2,25")])
def test_decimals_are_written_as_the_file_writes_them(hours_before, written):
    text = jobs(f"{HEAD}J-1;2024-03-02;drop;accepted;{hours_before}\n").with_rows(
        [{"job_id": "J-2", "bench_hours": "2.25"}]
    )
    assert text.text.endswith(f"J-2;;;;{written}\n")


def test_three_decimals_cannot_be_taken_for_thousands():
    assert jobs(HEAD).with_rows([{"job_id": "J-2", "bench_hours": "2.125"}]).text.endswith("2,1250\n")


def test_rows_with_a_wrong_number_of_cells_stay_wrong_when_a_column_is_added():
    text = jobs(f"{HEAD}J-1;2024-03-02;drop;accepted;1;stray\nJ-2;2024-03-02\n\n")
    grown = text.with_rows([{"job_id": "J-3", "underfill": "full"}])
    assert [len(line.cells) for line in grown._all_lines] == [6, 7, 3, 0, 6]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('job_id,decision,intake_damage,received_date\nJ-1,"open', "cannot be split"),
        ("name,colour\na,b\n", "headings"),
        ("decision,intake_damage\naccepted,drop\n", "no column job_id"),
        ("job_id,job_id,decision\nJ-1,J-1,accepted\n", "stands twice"),
        ("", "headings"),
    ],
)
def test_a_file_that_check_could_not_read_is_not_written_to(text, told):
    with pytest.raises(LogError, match=told):
        jobs(text)


def test_a_required_column_is_not_made_up_for_rows_that_lack_it():
    with pytest.raises(LogError, match="no column decision"):
        jobs("job_id,received_date\nJ-1,2024-03-02\n").with_rows([{"job_id": "J-2", "decision": "accepted"}])


def test_a_code_that_stands_twice_is_not_continued():
    with pytest.raises(LogError, match="lines 2, 3"):
        jobs("job_id,decision\nJ-1,\nJ-1,\n").with_cells("job_id", "J-1", {"decision": "accepted"})


def test_a_new_file_is_written_like_the_others():
    text = TableText.with_headings(BOOT_TESTS, jobs("job_id;decision\r\n"))
    assert text.to_bytes() == (";".join(BOOT_TESTS.names) + "\r\n").encode()
