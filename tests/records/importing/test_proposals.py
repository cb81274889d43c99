"""What is proposed, what is sure, and what is asked."""

from __future__ import annotations

import re

import pytest

from analysis.errors import SettingsError
from tests.records.importing.sheets import HEAD, ROWS, aside, asked, cells, replaced, run, sheet, table, with_column


def test_what_is_sure_is_placed_at_once_and_what_is_unsure_is_not(tmp_path):
    source = with_column(tmp_path / "a.csv", "Hours", [4, 5, 6])
    done = run(source, tmp_path / "log")
    assert asked(done) == {("Hours", "to")}
    assert cells(tmp_path / "log", "intake_damage") == ["drop", "liquid", "bend_or_snap"]
    assert cells(tmp_path / "log", "decision") == ["accepted", "accepted", "declined"]
    assert cells(tmp_path / "log", "bench_hours") == ["", "", ""]
    text = (tmp_path / "log" / "import.toml").read_text(encoding="utf-8")
    assert re.search(r'heading = "Hours"\nto = "\?" # QUESTION: maybe to = "jobs.bench_hours"', text)


@pytest.mark.parametrize(
    ("heading", "given", "column", "wanted"),
    [
        ("Bench time (min)", ["390", "45", ""], "bench_hours", ["6.5", "0.75", ""]),
        ("Bench hours", ["6:30", "2 h", "90 min"], "bench_hours", ["6.5", "2", "1.5"]),
        ("Bench hours", ["6,5", "2,25", "3"], "bench_hours", ["6.5", "2.25", "3"]),
        ("Device age (months)", ["18", "36", "n/a"], "device_age_years", ["1.5", "3", ""]),
        ("Fee", ["€1,200.50", "600 EUR", "99"], "fee_amount", ["1200.5", "600", "99"]),
        ("Guess %", ["0.7", "0.55", "0.4"], "guessed_success_pct", ["70", "55", "40"]),
        ("Guess", ["70%", "55 %", "40"], "guessed_success_pct", ["70", "55", "40"]),
        ("Donor no", ["DB 1", "#DB 2", "-"], "donor_id", ["DB-1", "DB-2", ""]),
        (
            "Date out",
            ["13/03/2024", "4/3/2024", "5 Apr 2024"],
            "closed_date",
            ["2024-03-13", "2024-03-04", "2024-04-05"],
        ),
        (
            "Date out",
            ["3/13/2024", "3/14/24", "April 5, 2024"],
            "closed_date",
            ["2024-03-13", "2024-03-14", "2024-04-05"],
        ),
        ("Date out", ["2024/03/13", "2024-03-14 15:30", "?"], "closed_date", ["2024-03-13", "2024-03-14", ""]),
        ("Reversible", ["x", "", "no"], "loss_reversible", ["yes", "", "no"]),
        ("Lost for good", ["Yes", "N", ""], "loss_reversible", ["no", "yes", ""]),
        ("Outcome", ["Recovered", "in progress", "failed"], "outcome", ["recovered", "", "not_recovered"]),
    ],
)
def test_units_orders_and_words_are_converted_where_they_can_mean_one_thing(tmp_path, heading, given, column, wanted):
    done = run(with_column(tmp_path / "a.csv", heading, given), tmp_path / "log")
    assert asked(done) == set()
    assert cells(tmp_path / "log", column) == wanted


@pytest.mark.parametrize(
    ("heading", "given", "key", "column", "answer", "wanted"),
    [
        (
            "Date out",
            ["3/4/2024", "5/6/2024", "1/2/2024"],
            "dates",
            "closed_date",
            "day_first",
            ["2024-04-03", "2024-06-05", "2024-02-01"],
        ),
        (
            "Date out",
            ["3/4/2024", "5/6/2024", "1/2/2024"],
            "dates",
            "closed_date",
            "month_first",
            ["2024-03-04", "2024-05-06", "2024-01-02"],
        ),
        ("Device age", ["12", "10", "3"], "unit", "device_age_years", "months", ["1", "0.8333", "0.25"]),
        ("Fee", ["1,500", "2,750", "900"], "decimal", "fee_amount", "point", ["1500", "2750", "900"]),
        ("Fee", ["1,500", "2,750", "900"], "decimal", "fee_amount", "comma", ["1.5", "2.75", "900"]),
    ],
)
def test_what_the_values_do_not_settle_is_asked_and_the_answer_applied(
    tmp_path, heading, given, key, column, answer, wanted
):
    source = with_column(tmp_path / "a.csv", heading, given)
    done = run(source, tmp_path / "log")
    assert asked(done) == {(heading, key)}
    before = cells(tmp_path / "log", column)
    assert all(text in ("", wanted[at]) for at, text in enumerate(before))
    assert "" in before
    replaced(tmp_path / "log" / "import.toml", (f'{key} = "?"', f'{key} = "{answer}"'))
    done = run(source, tmp_path / "log")
    assert asked(done) == set()
    assert cells(tmp_path / "log", column) == wanted
    assert done.merged.changes == []


