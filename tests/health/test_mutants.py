"""Mutants are found, made and told; only what is run by a test file is tried on it."""

from __future__ import annotations

import ast

import pytest

from tests.health.covering import Covering
from tests.health.measured import FileRun, files_of_tests
from tests.health.mutants import changed_lines, mutants_of, mutated, statement_lines
from tests.health.mutation import lots

SOURCE = '''"""Documentation 1 < 2."""

from math import sqrt


def grown(x: int = 1, *, twice: bool = True) -> float:
    """Not a mutant: 3."""
    if x < 2:
        return sqrt(
            x,
        )
    return x * 3
'''


@pytest.fixture
def root(tmp_path):
    (tmp_path / "analysis").mkdir()
    (tmp_path / "analysis" / "grown.py").write_text(SOURCE)
    return tmp_path


def test_each_mutant_is_one_change_of_code_and_never_of_documentation_or_types(root):
    pytest.importorskip("mutmut", reason="the extra 'health' is not installed")
    found = mutants_of(root, "analysis/grown.py")
    changes = [changed_lines(SOURCE, mutated(root, each)) for each in found]
    assert ("if x < 2:", "if x <= 2:") in changes
    assert ("return x * 3", "return x / 3") in changes
    assert ("return x * 3", "return x * 4") in changes
    assert ("x,", "None,") in changes
    for one, (gone, come) in zip(found, changes, strict=True):
        ast.parse(mutated(root, one))
        assert gone != come
        assert "ocumentation" not in gone + come
        assert "Not a mutant" not in gone + come
        assert ": int" in come or ": int" not in gone
    assert len(set(changes)) == len(changes)


@pytest.mark.parametrize(("line", "lines"), [(8, [8]), (9, [9, 10, 11]), (10, [9, 10, 11]), (12, [12]), (6, [6])])
def test_a_line_belongs_to_its_innermost_statement_or_the_head_of_one(line, lines):
    # The documentation of a function is a statement of its own, so that the head ends before it.
    assert list(statement_lines(SOURCE, line)) == lines


def covering(root, monkeypatch):
    """Two test files: one runs both branches in a test each, the other only the last line, in a fixture."""
    who = Covering(root)
    for file, times in {
        "tests/a.py": {"tests/a.py::one": 3.0, "tests/a.py::two": 1.0},
        "tests/b.py": {"tests/b.py::x": 0.5},
    }.items():
        who.seconds[file] = times
    for line, tests in {
        3: {"tests/a.py", "tests/b.py"},
        8: {"tests/a.py::one", "tests/a.py::two"},
        9: {"tests/a.py::one"},
        12: {"tests/a.py::two", "tests/b.py"},
    }.items():
        who._run["analysis/grown.py"][line] = tests
    return who


def test_tests_that_run_a_line_come_first_then_those_of_their_files_the_fastest_first(root, monkeypatch):
    who = covering(root, monkeypatch)
    assert who.tests("analysis/grown.py", 10) == ["tests/a.py::one", "tests/a.py::two"]
    assert who.tests("analysis/grown.py", 12) == ["tests/a.py::two", "tests/b.py::x", "tests/a.py::one"]


def test_what_runs_at_import_is_tried_on_those_who_use_the_module(root, monkeypatch):
    who = covering(root, monkeypatch)
    assert who.tests("analysis/grown.py", 6) == ["tests/b.py::x", "tests/a.py::two", "tests/a.py::one"]


def test_a_line_that_nothing_runs_has_no_tests(root, monkeypatch):
    (root / "analysis" / "idle.py").write_text("def idle():\n    return 1\n")
    assert covering(root, monkeypatch).tests("analysis/idle.py", 2) == []


def test_lots_grow_and_end_with_the_budget(root, monkeypatch):
    who = Covering(root)
    who.seconds["t.py"] = {f"t.py::{at}": 2.0 for at in range(20)} | {"t.py::long": 99.0}
    tests = [f"t.py::{at}" for at in range(20)]
    sizes = [len(lot) for lot in lots(tests, who, budget_s=20)]
    assert sizes == [1, 5, 4]
    assert list(lots(["t.py::long", *tests], who, budget_s=20)) == [["t.py::long"]]


def test_times_are_put_together_by_test_and_skipped_ones_left_out(tmp_path):
    (tmp_path / "times.xml").write_text(
        '<testsuites><testsuite><testcase classname="tests.m.test_a" name="test_x[1]" time="0.5"/>'
        '<testcase classname="tests.m.test_a" name="test_x[2]" time="0.25"/>'
        '<testcase classname="tests.m.test_a.TestIn" name="test_y" time="1"/>'
        '<testcase classname="tests.m.test_a" name="test_z" time="1"><skipped/></testcase></testsuite></testsuites>'
    )
    run = FileRun("tests/m/test_a.py", 0, 2.0, tmp_path)
    assert run.times() == {"tests/m/test_a.py::test_x": 0.75, "tests/m/test_a.py::TestIn::test_y": 1.0}


def test_what_a_process_left_half_written_is_not_read(tmp_path):
    coverage = pytest.importorskip("coverage", reason="the extra 'health' is not installed")
    whole = coverage.CoverageData(basename=str(tmp_path / "data.whole"))
    whole.add_lines({"analysis/a.py": [1, 2]})
    whole.write()
    (tmp_path / "data.cut").write_bytes((tmp_path / "data.whole").read_bytes()[:200])
    (tmp_path / "data.empty").touch()
    found = FileRun("tests/m/test_a.py", 0, 2.0, tmp_path).data
    assert (tmp_path / "data.whole") in found
    assert (tmp_path / "data.cut") not in found


def test_files_are_chosen_by_whole_names_of_folders(tmp_path):
    for name in ("tests/models/test_a.py", "tests/models_too/test_b.py", "tests/health/test_c.py"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    assert files_of_tests(tmp_path, []) == ["tests/models/test_a.py", "tests/models_too/test_b.py"]
    assert files_of_tests(tmp_path, ["tests/models/"]) == ["tests/models/test_a.py"]
    assert files_of_tests(tmp_path, ["tests/models/test_a.py"]) == ["tests/models/test_a.py"]
