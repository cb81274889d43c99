"""Next month's sheet: only what is new goes in; changes are shown first; nothing is half-written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.errors import LogError, SettingsError
from tests.records.importing.sheets import HEAD, ROWS, aside, asked, cells, replaced, run, sheet, table, with_column


def tree(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".")}


LAST = 5  # renamings in such an import: two previous files, the journal, two new files


@pytest.fixture
def log(tmp_path) -> Path:
    run(with_column(tmp_path / "march.csv", "Bench hours", ["4", "5", ""]), tmp_path / "log")
    return tmp_path / "log"


def month(folder: Path, hours: tuple[str, ...], extra: tuple[tuple[str, ...], ...] = ()) -> Path:
    """The next month's file, under another name."""
    rows = [(*row, cell) for row, cell in zip(ROWS, hours, strict=True)]
    return sheet(folder.parent / "april.csv", (*HEAD, "Bench hours"), [*rows, *extra])


def test_the_same_sheet_again_changes_nothing(log):
    before = tree(log)
    done = run(log.parent / "march.csv", log)
    assert done.written == ()
    assert tree(log) == before


def test_new_jobs_go_in_and_changes_are_only_shown(log):
    before = cells(log, "bench_hours")
    source = month(log, ("4", "7", ""), (("J-4", "2024-05-02", "drop", "yes", "3"),))
    done = run(source, log)
    assert done.merged.rows_added == {"jobs": 1}
    assert [(c.job, c.column, c.before, c.after, c.why) for c in done.merged.changes] == [
        ("J-2", "bench_hours", "5", "7", "changed in the sheet")
    ]
    assert cells(log, "bench_hours") == [*before, "3"]
    again = run(source, log)
    assert len(again.merged.changes) == 1
    run(source, log, apply_changes=True)
    assert cells(log, "bench_hours") == ["4", "7", "", "3"]
    assert run(source, log).merged.changes == []


def test_a_blank_that_the_sheet_fills_is_new(log):
    done = run(month(log, ("4", "5", "0")), log)
    assert (done.merged.cells_added, done.merged.changes) == (1, [])
    assert cells(log, "bench_hours") == ["4", "5", "0"]


def test_a_cell_cleared_in_the_sheet_is_a_change(log):
    source = month(log, ("4", "", ""))
    done = run(source, log)
    assert [(c.before, c.after) for c in done.merged.changes] == [("5", "")]
    run(source, log, apply_changes=True)
    assert cells(log, "bench_hours") == ["4", "", ""]


def test_edits_by_hand_are_seen_as_changes_and_kept(log):
    replaced(log / "jobs.csv", ("J-1,2024-03-02", "J-1,2024-03-01"))
    done = run(log.parent / "march.csv", log)
    assert [(c.job, c.column, c.before, c.after, c.why) for c in done.merged.changes] == [
        ("J-1", "received_date", "2024-03-01", "2024-03-02", "edited in the log since the last import")
    ]
    assert cells(log, "received_date")[0] == "2024-03-01"
    run(log.parent / "march.csv", log, apply_changes=True)
    assert cells(log, "received_date")[0] == "2024-03-02"


def test_a_cell_or_row_cleared_by_hand_does_not_come_back_by_itself(log):
    text = (log / "jobs.csv").read_text(encoding="utf-8")
    kept = [line for line in text.splitlines(keepends=True) if not line.startswith("J-3")]
    (log / "jobs.csv").write_text("".join(kept).replace(",5,", ",,"), encoding="utf-8")
    done = run(log.parent / "march.csv", log)
    assert {(c.job, c.column) for c in done.merged.changes} == {("J-2", "bench_hours"), ("J-3", "the whole row")}
    assert cells(log, "bench_hours") == ["4", ""]


def test_columns_and_rows_of_a_persons_own_stay(log):
    lines = (log / "jobs.csv").read_text(encoding="utf-8").splitlines()
    own = [f"{line},{'my note' if at == 0 else f'note {at}'}" for at, line in enumerate(lines)]
    own.append("X-9,2024-03-09" + "," * (len(lines[0].split(",")) - 1))
    (log / "jobs.csv").write_text("\n".join(own) + "\n", encoding="utf-8")
    run(month(log, ("4", "5", ""), (("J-4", "2024-05-02", "drop", "yes", "3"),)), log)
    assert cells(log, "my note") == ["note 1", "note 2", "note 3", "", ""]
    assert cells(log, "job_id") == ["J-1", "J-2", "J-3", "X-9", "J-4"]


def test_a_vanished_job_is_told_and_never_deleted(log):
    source = sheet(log.parent / "april.csv", (*HEAD, "Bench hours"), [(*ROWS[0], "4"), (*ROWS[2], "")])
    done = run(source, log, apply_changes=True)
    assert done.merged.vanished == ["J-2"]
    assert cells(log, "job_id") == ["J-1", "J-2", "J-3"]
    assert run(source, log).merged.vanished == ["J-2"]


