"""Each test file is run by itself under coverage: which lines it runs, in which of its tests, and how long each takes.

A file has a process of its own, so that what one file worked out and kept is worked out again by the next: else only
the first file would seem to run those lines. Measured are also processes that a test starts (coverage's patches for
``subprocess``, ``os._exit`` and ``multiprocessing``); of those the file is known, not the test.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.health.clone import environment

# Lint and types run no line of the suite.
LEFT_OUT = ("tests/house/test_lint_and_types.py", "tests/health/")
SETTINGS = """[run]
branch = True
source = analysis, tests
relative_files = True
parallel = True
concurrency = multiprocessing, thread
patch = subprocess, _exit
sigterm = True
dynamic_context = test_function
context = {file}
data_file = {folder}/data
"""
PASSED, NOTHING_TO_RUN = 0, 5  # pytest's exit codes; a file of slow tests only has nothing to run


@dataclass(frozen=True)
class FileRun:
    """One test file, run by itself.

    Parameters
    ----------
    file : str
        The test file, from the root.
    code : int
        Exit code of pytest.
    seconds : float
        By the clock.
    folder : Path
        What coverage and pytest wrote of it.
    """

    file: str
    code: int
    seconds: float
    folder: Path

    @property
    def sound(self) -> bool:
        """Whether no test of it failed."""
        return self.code in (PASSED, NOTHING_TO_RUN)

    @property
    def data(self) -> list[Path]:
        """Coverage's files, one a process; without those of processes that were ended while they wrote."""
        return [path for path in sorted(self.folder.glob("data.*")) if _lines_of(path) is not None]

    def times(self) -> dict[str, float]:
        """Seconds of each test function, all its parameters together, by node id without parameters."""
        out: dict[str, float] = defaultdict(float)
        report = self.folder / "times.xml"
        for case in ET.parse(report).iter("testcase") if report.exists() else ():
            if case.find("skipped") is None:
                classes = case.get("classname", "").removeprefix(self.file[:-3].replace("/", ".")).strip(".")
                parts = [self.file, *filter(None, classes.split(".")), case.get("name", "").partition("[")[0]]
                out["::".join(parts)] += float(case.get("time", 0))
        return dict(out)


def files_of_tests(root: Path, chosen: Sequence[str]) -> list[str]:
    """Test files of a tree, those of models and questions first; all, or those in the folders and files chosen."""
    found = sorted(path.relative_to(root).as_posix() for path in root.glob("tests/**/test_*.py"))
    wanted = [file for file in found if not file.startswith(LEFT_OUT)]
    if chosen:
        wanted = [file for file in wanted if any(f"{file}/".startswith(f"{each.rstrip('/')}/") for each in chosen)]
    first = ("tests/models", "tests/questions", "tests/reference", "tests/cohort", "tests/evidence")
    return sorted(wanted, key=lambda file: next((at for at, each in enumerate(first) if file.startswith(each)), 9))


def measure(root: Path, files: Sequence[str], kept: Path) -> Iterator[FileRun]:
    """Run test files one after the other, each under coverage in a process of its own.

    Parameters
    ----------
    root : Path
        Clone to run in.
    files : sequence of str
        Test files, from the root.
    kept : Path
        Folder of what was measured; a file is run again only where it or anything it may use has changed.

    Yields
    ------
    FileRun
        Each file as it ends.
    """
    own, shared = environment(root), _data_hash(root)
    for file in files:
        folder = kept / "measured" / file.replace("/", ".").removesuffix(".py")
        done = folder / "done.json"
        if not (done.exists() and json.loads(done.read_text())["used"] == _used(root, file, folder, shared)):
            code, seconds = _measure_one(root, file, folder, own)
            done.write_text(
                json.dumps({"code": code, "seconds": seconds, "used": _used(root, file, folder, shared)}, indent=1)
            )
        told = json.loads(done.read_text())
        yield FileRun(file, told["code"], told["seconds"], folder)


def _measure_one(root: Path, file: str, folder: Path, own: dict[str, str]) -> tuple[int, float]:
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("data.*"):
        old.unlink()
    settings = folder / "settings"
    settings.write_text(SETTINGS.format(file=file, folder=folder))
    words = ["-m", "coverage", "run", f"--rcfile={settings}", "-m", "pytest", "-n", "0", "-p", "no:cacheprovider"]
    words += [f"--basetemp={folder.parent / 'temporary'}", f"--junitxml={folder / 'times.xml'}", file]
    start = time.monotonic()
    with (folder / "printed.txt").open("w") as out:
        code = subprocess.run(
            [sys.executable, *words], cwd=root, env=own, stdout=out, stderr=out, check=False
        ).returncode
    return code, round(time.monotonic() - start, 1)


def _used(root: Path, file: str, folder: Path, shared: str) -> dict[str, str]:
    """Hashes of every file that a test file ran, by what coverage kept of it, and of the data any of them may read."""
    names = {file}
    for path in folder.glob("data.*"):
        names |= _lines_of(path) or set()
    present = {name: root / name for name in sorted(names) if (root / name).is_file()}
    return {"data": shared} | {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in present.items()}


def _lines_of(path: Path) -> set[str] | None:
    """Files of which a process ran a line, by coverage's file of it; None where that was not written to its end."""
    from coverage import CoverageData
    from coverage.exceptions import DataError

    data = CoverageData(basename=str(path))
    try:
        data.read()
        return {each for each in data.measured_files() if data.lines(each)}  # others were only found, not run
    except DataError:
        return None


def _data_hash(root: Path) -> str:
    """Hash of what tests may read without running it: the demo log, notebooks, words and templates of the package."""
    told = hashlib.sha256()
    for top in ("analysis", "data_demo", "notebooks"):
        for path in sorted((root / top).rglob("*")):
            if path.is_file() and path.suffix not in (".py", ".pyc"):
                told.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return told.hexdigest()
