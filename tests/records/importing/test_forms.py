"""One invented messy workbook in three forms: the same log from each, and a first report from it."""

from __future__ import annotations

import hashlib
import zipfile
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.records.check import check_log
from analysis.records.dictionary import TABLES
from tests.records.importing import messy_workbook
from tests.records.importing.messy_workbook import ANSWERS, HERE, answer
from tests.records.importing.sheets import TODAY, aside, asked, cells, run

FORMS = {
    "xlsx": [HERE / "messy_workbook.xlsx"],
    "ods": [HERE / "messy_workbook.ods"],
    "csv": [HERE / "Jobs.csv", HERE / "Donors.csv"],
}


def content(folder: Path) -> dict[str, str]:
    """The log's tables and settings."""
    names = [*(table.file for table in TABLES), "bench.toml", "import.toml"]
    return {name: (folder / name).read_text(encoding="utf-8") for name in names}


@pytest.fixture(scope="module")
def logs(tmp_path_factory):
    """Each form imported, answered and imported again."""
    out = {}
    for form, sources in FORMS.items():
        folder = tmp_path_factory.mktemp(form) / "log"
        first = run(sources, folder)
        after_first = content(folder)
        answer(folder / "import.toml")
        out[form] = (folder, first, after_first, run(sources, folder))
    return out


def parts(path):
    """What is in a file, whatever the compression of this machine's zlib."""
    if path.suffix == ".csv":
        return path.read_bytes()
    with zipfile.ZipFile(path) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def test_the_committed_files_are_what_the_script_writes(tmp_path):
    for path in messy_workbook.write(tmp_path):
        assert parts(path) == parts(HERE / path.name), path.name
        assert path.stat().st_size < 200_000


@pytest.mark.parametrize("form", ["ods", "csv"])
def test_every_form_gives_the_same_log(logs, form):
    folder, _, after_first, _ = logs[form]
    assert after_first == logs["xlsx"][2]
    assert content(folder) == content(logs["xlsx"][0])


def test_the_questions_are_those_the_owner_answers_and_no_more(logs):
    _, first, _, second = logs["xlsx"]
    keys = {(q.sheet, q.heading, q.key) for q in first.questions}
    answered = {(sheet, heading, key.partition(".")[0]) for sheet, heading, key, _ in ANSWERS}
    assert keys == answered
    assert asked(second) == set()


def test_the_second_run_applies_the_answers_without_asking_for_changes(logs):
    folder, first, _, second = logs["xlsx"]
    assert second.merged.changes == []
    assert second.merged.cells_added > 0
    assert second.placement.accounting.aside < first.placement.accounting.aside
    assert set(cells(folder, "technician_id")) == {"T1", "T2", ""}
    assert set(cells(folder, "side", "chip_sides")) == {"lower"}


def test_job_codes_keep_their_zeros(logs):
    codes = cells(logs["xlsx"][0], "job_id")
    assert codes[:3] == ["001", "002", "003"]


def test_the_planted_trouble_is_kept_aside_with_its_reason(logs):
    rows = aside(logs["xlsx"][0])
    reasons = {row["why"] for row in rows}
    for part in ("above the headings", "a row of totals", "the same row again", "with different content", "no job_id"):
        assert any(part in reason for reason in reasons), part
    assert [row["why"] for row in rows if row["value"] == "99/99/2024"] == [
        "rule: a day that exists | do: Write the day as YYYY-MM-DD."
    ]
    assert "049" not in cells(logs["xlsx"][0], "job_id")
    formula = [row for row in rows if "SUM(A1:A9)" in row["value"]]
    assert len(formula) == 1
    assert formula[0]["value"].startswith("'=")


def test_the_log_has_the_one_fault_that_the_sheet_has(logs):
    faults = [p for p in check_log(logs["xlsx"][0], TODAY).problems if p.severity == "fault"]
    assert [(p.job, p.column) for p in faults] == [("021", "received_date")]


def test_what_the_import_leaves_in_the_folder_does_not_disturb_the_check(logs):
    assert not [p for p in check_log(logs["xlsx"][0], TODAY).problems if p.code == "stranger"]


def test_the_sources_are_not_touched(tmp_path):
    source = tmp_path / "jobs.xlsx"
    source.write_bytes((HERE / "messy_workbook.xlsx").read_bytes())
    before = (hashlib.sha256(source.read_bytes()).hexdigest(), source.stat().st_mtime_ns)
    source.chmod(0o444)
    run(source, tmp_path / "log")
    answer(tmp_path / "log" / "import.toml")
    run(source, tmp_path / "log", apply_changes=True)
    assert (hashlib.sha256(source.read_bytes()).hexdigest(), source.stat().st_mtime_ns) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["jobs.xlsx", "log"]


def test_from_the_workbook_to_a_first_review(tmp_path, capsys):
    folder, pages = tmp_path / "log", tmp_path / "pages"
    command = ["import", str(HERE / "messy_workbook.xlsx"), "--into", str(folder)]
    assert main(command) == 1
    out = capsys.readouterr().out
    assert out.count("QUESTION ") == len({(sheet, head or key) for sheet, head, key, _ in ANSWERS})
    answer(folder / "import.toml")
    assert main(command) == 1  # the one faulty date of the sheet
    out = capsys.readouterr().out
    assert "QUESTION" not in out
    assert f"Next: rework check {folder}" in out
    assert f"rework review {folder}" in out
    assert main(["review", str(folder), "--out", str(pages)]) == 0
    page = next(pages.glob("*.html")).read_text(encoding="utf-8")
    assert "70 jobs in the log" in " ".join(page.split())
    assert "1 job set aside because of faults" in page
