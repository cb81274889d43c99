"""While a question is open, nothing that it is about is called changed, and nothing of it is taken out of the log."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.cli import main
from analysis.errors import LogError
from tests.records.importing.sheets import HEAD, ROWS, cells, replaced, run, sheet, table, with_column

WIDE = (*HEAD, "CPU lower pads torn", "Put-down air", "Bench hours")


def wide(path: Path, *columns: tuple[str, str, str]) -> Path:
    """The three jobs with more columns."""
    return sheet(path, WIDE, [(*row, *more) for row, more in zip(ROWS, zip(*columns, strict=True), strict=True)])


@pytest.fixture
def log(tmp_path) -> Path:
    wide(tmp_path / "a.csv", ("0", "1", "2"), ("330", "340", "350"), ("4", "5", "6"))
    run(tmp_path / "a.csv", tmp_path / "log")
    return tmp_path / "log"


def told(done) -> set[tuple[str, str]]:
    return {(change.column, change.after) for change in done.merged.changes}


def test_an_answer_that_opens_another_question_empties_no_table(tmp_path):
    """A second test makes it a question when the work was done, which had been placed before."""
    head = (*HEAD, "NAND pads torn", "First boot", "Other go")
    source = sheet(tmp_path / "a.csv", head, [(*row, "1", "short", "short") for row in ROWS])
    log = tmp_path / "log"
    run(source, log)
    before = table(log, "chip_sides")
    assert len(before) == 3
    replaced(
        log / "import.toml",
        ('heading = "Other go"\nto = "?"', 'heading = "Other go"\ntest = 2\nto = "boot_tests.boot_result"'),
    )
    for apply in (False, True):
        done = run(source, log, apply_changes=apply)
        assert [(q.heading, q.key) for q in done.questions] == [("", "work_before_test_1")]
        assert done.merged.changes == []
        assert done.merged.waiting["chip_sides.pads_lost_n"] == 3
        assert table(log, "chip_sides") == before
    replaced(log / "import.toml", ('work_before_test_1 = "?"', 'work_before_test_1 = "no"'))
    done = run(source, log, apply_changes=True)
    assert (done.merged.changes, +done.merged.waiting) == ([], {})
    assert table(log, "chip_sides") == before


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('to = "chip_sides.pads_lost_n"\nchip = "processor"', 'to = "chip_sides.pads_lost_n"\nchip = "?"'),
        ('row = "jobs"', 'row = "?"'),
    ],
)
def test_a_mapping_set_back_to_a_question_takes_nothing_out(log, old, new):
    names = ("jobs", "chip_sides")
    before = [table(log, name) for name in names]
    replaced(log / "import.toml", (old, new), ('confidence = "sure"', 'confidence = "asked"'))
    done = run(log.parent / "a.csv", log, apply_changes=True)
    assert (done.merged.changes, done.merged.vanished) == ([], [])
    assert [table(log, name) for name in names] == before


@pytest.mark.parametrize("back", [('to = "jobs.second_damage"', 'to = "?"'), ('zonk = "liquid"', 'zonk = "?"')])
def test_an_answer_taken_back_takes_nothing_out(tmp_path, back):
    """The word settles two columns of the job; neither is called blank while it is asked again."""
    source, log = with_column(tmp_path / "a.csv", "Mishap", ["zonk", "zonk", "drop"]), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ('heading = "Mishap"\nto = "?"', 'heading = "Mishap"\nto = "jobs.second_damage"'))
    run(source, log)
    replaced(log / "import.toml", ('zonk = "?"', 'zonk = "liquid, jobs.underfill=full"'))
    run(source, log)
    before = table(log, "jobs")
    assert [(row["second_damage"], row.get("underfill")) for row in before[1:]] == [("liquid", "full"), ("drop", None)]
    replaced(log / "import.toml", (back[0].replace('"liquid"', '"liquid, jobs.underfill=full"'), back[1]))
    done = run(source, log, apply_changes=True)
    assert len(done.questions) == 1
    assert done.merged.changes == []
    assert table(log, "jobs") == before


def test_what_is_settled_is_told_and_made_beside_what_waits(log):
    """One question is open; other cells and rows of the same jobs do change."""
    wide(log.parent / "a.csv", ("0", "", "2"), ("330", "340", "350"), ("4", "5", "about six"))
    done = run(log.parent / "a.csv", log, apply_changes=True)
    assert told(done) == {("pads_lost_n", "")}
    assert done.merged.waiting["jobs.bench_hours"] == 1
    assert cells(log, "bench_hours") == ["4", "5", "6"]
    assert [(row["job_id"], row["pads_lost_n"]) for row in table(log, "chip_sides")] == [("J-1", "0"), ("J-3", "2")]


def test_a_column_that_is_ignored_now_is_settled(log):
    replaced(
        log / "import.toml",
        ('to = "jobs.bench_hours"', 'to = "ignored"'),
        ('heading = "Put-down air"\nto = "?"', 'heading = "Put-down air"\nto = "ignored"'),
    )
    assert told(run(log.parent / "a.csv", log)) == {("bench_hours", "")}


def test_what_holds_for_every_row_is_not_put_where_a_cell_waits(tmp_path):
    """The cell says something of its own; what is not known yet."""
    rows = [(*row[:3], said) for row, said in zip(ROWS, ("yes", "zonk", ""), strict=True)]
    source, log = sheet(tmp_path / "a.csv", HEAD, rows), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ('row = "jobs"', 'row = "jobs"\nfixed = {"jobs.decision" = "accepted"}'))
    run(source, log)
    assert cells(log, "decision") == ["accepted", "", "accepted"]


def test_a_cell_that_cannot_be_read_is_not_called_blank(tmp_path):
    """It stands in the list of cells kept aside; the day in the log stays."""
    source = with_column(tmp_path / "a.csv", "Closed", ["2024-05-01", "2024-05-02", ""])
    log = tmp_path / "log"
    run(source, log)
    with_column(source, "Closed", ["2024-05-01", "31/02/2024", ""])
    done = run(source, log, apply_changes=True)
    assert done.merged.changes == []
    assert cells(log, "closed_date") == ["2024-05-01", "2024-05-02", ""]


def test_the_command_says_what_waits_and_refuses_codes_that_only_wait(tmp_path, capsys):
    source = with_column(tmp_path / "a.csv", "Bench hours", ["4", "5", "6"])
    command = ["import", str(source), "--into", str(tmp_path / "log")]
    main(command)
    with_column(source, "Bench hours", ["4", "about five", "7"])
    capsys.readouterr()
    main(command)
    out = capsys.readouterr().out
    assert "Left as it is in the log until the sheet's cells for it can be read, also by --apply-changes:" in out
    assert "jobs.bench_hours 1 cell." in out
    assert out.count("CHANGED") == 1
    with pytest.raises(LogError, match="no change of J-2") as refused:
        run(source, tmp_path / "log", apply_changes=frozenset({"J-2"}))
    assert "What waits for an answer is not changed before it." in str(refused.value)