def test_a_new_word_of_next_month_is_asked_and_earlier_answers_stay(log):
    replaced(log / "import.toml", ('to = "jobs.bench_hours"', 'to = "jobs.bench_hours" # checked with the owner'))
    done = run(month(log, ("4", "5", ""), (("J-4", "2024-05-02", "cat", "yes", "3"),)), log)
    assert asked(done) == {("Damage", "values")}
    assert cells(log, "intake_damage") == ["drop", "liquid", "bend_or_snap", ""]
    assert "# checked with the owner" in (log / "import.toml").read_text(encoding="utf-8")


def test_a_new_column_of_next_month_is_proposed(log):
    rows = [(*row, hours, "phone") for row, hours in zip(ROWS, ("4", "5", ""), strict=True)]
    done = run(sheet(log.parent / "april.csv", (*HEAD, "Bench hours", "Device"), rows), log)
    assert (asked(done), done.merged.cells_added) == (set(), 3)


def test_a_mapping_can_be_corrected_and_shows_what_it_would_change(tmp_path):
    source = with_column(tmp_path / "a.csv", "CPU lower clean passes", ["1", "2", ""])
    log = tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ('side = "lower"', 'side = "upper"'))
    done = run(source, log)
    assert {(c.row, c.column, c.after) for c in done.merged.changes} == {("processor lower", "clean_passes_n", "")}
    run(source, log, apply_changes=True)
    assert [(r["side"], r["clean_passes_n"]) for r in table(log, "chip_sides")] == [("upper", "1"), ("upper", "2")]


def test_the_previous_files_are_kept(log):
    before = (log / "jobs.csv").read_bytes()
    run(month(log, ("4", "5", "2")), log)
    assert (log / "jobs.csv.previous").read_bytes() == before


@pytest.mark.parametrize("fails_at", range(LAST + 1))
def test_a_failing_write_leaves_every_file_as_it_was(log, monkeypatch, fails_at):
    before = {name: data for name, data in tree(log).items() if not name.endswith(".previous")}
    source = month(log, ("4", "7", "2"), (("J-4", "2024-05-02", "drop", "yes", "3"),))
    calls, real = iter(range(1000)), os.replace

    def failing(old, new, **options):
        if next(calls) == fails_at:
            raise OSError(28, "No space left on device", str(new))
        return real(old, new, **options)

    monkeypatch.setattr(os, "replace", failing)
    if fails_at == LAST:
        run(source, log, apply_changes=True)
        assert next(calls) == LAST
        assert cells(log, "bench_hours") == ["4", "7", "2", "3"]
        return
    with pytest.raises(LogError, match="No space left"):
        run(source, log, apply_changes=True)
    assert {name: data for name, data in tree(log).items() if not name.endswith(".previous")} == before


def test_a_failing_first_import_leaves_nothing(tmp_path, monkeypatch):
    def failing(old, new, **options):
        raise OSError(28, "No space left on device", str(new))

    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(LogError, match="No space left"):
        run(with_column(tmp_path / "a.csv", "Notes", ["", "", ""]), tmp_path / "log")
    assert not (tmp_path / "log").exists()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'to = "jobs.bench_hours"',
            'to = "jobs.bench_ours"',
            "heading 'Bench hours': to = \"jobs.bench_ours\": no such",
        ),
        (
            'water = "liquid"',
            'water = "wet"',
            'heading \'Damage\': values."water" = "wet": intake_damage has no code wet',
        ),
        ('to = "jobs.bench_hours"', 'to = "jobs.intake_damage"', 'the heading "Damage" goes there too'),
        ('heading = "Damage"', 'heading = "Dammage"', "sheet 'march', heading: row 1 of march.csv has no 'Dammage'"),
        ('name = "march"', 'nam = "march"', "nam: not a key of the mapping. Did you mean name?"),
        ('row = "jobs"', 'row = "job"', 'row = "job": must be one of jobs'),
        ('unit = "hours"', 'unit = "weeks"', 'unit = "weeks": must be one of hours'),
        ('to = "jobs.bench_hours"', 'to = "chip_sides.pads_lost_n"', "chip: missing"),
        ('to = "jobs.bench_hours"', "to = 3", "to = 3: must be a text"),
        ('to = "jobs.bench_hours"', "to = jobs", "not TOML"),
        ('heading = "Damage"', 'heading = "Date in"', "heading: described 2 times"),
    ],
)
def test_mistakes_in_the_mapping_name_file_and_key_and_change_nothing(log, old, new, said):
    replaced(log / "import.toml", (old, new))
    before = tree(log)
    with pytest.raises(SettingsError) as told:
        run(log.parent / "march.csv", log)
    assert said in str(told.value)
    assert str(log / "import.toml") in str(told.value)
    assert tree(log) == before


