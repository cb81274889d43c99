"""Which tests run a statement, from what coverage kept of every test file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from tests.health.measured import FileRun
from tests.health.mutants import statement_lines


@dataclass
class Covering:
    """Who runs what.

    Parameters
    ----------
    root : Path
        The tree that was measured.
    seconds : dict
        Seconds of each test, by node id without parameters; of each file the tests in it.
    """

    root: Path
    seconds: dict[str, dict[str, float]] = field(default_factory=dict)
    _run: dict[str, dict[int, set[str]]] = field(default_factory=lambda: defaultdict(lambda: defaultdict(set)))

    def add(self, run: FileRun) -> None:
        """Take in what one test file ran."""
        from coverage import CoverageData

        self.seconds[run.file] = run.times()
        for path in run.data:
            data = CoverageData(basename=str(path))
            data.read()
            for file in (each for each in data.measured_files() if each.startswith("analysis/")):
                for line, contexts in data.contexts_by_lineno(file).items():
                    self._run[file][line] |= {self._test(run.file, context) for context in contexts}

    def tests(self, file: str, line: int) -> list[str]:
        """Node ids of the tests that may notice a change of a line: the likeliest first, then the fastest.

        First those that run the statement themselves; then the other tests of the same files, since what a fixture or a
        kept value ran cannot be told apart by test. A statement that runs at import is run by all tests of the
        files that run anything else of its module.
        """
        direct, files = set(), set()
        for at in _statement(self.root / file, line):
            for test in self._run[file].get(at, ()):
                files.add(test.partition("::")[0])
                direct.add(test)
        if _runs_at_import(self.root / file, line):
            files = self._users(file)
        every = [(test not in direct, seconds, test) for each in files for test, seconds in self.seconds[each].items()]
        return [test for _, _, test in sorted(every)]

    def time_of(self, test: str) -> float:
        """Seconds that a test took when it was measured."""
        return self.seconds[test.partition("::")[0]][test]

    def _users(self, file: str) -> set[str]:
        """Test files that run more of a module than importing it does."""
        lines = self._run[file]
        inner = (tests for at, tests in lines.items() if not _runs_at_import(self.root / file, at))
        return {test.partition("::")[0] for tests in inner for test in tests}

    @staticmethod
    def _test(file: str, context: str) -> str:
        """Coverage's context (``file`` or ``file|tests.models.test_x.test_y``) as a node id."""
        name = context.partition("|")[2].removeprefix(file[:-3].replace("/", ".")).strip(".")
        return "::".join([file, *filter(None, name.split("."))])


@cache
def _source(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@cache
def _statement(path: Path, line: int) -> range:
    return statement_lines(_source(path), line)


@cache
def _import_lines(path: Path) -> frozenset[int]:
    """Lines outside the bodies of functions."""
    import ast

    lines = set(range(1, len(_source(path).splitlines()) + 1))
    for node in ast.walk(ast.parse(_source(path))):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            lines -= set(range(node.body[0].lineno, (node.end_lineno or node.lineno) + 1))
    return frozenset(lines)


def _runs_at_import(path: Path, line: int) -> bool:
    return line in _import_lines(path)


def unsound(runs: Sequence[FileRun]) -> list[str]:
    """Test files of which a test failed without any change."""
    return [run.file for run in runs if not run.sound]
