"""A question goes by itself once it is answered elsewhere; what is refused or kept aside says what would do."""

from __future__ import annotations

import pytest

from analysis.cli import main
from analysis.errors import SettingsError
from analysis.records.importing.headings_guess import guess_heading
from analysis.records.importing.mapping import OPEN
from tests.records.importing.sheets import HEAD, ROWS, asked, cells, replaced, run, sheet, table, with_column


def test_the_question_on_decisions_goes_once_a_column_has_them(tmp_path):
    source = sheet(tmp_path / "a.csv", (*HEAD[:3], "Ours?"), ROWS)
    log = tmp_path / "log"
    assert asked(run(source, log)) == {("", "fixed.jobs.decision"), ("Ours?", "to")}
    replaced(log / "import.toml", ('heading = "Ours?"\nto = "?"', 'heading = "Ours?"\nto = "jobs.decision"'))
    done = run(source, log)
    assert asked(done) == set()
    assert cells(log, "decision") == ["accepted", "accepted", "declined"]
    text = (log / "import.toml").read_text(encoding="utf-8")
    assert "fixed" not in text
    assert run(source, log).written == ()


@pytest.mark.parametrize(
    ("heading", "to", "wanted"),
    [
        ("Soaks of that", "chip_sides.clean_passes_n", ('add: chip = "processor", or instead memory, storage',)),
        (
            "Puffs of that",
            "heat_steps.set_temp_c",
            ('add: chip = "processor"', 'add: step = "preheat", or instead removal'),
        ),
        ("Bing", "boot_tests.boot_result", ("add: test = 1, with the number of the boot test",)),
    ],
)
def test_what_a_line_must_be_added_for_is_said_with_its_words(tmp_path, heading, to, wanted):
    source, log = with_column(tmp_path / "a.csv", heading, ["1", "2", "3"]), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", (f'heading = "{heading}"\nto = "?"', f'heading = "{heading}"\nto = "{to}"'))
    with pytest.raises(SettingsError) as told:
        run(source, log)
    assert all(part in str(told.value) for part in wanted)


@pytest.mark.parametrize(
    ("heading", "given", "to", "name", "wanted"),
    [
        ("CPU soaks", "2", "chip_sides.clean_passes_n", "chip_sides", {"chip_role": "processor"}),
        ("RAM lift puffs", "60", "heat_steps.step_s", "heat_steps", {"chip_role": "memory", "step_type": "removal"}),
        ("3rd try, seen", "short", "boot_tests.boot_result", "boot_tests", {"test_no": "3"}),
    ],
)
def test_what_the_heading_names_need_not_be_said_again(tmp_path, heading, given, to, name, wanted):
    source, log = with_column(tmp_path / "a.csv", heading, [given] * 3), tmp_path / "log"
    assert (heading, "to") in asked(run(source, log))
    replaced(log / "import.toml", ('to = "?"', f'to = "{to}"'))
    run(source, log)
    mapping = (log / "import.toml").read_text(encoding="utf-8")
    replaced(log / "import.toml", *(pair for pair in [('unit = "?"', 'unit = "s"')] if pair[0] in mapping))
    replaced(
        log / "import.toml",
        *(
            (f'{key} = "?"', f'{key} = "{said}"')
            for key, said in (("processor_side", "lower"), ("work_before_test_1", "yes"))
            if f'{key} = "?"' in mapping
        ),
    )
    run(source, log)
    assert [wanted.items() <= row.items() for row in table(log, name)] == [True] * 3