def test_a_missing_sheet_is_named(tmp_path):
    donors = sheet(tmp_path / "Donors.csv", ("Donor no", "Lot"), [("D-1", "L-1")])
    jobs = sheet(tmp_path / "Jobs.csv", HEAD, ROWS)
    run([jobs, donors], tmp_path / "log")
    with pytest.raises(SettingsError, match="no file has the sheet 'Donors'"):
        run(jobs, tmp_path / "log")


def test_a_mapping_may_lie_elsewhere(tmp_path):
    source = with_column(tmp_path / "a.csv", "Hours", [1, 2, 3])
    run(source, tmp_path / "log", mapping=tmp_path / "maps" / "ours.toml")
    assert not (tmp_path / "log" / "import.toml").exists()
    replaced(tmp_path / "maps" / "ours.toml", ('to = "?"', 'to = "jobs.bench_hours"'))
    assert asked(run(source, tmp_path / "log", mapping=tmp_path / "maps" / "ours.toml")) == set()
    assert cells(tmp_path / "log", "bench_hours") == ["1", "2", "3"]


def test_a_job_that_stands_twice_differently_is_kept_aside_and_not_called_vanished(log):
    source = month(log, ("4", "5", ""), (("J-1", "2024-03-02", "heat", "yes", "4"),))
    done = run(source, log, apply_changes=True)
    assert done.merged.vanished == []
    assert len([row for row in aside(log) if "different content" in row["why"]]) == 10
    assert cells(log, "intake_damage") == ["drop", "liquid", "bend_or_snap"]


def test_sheets_that_disagree_on_a_cell_are_both_kept_aside(tmp_path):
    first = sheet(tmp_path / "Jobs.csv", HEAD, ROWS)
    second = sheet(tmp_path / "Jobs too.csv", HEAD, [ROWS[0], ("J-2", "2024-03-16", "water", "yes")])
    run([first, second], tmp_path / "log")
    assert cells(tmp_path / "log", "received_date") == ["2024-03-02", "", "2024-04-01"]
    assert len([row for row in aside(tmp_path / "log") if "cells disagree" in row["why"]]) == 2


def test_work_dated_before_test_one_in_the_log_is_the_undated_work_of_the_sheet(tmp_path):
    source = with_column(tmp_path / "a.csv", "CPU lower clean passes", ["1", "2", ""])
    log = tmp_path / "log"
    run(source, log)
    replaced(log / "chip_sides.csv", ("J-1,processor,,lower,,1", "J-1,processor,,lower,1,1"))
    done = run(source, log)
    assert (done.merged.rows_added, done.merged.changes) == ({}, [])
    assert [row.get("before_test_no", "") for row in table(log, "chip_sides")] == ["1", ""]


def test_a_file_with_cells_beyond_its_headings_is_not_rewritten(log):
    before = (log / "jobs.csv").read_text(encoding="utf-8")
    (log / "jobs.csv").write_text(before + "J-9" + "," * 60 + "lost\n", encoding="utf-8")
    with pytest.raises(LogError, match="line 5 has more cells than the headings"):
        run(log.parent / "march.csv", log)
    assert (log / "jobs.csv").read_text(encoding="utf-8").endswith("lost\n")


def test_an_import_that_was_interrupted_is_told_in_plain_words(log, monkeypatch):
    source = month(log, ("4", "5", "2"))

    def power_fails(old, new, **options):
        if Path(old).name.startswith("jobs.csv"):
            raise KeyboardInterrupt
        return real(old, new, **options)

    real = os.replace
    monkeypatch.setattr(os, "replace", power_fails)
    with pytest.raises(KeyboardInterrupt):
        run(source, log)
    monkeypatch.setattr(os, "replace", real)
    done = run(source, log)
    assert done.told == "An import had been interrupted; it is complete now."
    assert cells(log, "bench_hours") == ["4", "5", "2"]
    assert not [path for path in log.iterdir() if "unwritten" in path.name or path.name == ".rework-entry.json"]


def test_changes_of_chosen_jobs_only_are_made(log):
    source = month(log, ("8", "9", "1"))
    replaced(log.parent / "april.csv", ("2024-04-01", "2024-04-02"))
    done = run(source, log, apply_changes=frozenset({"J-2", "J-3"}))
    assert {(c.job, c.column, c.made) for c in done.merged.changes} == {
        ("J-1", "bench_hours", False),
        ("J-2", "bench_hours", True),
        ("J-3", "received_date", True),
    }
    assert cells(log, "bench_hours") == ["4", "9", "1"]
    assert cells(log, "received_date")[2] == "2024-04-02"
    assert [c.job for c in run(source, log).merged.changes] == ["J-1"]