def test_a_day_that_is_in_no_order_a_day_makes_no_question_of_the_others(tmp_path):
    """One slip is kept aside by itself; the real dates beside it once waited for an answer that nobody could give."""
    done = run(
        with_column(tmp_path / "a.csv", "Date out", ["14.13.2024", "2024-03-04", "2024-05-06"]), tmp_path / "log"
    )
    assert asked(done) == set()
    assert cells(tmp_path / "log", "closed_date") == ["", "2024-03-04", "2024-05-06"]
    assert "14.13.2024" in (tmp_path / "log" / "not_placed.csv").read_text(encoding="utf-8")


def test_an_unknown_word_is_asked_with_its_likeliest_code_and_left_out_until_answered(tmp_path):
    source = with_column(tmp_path / "a.csv", "Test 1 result", ["OK", "short", ""])
    done = run(source, tmp_path / "log")
    assert asked(done) == {("Test 1 result", "values")}
    assert "maybe data_readable" in done.questions[0].text
    assert table(tmp_path / "log", "boot_tests") == [{"job_id": "J-2", "test_no": "1", "boot_result": "short"}]
    replaced(tmp_path / "log" / "import.toml", ('OK = "?"', 'OK = "starts_locked"'))
    assert asked(run(source, tmp_path / "log")) == set()
    assert cells(tmp_path / "log", "boot_result", "boot_tests") == ["short", "starts_locked"]


def test_names_of_technicians_are_asked_for_a_pseudonym(tmp_path):
    done = run(with_column(tmp_path / "a.csv", "Tech", ["Mira", "T2", "Mira"]), tmp_path / "log")
    assert asked(done) == {("Tech", "values")}
    assert cells(tmp_path / "log", "technician_id") == ["", "T2", ""]


def test_client_data_are_neither_taken_over_nor_copied(tmp_path):
    source = with_column(tmp_path / "a.csv", "Client", ["Mr Invented", "Ms Invented", "x"])
    run(source, tmp_path / "log")
    everything = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "log").iterdir())
    assert "Invented" not in everything
    assert len(aside(tmp_path / "log")) == 3


def test_an_address_or_long_number_in_a_free_column_is_not_copied(tmp_path):
    source = with_column(tmp_path / "a.csv", "Notes", ["someone@invented.example", "0123 456 789 01", "sent by post"])
    run(source, tmp_path / "log")
    assert [row["value"][:12] for row in aside(tmp_path / "log")] == ["(not copied:", "(not copied:", "sent by post"]


def test_two_columns_for_one_place_are_both_asked(tmp_path):
    rows = [(*row, "2024-05-01", "2024-05-02") for row in ROWS]
    done = run(sheet(tmp_path / "a.csv", (*HEAD, "Date out", "Closed on"), rows), tmp_path / "log")
    assert asked(done) == {("Date out", "to"), ("Closed on", "to")}


def test_real_dates_that_a_spreadsheet_seems_to_have_swapped_are_asked(tmp_path):
    import datetime as dt

    from tests.records.importing.messy_workbook import xlsx_bytes

    days = [dt.date(2024, 4, 3), dt.date(2024, 5, 6), dt.date(2024, 1, 2), "15/03/2024", "27/04/2024"]
    rows = [["Job no", "Date in", "Damage", "Taken?"], *[[f"J-{n}", day, "drop", "yes"] for n, day in enumerate(days)]]
    path = tmp_path / "a.xlsx"
    path.write_bytes(xlsx_bytes({"Jobs": rows}))
    done = run(path, tmp_path / "log")
    assert asked(done) == {("Date in", "dates")}
    assert cells(tmp_path / "log", "received_date") == ["", "", "", "2024-03-15", "2024-04-27"]
    replaced(tmp_path / "log" / "import.toml", ('dates = "?"', 'dates = "swapped"'))
    run(path, tmp_path / "log")
    wanted = ["2024-03-04", "2024-06-05", "2024-02-01", "2024-03-15", "2024-04-27"]
    assert cells(tmp_path / "log", "received_date") == wanted


def test_a_sheet_that_says_nothing_of_decisions_asks_whether_all_were_accepted(tmp_path):
    source = sheet(tmp_path / "a.csv", HEAD[:3], [row[:3] for row in ROWS])
    done = run(source, tmp_path / "log")
    assert asked(done) == {("", "fixed.jobs.decision")}
    replaced(tmp_path / "log" / "import.toml", ('"jobs.decision" = "?"', '"jobs.decision" = "accepted"'))
    assert asked(run(source, tmp_path / "log")) == set()
    assert cells(tmp_path / "log", "decision") == ["accepted"] * 3


