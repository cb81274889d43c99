"""A log full of planted identifiers: the check flags each, and none reaches a report's source or metadata."""

from __future__ import annotations

import pytest

from analysis.cli import DEMO
from analysis.errors import ReworkError
from analysis.questions.review import build_review
from analysis.records.check import check_log
from analysis.records.dictionary import BY_NAME, TABLES, Kind
from analysis.records.identifiers import luhn, reads_like, with_lone_words
from analysis.records.log import read_log
from analysis.records.packed_texts import packed
from analysis.records.problems import Severity
from analysis.report import first_screen, job_card_view, review_changed, review_rates, since_last_view
from analysis.report.evidence_wording import languages
from tests.evidence.sealed import TODAY, demo_copy, rows_of, sealed, sheet, write_rows

NAMES = ("Anna-Mueller", "mueller_anna", "Mr-Okonkwo", "Garcia-Lopez", "J-Thomas")
OTHERS = {
    "IMEI490154203237518": "device's number",
    "8944110068256270054": "personal data",
    "0171-2345678": "telephone",
    "anna.k@mail.example": "e-mail",
    "+49-171-2345678": "telephone",
    "030/1234567": "telephone",
    "C39XK0AB1CD2": "serial",
}
KEYS = [(table.name, c.name) for table in TABLES for c in table.columns if c.kind is Kind.KEY]
ORDINARY = """
J-0001 20240315-01 2024-0012 JOB-2024-00017 AUF_2024_001 24-03-0017 K24-001-2 000123 A12-B07 FAM-A iP12-board S1 T1
T12 Bench-Left Station-2 Hot-Air-1 LOT-19 LOT-2024-03 D-0564 D/2024/17 main.board.7 SN-12345 FAM-Max
"""


@pytest.mark.parametrize("text", ORDINARY.split())
def test_an_ordinary_code_is_let_be(text):
    assert reads_like(text) == ""


@pytest.mark.parametrize("text", [*NAMES, *OTHERS])
def test_an_identifier_is_told(text):
    assert reads_like(text)


def test_the_demo_gives_no_warning():
    assert not [p for p in check_log(DEMO).problems if p.code == "personal-text"]


def test_the_check_digit():
    assert luhn("490154203237518")  # the example of 3GPP TS 23.003 as commonly printed (from memory)
    assert not luhn("490154203237517")
    assert luhn("79927398713")  # the example of the algorithm as commonly printed (from memory)


def test_a_bank_account_is_told_by_its_check_digits():
    assert "bank account" in reads_like("GB82WEST12345698765432")  # the example commonly printed (from memory)
    assert "bank account" not in reads_like("GB83WEST12345698765432")


def test_a_surname_among_ordinary_job_codes_is_told():
    codes = ["J-0001", "J-0002", "J-0003", "Schmidt", "KOWALSKI-2", "patel_phone", "Muller_iP12"]
    assert with_lone_words(packed(codes)) == [3, 4, 5, 6]
    for own in (
        [f"Werkstatt-{n}" for n in range(9)],
        ["Werkstatt-1", "Werkstatt-2"],
        ["Auftrag-1", "J-2", "J-3", "J-4"],
    ):
        assert with_lone_words(packed(own)) == []


def test_a_surname_as_a_job_code_is_flagged_and_no_report_shows_it(tmp_path):
    folder = demo_copy(tmp_path / "log")
    plant(folder, "jobs", "job_id", "Schmidt")
    found = [p for p in check_log(folder, TODAY).problems if p.code == "personal-text"]
    assert {(p.file, p.column) for p in found} >= {("jobs.csv", "job_id")}
    assert not any(
        "Schmidt" in str(text) for text in read_log(folder, TODAY).without_faulty_jobs().tables["jobs"]["job_id"]
    )


def test_names_of_files_folders_and_comments_reach_no_page(tmp_path):
    folder = demo_copy(tmp_path / "Okonkwo log")
    (folder / "Garcia Lopez.csv").write_text("client,telephone\nThomas Mueller,0171 2345678\n", encoding="utf-8")
    (folder / "not_placed.csv").write_text("what\nThomas Mueller\n", encoding="utf-8")
    settings = folder / "bench.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + "# Thomas Mueller 0171 2345678\n", encoding="utf-8")
    sealed(folder)
    files = [sheet(folder, tmp_path / "out", recount_file=tmp_path / "r.csv"), tmp_path / "r.csv"]
    files += [sheet(folder, tmp_path / "out", language="de", intake=["intake_damage=drop", "device_age_years=3"])]
    for file in (*files, folder / "seals" / "ledger.jsonl"):
        assert_free_of(file.read_text(encoding="utf-8"), ["2345678", "Lopez"])


def test_the_source_of_a_page_says_nothing_of_a_device_that_the_page_does_not(tmp_path):
    """What the facts for machines hold of a client's own device stands on the page in words, too."""
    folder = demo_copy(tmp_path / "log")
    sealed(folder)
    told = ["intake_damage=drop", "device_age_years=3,5", "device_class=tablet", "second_damage=heat"]
    told += ["prior_rework=elsewhere", "underfill=partial"]
    text = sheet(folder, tmp_path, intake=told).read_text(encoding="utf-8")
    label = "A device like yours (Drop, also: Heat, tablet, 3.5 years old, worked on elsewhere before, some resin"
    assert label in text
    with pytest.raises(ReworkError, match="3 Anna"):
        sheet(folder, tmp_path, intake=["intake_damage=drop", "device_age_years=3 Anna"])


