"""What is kept of a study reads back as it was, and a claim that does not hold is never told as holding."""

from __future__ import annotations

import json
import math

import pytest

from tests.studies import record
from tests.studies.record import Finding, as_stated, failing, unbiased


def test_a_finding_holds_within_its_bounds_and_nowhere_else():
    assert Finding("x", 0.95, 0.01, 200, 0.93, 0.97).holds
    assert not Finding("x", 0.92, 0.01, 200, 0.93, 0.97).holds
    assert not Finding("x", 0.98, 0.01, 200, None, 0.97).holds
    assert not Finding("x", math.nan, 0.01, 200, 0.93).holds
    assert unbiased("x", 0.029, 0.01, 200).holds
    assert not unbiased("x", -0.031, 0.01, 200).holds
    assert as_stated("x", 0.06, 0.01, 200, 0.04).holds
    assert not as_stated("x", 0.08, 0.01, 200, 0.04).holds
    shown = Finding("x", 7.0, 1.0, 3)
    bad = Finding("y", 7.0, 1.0, 3, None, 5.0)
    assert not shown.claimed
    assert failing([shown, bad]) == [bad]


def test_what_is_kept_reads_back(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(record, "RESULTS", tmp_path)
    monkeypatch.setattr("sys.argv", ["x", "--shops", "3", "--write"])
    made = [Finding("share", 0.5, 0.1, 3, 0.4, 0.6)]

    def run():
        print("a table")
        return made

    record.report("tests/studies/points.py", True, run)
    assert "holds | share" in capsys.readouterr().out
    found = record.read_result("points")
    assert list(found.findings) == made
    assert (found.command, found.printed) == ("python -m tests.studies.points --shops 3", "a table\n")
    assert record.read_result("attempts") is None
    assert "holds" not in json.loads((tmp_path / "points.json").read_text(encoding="utf-8"))["findings"][0]


def test_every_study_has_a_question_and_kept_results_belong_to_one():
    known = record.studies()
    assert all(question.endswith(("?", ".")) for question in known.values()), known
    assert {path.stem for path in record.RESULTS.glob("*.json")} <= set(known)


@pytest.mark.parametrize("path", sorted(record.RESULTS.glob("*.json")), ids=lambda path: path.stem)
def test_a_kept_result_is_whole(path):
    found = record.read_result(path.stem)
    assert found.study == path.stem
    assert found.command.startswith(f"python -m tests.studies.{path.stem}")
    assert found.findings
    assert found.commit


def test_what_a_study_runs_is_followed_through_its_imports():
    files = record.runs_on("points")
    assert {"tests/studies/points.py", "analysis/models/firth.py", "analysis/models/penalised.py"} <= set(files)
    assert "analysis/models/cusum.py" not in files
    assert "tests/studies/record.py" not in files
    assert "analysis/demo/simulator.py" in record.runs_on("watch")
    assert record.later_changes("points", "") is None
    assert record.later_changes("points", "no-such-commit") is None