def test_an_outcome_that_says_declined_goes_to_the_decision(tmp_path):
    source = sheet(tmp_path / "a.csv", (*HEAD[:3], "Outcome"), [(*row[:3], "declined") for row in ROWS])
    done = run(source, tmp_path / "log")
    assert asked(done) == {("", "fixed.jobs.decision")}
    assert cells(tmp_path / "log", "decision") == ["declined"] * 3
    assert cells(tmp_path / "log", "outcome") == [""] * 3


def test_donor_facts_without_a_donor_code_are_asked_for(tmp_path):
    source = with_column(tmp_path / "a.csv", "Donor age (years)", [2, 3, ""])
    done = run(source, tmp_path / "log")
    assert asked(done) == {("", "own_donor")}
    assert table(tmp_path / "log", "donors") == []
    replaced(tmp_path / "log" / "import.toml", ('own_donor = "?"', 'own_donor = "yes"'))
    run(source, tmp_path / "log")
    assert cells(tmp_path / "log", "donor_id") == ["D-J-1", "D-J-2", ""]  # J-3 was declined
    assert cells(tmp_path / "log", "donor_age_years", "donors") == ["2", "3"]


def test_titles_over_several_headings_are_read_with_them(tmp_path):
    rows = [("", "", "", "", "CPU", "", "NAND", ""), (*HEAD, "pads lost", "clean passes", "pads lost", "clean passes")]
    rows += [(*row, 0, 2, 1, 3) for row in ROWS[:2]]
    done = run(sheet(tmp_path / "a.csv", ("Invented list",), rows), tmp_path / "log")
    assert asked(done) == {("", "processor_side")}
    found = [(r["chip_role"], r["pads_lost_n"], r["clean_passes_n"]) for r in table(tmp_path / "log", "chip_sides")]
    assert found == [("storage", "1", "3")] * 2


def test_heat_steps_are_numbered_in_the_order_of_work(tmp_path):
    head = (*HEAD, "CPU install temp (°F)", "CPU removal temp (°F)")
    run(sheet(tmp_path / "a.csv", head, [(*row, 626, 680) for row in ROWS]), tmp_path / "log")
    first = table(tmp_path / "log", "heat_steps")[:2]
    by_number = {row["step_no"]: (row["step_type"], row["set_temp_c"]) for row in first}
    assert by_number == {"1": ("removal", "360"), "2": ("install", "330")}


def test_a_sheet_with_a_row_a_test_goes_to_its_table(tmp_path):
    jobs = sheet(tmp_path / "Jobs.csv", HEAD, ROWS)
    tests = [
        ("J-1", 1, "2024-03-10", "boot loop"),
        ("J-1", 2, "2024-03-12", "data ok"),
        ("J-2", 1, "2024-03-20", "short"),
    ]
    long = sheet(tmp_path / "Tests.csv", ("Job", "Test no", "Test date", "Boot result"), tests)
    done = run([jobs, long], tmp_path / "log")
    assert asked(done) == set()
    found = [(r["job_id"], r["test_no"], r["boot_result"]) for r in table(tmp_path / "log", "boot_tests")]
    assert found == [("J-1", "1", "restart_loop"), ("J-1", "2", "data_readable"), ("J-2", "1", "short")]


def test_a_sheet_of_something_else_is_asked_and_kept_aside(tmp_path):
    jobs = sheet(tmp_path / "Jobs.csv", HEAD, ROWS)
    other = sheet(tmp_path / "Stencils.csv", ("Stencil", "Bought"), [("S-1", "2023"), ("S-2", "2024")])
    done = run([jobs, other], tmp_path / "log")
    assert [(q.sheet, q.key) for q in done.questions] == [("Stencils", "row")]
    assert len([row for row in aside(tmp_path / "log") if row["sheet"] == "Stencils"]) == 6


def test_codes_that_may_be_one_are_asked(tmp_path):
    done = run(with_column(tmp_path / "a.csv", "Donor no", ["DB 1", "db1", "DB 2"]), tmp_path / "log")
    assert asked(done) == {("Donor no", "values")}
    assert "'db1' (1 cell, maybe DB-1: like 'DB 1': one or two?)" in done.questions[0].text
    assert cells(tmp_path / "log", "donor_id") == ["DB-1", "", "DB-2"]


def test_codes_that_only_share_their_digits_are_not_asked(tmp_path):
    assert asked(run(with_column(tmp_path / "a.csv", "Board", ["1-12", "11-2", "A-12"]), tmp_path / "log")) == set()


def test_spellings_may_be_answered_one_by_one(tmp_path):
    source, log = with_column(tmp_path / "a.csv", "Tech", ["Ida", "IDA", "ida"]), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ('Ida = "?"', 'IDA = "T2"\nIda = "T1"'))
    done = run(source, log)
    assert asked(done) == {("Tech", "values")}  # the third spelling may be either
    assert cells(log, "technician_id") == ["T1", "T2", ""]


