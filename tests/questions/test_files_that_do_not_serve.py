"""Plans that cannot be read, lists that cannot be written, models that cannot be stored: said in words."""

from __future__ import annotations

import os
from dataclasses import replace

import pandas as pd
import pytest

from analysis.cli import DEMO
from analysis.errors import LogError, ReworkError
from analysis.questions import stored_bench
from analysis.questions.evidence import build_evidence
from analysis.questions.evidence_intake import alike
from analysis.questions.evidence_span import half_year
from analysis.questions.known_bench import known_bench
from analysis.questions.offer_rows import Outcome
from analysis.questions.period import month_for
from analysis.questions.published import Shown, published_sheets, record_published
from analysis.questions.trial_file import COLUMNS, LARGEST, read_plan
from analysis.records.log import read_log
from tests.files import write
from tests.tables import log_of


def a_folder(path):
    path.mkdir()


def a_large_file(path):
    with path.open("wb") as file:
        file.truncate(LARGEST + 1)


def a_lost_quotation_mark(path):
    """One cell of more letters than a cell may have."""
    path.write_text('plan,damage_class,line\n"' + "x," * 600_000, encoding="utf-8")


def headings_only(path):
    path.write_text(",".join(COLUMNS) + "\n", encoding="utf-8")


AS_WRITTEN = (
    "Use the file as 'rework compare --plan-out' wrote it, with only job_id, written_consent and note filled in."
)


@pytest.mark.parametrize(
    ("make", "found", "rule", "todo"),
    [
        (
            lambda path: None,
            "cannot be read: ",
            "The file of 'rework compare --plan-out'.",
            "Name the list that was written.",
        ),
        (a_folder, "cannot be read: ", "The file of 'rework compare --plan-out'.", "Name the list that was written."),
        (a_large_file, "is too large for a plan", "A plan has some hundred lines.", "Name the plan's own file."),
        (headings_only, "holds no line", "A plan has a line for every coming job.", AS_WRITTEN),
        (a_lost_quotation_mark, "is no list of lines (", "A plan is a CSV file.", AS_WRITTEN),
    ],
)
def test_what_is_no_plan_is_refused_by_its_name(tmp_path, make, found, rule, todo):
    path = tmp_path / "plan.csv"
    make(path)
    with pytest.raises(ReworkError) as stop:
        read_plan(path)
    assert stop.value.found.startswith(found)
    assert (stop.value.where, stop.value.rule, stop.value.todo) == ("plan.csv", rule, todo)


def test_a_list_of_sheets_that_cannot_be_written_stops_the_sheet(tmp_path):
    """The folder 'seals' is not there."""
    with pytest.raises(LogError, match="the list of published sheets cannot be written: "):
        record_published(tmp_path, "2024H1", [Shown("recovered", "total", frozenset({"a"}))])
    assert published_sheets(tmp_path) == []


def test_models_that_cannot_be_stored_answer_all_the_same(tmp_path):
    """Where the folder of stored models should be lies a file."""
    jobs = [
        {
            "job_id": f"J{i}",
            "received_date": "2025-01-05",
            "intake_damage": "drop",
            "decision": "accepted",
            "outcome": "recovered" if i % 2 else "not_recovered",
            "closed_date": "2025-01-20",
            "first_boot_result": "data_readable" if i % 2 else "short",
            "loss_reversible": "" if i % 2 else "yes",
        }
        for i in range(60)
    ]
    folder, cache, said = write(tmp_path / "log", {"jobs": jobs}), tmp_path / "cache", []
    cache.write_text("mine", encoding="utf-8")
    bench, _ = known_bench(folder, cache, said.append)
    assert bench.models[Outcome.RECOVERED].n == 60
    assert said[0] == "No model is stored yet; fitting …"
    assert said[1].startswith("The models could not be stored (")
    assert said[1].endswith("); the next call makes them again.")
    assert cache.read_text(encoding="utf-8") == "mine"


def test_the_models_stored_last_are_kept_and_older_ones_go(tmp_path):
    for k in range(7):
        (tmp_path / f"log{k}").mkdir()
        for path in (tmp_path / f"log{k}" / stored_bench.BENCH_FILE, tmp_path / f"files-{k}.json"):
            path.write_text("{}", encoding="utf-8")
            os.utime(path, (1_000_000 + k, 1_000_000 + k))
    stored_bench._forget_oldest(tmp_path)
    assert sorted(path.name for path in tmp_path.glob("log*")) == [f"log{k}" for k in range(2, 7)]
    assert len(list(tmp_path.glob("files-*.json"))) == 7


def test_a_month_of_a_log_without_dates_cannot_be_asked_for():
    with pytest.raises(ReworkError, match="no job with a date"):
        month_for(log_of(), "2025-05")


def test_a_device_is_compared_only_with_jobs_that_stand_on_the_sheet():
    log = read_log(DEMO).without_faulty_jobs()
    counted = build_evidence(log, half_year("2024H1"), pd.Timestamp("2024-09-30"))
    without = replace(counted, classes=tuple(row for row in counted.classes if "liquid" not in row.codes))
    with pytest.raises(ReworkError) as stop:
        alike(log, without, {"intake_damage": "liquid"})
    assert stop.value.found == f"the sheet of {counted.span.name} shows no rate for the damage 'liquid'."
    assert stop.value.rule == "A device is compared only with jobs that stand on the sheet."
    assert stop.value.todo == "Choose a longer period, or make the sheet without --intake."
    with pytest.raises(ReworkError, match=r"^lot, technician_id: no facts of a device that are asked\.$"):
        alike(log, counted, {"intake_damage": "liquid", "technician_id": "T1", "lot": "L"})