@pytest.mark.parametrize(("typed", "unit"), [("C", "°C"), ("deg C", "°C"), ("f", "°F")])
def test_a_unit_may_be_answered_as_people_write_it(tmp_path, typed, unit):
    source, log = with_column(tmp_path / "a.csv", "NAND install temp", [330, 340, 350]), tmp_path / "log"
    assert asked(run(source, log)) == {("NAND install temp", "unit")}
    replaced(log / "import.toml", ('unit = "?"', f'unit = "{typed}"'))
    assert asked(run(source, log)) == set()
    assert f'unit = "{unit}"' in (log / "import.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("heading", "to"),
    [
        ("Donor paid £", "jobs.donor_cost"),
        ("Donor bought, cost €", "jobs.donor_cost"),
        ("Donor price id", "jobs.donor_cost"),
        ("Spender Kosten", "jobs.donor_cost"),
        ("Donor no", "jobs.donor_id"),
        ("Fee agreed £", "jobs.fee_amount"),
        ("Paid id", None),
        ("CPU wicks", "chip_sides.clean_passes_n"),
        ("CPU lift secs", "heat_steps.step_s"),
        ("CPU put-down temp", "heat_steps.set_temp_c"),
        ("First power up", "boot_tests.boot_result"),
        ("2nd try date", "boot_tests.test_date"),
        ("Took it?", "jobs.decision"),
        ("Someone tried before?", "jobs.prior_rework"),
        ("Donor booted before?", "donors.known_good"),
        ("Why not", "jobs.decline_reason"),
    ],
)
def test_headings_of_a_swap_book(heading, to):
    guess, _ = guess_heading(heading, "jobs")
    assert (guess and guess.column.to) == to
    assert guess is None or OPEN not in (guess.column.chip, guess.column.step)


def test_a_preheat_alone_is_asked_for_its_step(tmp_path):
    """Which step it warmed, the heading does not say."""
    source, log = with_column(tmp_path / "a.csv", "Preheat", ["120", "110", ""]), tmp_path / "log"
    question, *others = run(source, log).questions
    assert 'maybe to = "heat_steps.preheat_c"' in question.text
    assert [other.key for other in others] == ["chip", "step"]
    replaced(log / "import.toml", ('to = "?"', 'to = "heat_steps.preheat_c"'))
    assert asked(run(source, log)) == {("Preheat", "chip"), ("Preheat", "step"), ("Preheat", "unit")}


def test_a_cell_that_breaks_a_rule_is_shown_with_rule_and_remedy(tmp_path, capsys):
    rows = [("J-1", "2024-03-02", "drop", "yes"), ("J-2", "31/2/2024", "drop", "yes")]
    main(["import", str(sheet(tmp_path / "a.csv", HEAD, rows)), "--into", str(tmp_path / "log")])
    out = capsys.readouterr().out
    wanted = "1 cell: found '31/2/2024' ('Date in', row 3) | rule: a day that exists | do: Write the day as YYYY-MM-DD."
    assert wanted in out


@pytest.mark.parametrize("word", ["part", "partly", "partial", "some", "teilweise"])
def test_a_part_of_the_data_is_offered_as_the_part_it_was(tmp_path, word):
    source, log = with_column(tmp_path / "a.csv", "Outcome", [word, "recovered", ""]), tmp_path / "log"
    (question,) = run(source, log).questions
    answer = "not_recovered, jobs.first_boot_result=data_partial"
    assert f'maybe "{answer}"' in question.text
    replaced(log / "import.toml", (f'{word} = "?"', f'{word} = "{answer}"'))
    assert asked(run(source, log)) == set()
    assert (cells(log, "outcome")[0], cells(log, "first_boot_result")[0]) == ("not_recovered", "data_partial")


def test_a_part_of_the_data_is_the_boot_tests_to_say_where_there_are_some(tmp_path):
    """A second statement on boot test 1 could only disagree with its own column."""
    said = (
        "maybe not_recovered: a part of the data counts as not recovered; a boot test with data_partial has it printed"
    )
    for number, (first, second, told) in enumerate(
        (
            ("partial", "data ok", "in 1 of 1 such row)"),
            ("data ok", "data ok", "in 0 of 1 such row; write it there where that is what the test gave)"),
        )
    ):
        head, cells_of = (*HEAD, "Outcome", "Test 1 result"), [("part", first), ("recovered", second), ("", "")]
        rows = [(*row, *more) for row, more in zip(ROWS, cells_of, strict=True)]
        (question,) = run(sheet(tmp_path / f"{number}.csv", head, rows), tmp_path / f"log-{number}").questions
        assert f"{said} apart (under 'Test 1 result' {told}" in question.text