def plant(folder, table, column, text):
    """Put a text in a column: in the tenth row, and wherever the value it replaces stands as the same key."""
    heads, rows = rows_of(folder / f"{table}.csv")
    at = heads.index(column)
    filled = [row for row in rows if row[at]]
    old = filled[9 if len(filled) > 9 else 0][at] if filled else ""
    if not old:
        rows[0][at] = text
        write_rows(folder / f"{table}.csv", heads, rows)
        return
    target = BY_NAME[table][column].references or f"{table}.{column}"
    for other, name in KEYS:
        if f"{other}.{name}" == target or BY_NAME[other][name].references == target:
            names, lines = rows_of(folder / f"{other}.csv")
            where = names.index(name)
            write_rows(
                folder / f"{other}.csv",
                names,
                [[*r[:where], text if r[where] == old else r[where], *r[where + 1 :]] for r in lines],
            )


@pytest.mark.parametrize(("table", "column"), KEYS)
def test_the_check_flags_an_identifier_in_any_text_column(tmp_path, table, column):
    folder = demo_copy(tmp_path / "log")
    plant(folder, table, column, "Anna-Mueller")
    found = [p for p in check_log(folder, TODAY).problems if (p.file, p.column) == (f"{table}.csv", column)]
    assert found
    assert all(p.severity is Severity.WARNING and p.code == "personal-text" for p in found)
    assert all("code of your own" in p.todo and "'Anna-Mueller'" in p.found for p in found)


def full_of_identifiers(folder):
    """Names in every text column, numbers and addresses in jobs that are then set aside, and columns of notes."""
    texts = []
    for n, (table, column) in enumerate(KEYS):
        text = f"{NAMES[n % len(NAMES)]}-{'abcdefghijklmnopqrstuvw'[n]}"
        plant(folder, table, column, text)
        texts.append(text)
    heads, rows = rows_of(folder / "jobs.csv")
    for row, text in zip(rows[20:], OTHERS, strict=False):
        row[heads.index("board_family")] = text
        texts.append(text)
    rows = [[*row, f"Client {n} Fatima Oyelaran 0171/5550{n:03d}"] for n, row in enumerate(rows)]
    write_rows(folder / "jobs.csv", [*heads, "client_name"], rows)
    return [*texts, "Oyelaran", "0171/5550"]


@pytest.fixture(scope="module")
def planted(tmp_path_factory):
    folder = demo_copy(tmp_path_factory.mktemp("planted") / "log")
    return folder, full_of_identifiers(folder)


def assert_free_of(html, texts):
    for text in texts:
        assert text not in html, text
    for part in (
        "Mueller",
        "mueller",
        "Okonkwo",
        "Garcia",
        "Thomas",
        "490154203237518",
        "C39XK0AB1CD2",
        "mail.example",
    ):
        assert part not in html, part


def test_the_planted_log_is_flagged_column_by_column(planted):
    folder, texts = planted
    problems = check_log(folder, TODAY).problems
    told = {(p.file, p.column) for p in problems if p.code in ("personal-text", "personal-data")}
    assert told == {(f"{table}.csv", column) for table, column in KEYS}
    found = " ".join(p.found for p in problems)
    assert not [text for text in texts[: len(KEYS)] if text not in found]
    assert any(p.code == "unknown-column" and "client_name" in p.found for p in problems)


@pytest.mark.parametrize("language", languages())
def test_none_reaches_the_sheet_its_source_or_the_recount_file(planted, tmp_path, language):
    folder, texts = planted
    if (folder / "seals").exists():
        raise AssertionError("the planted log has faults, so that it is never sealed")
    path = sheet(folder, tmp_path, language=language)
    assert_free_of(path.read_text(encoding="utf-8"), texts)


def test_none_reaches_the_recount_file_of_a_sealed_log(tmp_path):
    folder = demo_copy(tmp_path / "log")
    texts = []
    for n, (table, column) in enumerate(KEYS):
        texts.append(f"{NAMES[n % len(NAMES)]}-{'abcdefghijklmnopqrstuvw'[n]}")
        plant(folder, table, column, texts[-1])
    sealed(folder)
    path = sheet(folder, tmp_path, recount_file=tmp_path / "r.csv")
    for file in (
        path,
        tmp_path / "r.csv",
        folder / "seals" / "ledger.jsonl",
        folder / "seals" / "published.private.jsonl",
    ):
        assert_free_of(file.read_text(encoding="utf-8"), texts)


def test_none_reaches_the_monthly_review_and_rows_stay_joined(planted):
    folder, texts = planted
    review = build_review(folder, "2024-09")
    shown = [first_screen.page_head(review), first_screen.first_screen(review)]
    made = [getattr(review_rates, name) for name in ("causes_grid", "received_grid", "lacks", "pads_grid")]
    made += [job_card_view.talk_cards, review_changed.candidates_grid, since_last_view.next_time]
    html = "".join(part._repr_html_() for part in [shown[1], *(make(review) for make in made)])
    html += str(shown[0]._repr_mimebundle_())
    assert_free_of(html, texts)
    log = read_log(folder, TODAY).without_faulty_jobs()
    jobs = set(log.tables["jobs"]["job_id"])
    assert any(code.startswith("hidden-") for code in jobs)
    assert set(log.tables["boot_tests"]["job_id"]) <= jobs
    assert set(log.tables["jobs"]["donor_id"].dropna()) <= set(log.tables["donors"]["donor_id"])
