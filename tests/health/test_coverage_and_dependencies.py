"""Figures of coverage are put together by folder; declarations, imports and the audit's output are read as they are."""

from __future__ import annotations

import json

from packaging.requirements import Requirement

from tests.health.coverage import Covered, by_folder, least, out_of_report
from tests.health.dependencies import audit_lines, audit_told, imported_names, pins_at_odds


def test_folders_add_up_and_branches_count_beside_statements():
    files = [
        Covered("analysis/a/x.py", 10, 9, 4, 1),
        Covered("analysis/a/b/y.py", 10, 10, 0, 0),
        Covered("analysis/z.py", 5, 0, 1, 0),
    ]
    folders = {each.name: each for each in by_folder(files)}
    assert folders["analysis/a"] == Covered("analysis/a", 20, 19, 4, 1)
    assert folders["analysis/*.py"] == Covered("analysis/*.py", 5, 0, 1, 0)
    assert folders["all"] == Covered("all", 25, 19, 5, 1)
    assert folders["analysis/a"].share == 20 / 24
    assert [each.name for each in least(files, 2)] == ["analysis/z.py", "analysis/a/x.py"]
    assert folders["analysis/a"].line().split() == ["analysis/a", "20", "95.0", "4", "25.0", "83.3"]


def test_a_report_of_coverage_is_read():
    row = {"num_statements": 3, "covered_lines": 2, "num_branches": 2, "covered_branches": 1, "percent_covered": 60.0}
    assert out_of_report({"files": {"analysis/a.py": {"summary": row}}}) == [Covered("analysis/a.py", 3, 2, 2, 1)]


def test_pins_that_are_missing_or_not_allowed_are_named():
    needs = {"": [Requirement("numpy>=1.26"), Requirement("pandas<2")], "bench": [Requirement("no-such-package>=1")]}
    told = pins_at_odds(needs, {"numpy": "1.30", "pandas": "2.3"})
    assert "pandas is pinned at 2.3, declared <2" in told
    assert "no-such-package (bench) is not pinned" in told
    assert not [line for line in told if line.startswith("numpy is pinned at 1.30, declared")]


def test_imports_are_found_wherever_they_stand_and_relative_ones_are_not_packages():
    within = "\n\ndef f():\n    from scipy import stats\n    import_module('rich')\n"
    text = "import numpy.linalg as la, os\nfrom . import near\n" + within
    assert imported_names(text) == {"numpy", "os", "scipy", "rich"}


def test_an_audit_that_looked_nothing_up_is_not_taken_for_a_clean_one():
    skipped = {"name": "numpy", "skip_reason": "Dependency not found: numpy (2.4)"}
    clean = {"name": "rich", "version": "15", "vulns": []}
    bad = {"name": "old", "version": "1", "vulns": [{"id": "PYSEC-1"}, {"id": "PYSEC-2"}]}
    told = audit_told(json.dumps({"dependencies": [skipped, clean, bad]}), "")
    assert told == {
        "answered": 2,
        "asked": 3,
        "found": ["old 1: PYSEC-1", "old 1: PYSEC-2"],
        "reason": "1 x Dependency not found",
    }
    silent = audit_told("", "Traceback\nConnectionError: host='db.example', url: https://db.example/v1 refused")
    assert silent["answered"] == 0
    assert "example" not in silent["reason"]
    assert "refused" in silent["reason"]
    assert "NOT AUDITED, 0 of 0" in audit_lines(silent)[0]
    assert audit_lines(told)[0] == "Vulnerabilities: 2 found in 2 of 3 packages"
    assert audit_lines(told)[-1].startswith("NOT AUDITED: 1 x")