def test_a_mistyped_job_is_refused_and_nothing_changed(log):
    source, before = month(log, ("8", "9", "")), tree(log)
    with pytest.raises(LogError, match="no change of J-7") as told:
        run(source, log, apply_changes=frozenset({"J-2", "J-7"}))
    assert "Changes there are of: J-1, J-2." in str(told.value)
    assert tree(log) == before


def test_the_command_shows_before_and_after_and_takes_codes(tmp_path, capsys):
    source, log = with_column(tmp_path / "a.csv", "Bench hours", ["4", "5", ""]), tmp_path / "log"
    command = ["import", str(source), "--into", str(log)]
    main(command)
    with_column(source, "Bench hours", ["8", "9", ""])
    capsys.readouterr()
    main(command)
    out = capsys.readouterr().out
    assert "CHANGED jobs J-1 | bench_hours | before '4' | after '8' | changed in the sheet" in out
    assert "2 changes NOT made: add --apply-changes for all, or --apply-changes J-1,J-2" in out
    main([*command, "--apply-changes", "J-2"])
    out = capsys.readouterr().out
    assert "MADE jobs J-2 | bench_hours | before '5' | after '9' | changed in the sheet" in out
    assert "1 change made; 1 change NOT made" in out
    main([*command, "--apply-changes"])
    assert cells(log, "bench_hours") == ["8", "9", ""]


def test_what_another_sheet_left_aside_stays_in_the_list(log):
    head = (*HEAD, "Bench hours", "Notes")
    other = sheet(log.parent / "old.csv", head, [("K-1", "2023-03-02", "drop", "yes", "3", "=by post")])
    first = sheet(log.parent / "march.csv", head, [(*row, "4", "urgent") for row in ROWS])
    for source in (first, other, first, other, other):
        done = run(source, log)
    assert [(row["source_file"], row["value"]) for row in aside(log)] == [
        *[("march.csv", "urgent")] * 3,
        ("old.csv", "'=by post"),
    ]
    assert done.others == {"march.csv": 3}
    assert done.written == ()


def test_a_list_that_is_something_else_now_is_not_written_over(log):
    (log / "not_placed.csv").write_text("my,own\nlist,1\n", encoding="utf-8")
    before = tree(log)
    with pytest.raises(LogError, match="no list of an import"):
        run(log.parent / "march.csv", log)
    assert tree(log) == before


def test_work_that_was_undated_in_an_earlier_import_is_dated_where_it_stands(tmp_path):
    head = (*HEAD, "CPU lower clean passes", "Test 1 result", "Test 2 result")
    source, log = sheet(tmp_path / "a.csv", head, [(*row, "2", "short", "short") for row in ROWS[:2]]), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ('work_before_test_1 = "?"', 'work_before_test_1 = "no"'))
    run(source, log)
    assert cells(log, "before_test_no", "chip_sides") == ["", ""]
    replaced(log / "import.toml", ('work_before_test_1 = "no"', 'work_before_test_1 = "yes"'))
    done = run(source, log)
    assert (done.merged.changes, done.merged.rows_added) == ([], {})
    assert cells(log, "before_test_no", "chip_sides") == ["1", "1"]


def test_a_sheet_in_the_place_of_the_logs_own_file_is_not_taken_for_both(tmp_path):
    source = sheet(tmp_path / "jobs.csv", HEAD, ROWS)
    before = source.read_bytes()
    with pytest.raises(LogError, match="where the log's own file stands") as told:
        run(source, tmp_path)
    assert "Name another folder with --into" in str(told.value)
    assert [path.name for path in tmp_path.iterdir()] == ["jobs.csv"]
    assert source.read_bytes() == before


@pytest.mark.parametrize(
    ("answer", "said"),
    [("T1", "every answer stands between quotation marks"), ('"Martina"', "reads like a person's name")],
)
def test_answers_that_cannot_be_used_say_what_would_do(tmp_path, answer, said):
    source, log = with_column(tmp_path / "a.csv", "Tech", ["Martina", "T2", ""]), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ('Martina = "?"', f"Martina = {answer}"))
    with pytest.raises(SettingsError, match=said):
        run(source, log)


def test_a_mapping_may_lie_elsewhere_and_is_found_there_again(tmp_path, capsys):
    source = sheet(tmp_path / "march.csv", HEAD, ROWS)
    mapping, folder = tmp_path / "shared" / "words.toml", tmp_path / "log"
    mapping.parent.mkdir()
    for _ in range(2):
        assert main(["import", str(source), "--into", str(folder), "--mapping", str(mapping)]) in (0, 1)
        assert not (folder / "import.toml").exists()
        capsys.readouterr()
    assert "[" in mapping.read_text(encoding="utf-8")
    assert cells(folder, "job_id") == ["J-1", "J-2", "J-3"]