def test_two_steps_under_one_number_are_one_message_on_the_mapping(tmp_path):
    head = (*HEAD, "CPU install temp (°C)", "CPU removal temp (°C)")
    source, log = sheet(tmp_path / "a.csv", head, [(*row, 330, 360) for row in ROWS]), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ("step_no = 2", "step_no = 1"))
    with pytest.raises(SettingsError, match='step_no = 1: the heading "CPU install temp') as told:
        run(source, log)
    assert str(told.value).count("step_no") == 1


@pytest.mark.parametrize(
    ("said", "mistake"),
    [
        ("declined, jobs.decline_reason=cold", "decline_reason has no code cold"),
        ("declined, accepted=yes", "no column of the log is called accepted"),
        ("declined, chip_sides.side=lower", "no column of jobs with codes"),
        ("declined, jobs.decision=accepted", "jobs.decision is settled twice"),
    ],
)
def test_mistakes_in_a_value_that_settles_several_columns_are_told(tmp_path, said, mistake):
    source, log = with_column(tmp_path / "a.csv", "Colour", ["", "", ""]), tmp_path / "log"
    run(source, log)
    replaced(log / "import.toml", ('no = "declined"', f'no = "{said}"'))
    with pytest.raises(SettingsError, match=mistake):
        run(source, log)


def test_a_part_that_other_cells_contradict_is_kept_aside_and_the_rest_placed(tmp_path):
    rows = [(*row[:3], "no - no donor", "price") if row[0] == "J-3" else (*row, "") for row in ROWS]
    source, log = sheet(tmp_path / "a.csv", (*HEAD, "Why declined"), rows), tmp_path / "log"
    run(source, log)
    replaced(
        log / "import.toml", ('"no - no donor" = "?"', '"no - no donor" = "declined, jobs.decline_reason=no_donor"')
    )
    account = run(source, log, apply_changes=True).placement.accounting
    assert cells(log, "decision") == ["accepted", "accepted", "declined"]
    assert cells(log, "decline_reason") == ["", "", ""]
    assert (account.aside, account.partly, len(aside(log))) == (1, 1, 2)


def test_nothing_is_asked_about_totals_and_rows_without_a_code(tmp_path):
    rows = [(f"J-{n}", "2024-03-02", "drop", "yes", 2) for n in range(6)]
    rows += [("Total", "", "", "", "about 12"), ("", "", "", "", "see the shelf")]
    assert asked(run(sheet(tmp_path / "a.csv", (*HEAD, "Bench hours"), rows), tmp_path / "log")) == set()
    assert {row["value"] for row in aside(tmp_path / "log")} == {"Total", "about 12", "see the shelf"}


@pytest.mark.parametrize(
    ("name", "head", "row"),
    [
        ("Sides", ("Job", "Chip", "Side", "clean passes"), ("J-1", "cpu", "lower", "2")),
        ("Heat", ("Job", "Chip", "Step no", "Step", "set temp (°C)"), ("J-1", "cpu", "1", "install", "330")),
    ],
)
def test_a_sheet_of_work_without_its_test_asks_when_it_was_done(tmp_path, name, head, row):
    jobs = sheet(tmp_path / "Jobs.csv", HEAD, ROWS)
    tests = [("J-1", 1, "short"), ("J-1", 2, "data ok")]
    sources = [jobs, sheet(tmp_path / "Tests.csv", ("Job", "Test no", "Boot result"), tests)]
    sources.append(sheet(tmp_path / f"{name}.csv", head, [row]))
    log, table_name = tmp_path / "log", {"Sides": "chip_sides", "Heat": "heat_steps"}[name]
    done = run(sources, log)
    assert [(q.sheet, q.key) for q in done.questions] == [(name, "work_before_test_1")]
    assert table(log, table_name) == []
    replaced(log / "import.toml", ('work_before_test_1 = "?"', 'work_before_test_1 = "yes"'))
    assert asked(run(sources, log)) == set()
    assert cells(log, "before_test_no", table_name) == ["1"]


def test_codes_without_a_digit_that_differ_by_one_letter_are_asked(tmp_path):
    rows = [
        (f"J-{n}", "2024-03-02", "drop", "yes", board) for n, board in enumerate(("Falcon", "Falcon", "Falcn", "Robin"))
    ]
    done = run(sheet(tmp_path / "a.csv", (*HEAD, "Board"), rows), tmp_path / "log")
    assert asked(done) == {("Board", "values")}
    assert "'Falcn' (1 cell, maybe Falcon: like 'Falcon': one or two?)" in done.questions[0].text
    assert cells(tmp_path / "log", "board_family") == ["Falcon", "Falcon", "", "Robin"]
