"""What a study found, kept as a small JSON file so that the verification page can show it (see results/README.md)."""

from __future__ import annotations

import argparse
import ast
import contextlib
import datetime as dt
import io
import json
import re
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
RESULTS = HERE / "results"
ROOT = HERE.parents[1]


@dataclass(frozen=True)
class Finding:
    """One number of a study, what was claimed of it, and whether that holds.

    Parameters
    ----------
    what : str
        The number in words.
    value, error : float
        The number and its Monte Carlo error, in the same unit.
    n : int
        Simulated shops (or fits) behind it.
    low, high : float, optional
        Bounds of the claim; without either nothing is claimed and the number is shown for knowing.
    claim : str
        The claim in words, where bounds alone would not be understood.
    """

    what: str
    value: float
    error: float
    n: int
    low: float | None = None
    high: float | None = None
    claim: str = ""

    @property
    def claimed(self) -> bool:
        """Whether anything is claimed."""
        return self.low is not None or self.high is not None

    @property
    def holds(self) -> bool:
        """Whether the number lies within the bounds; a number that is missing holds nothing."""
        above = self.low is None or self.value >= self.low
        below = self.high is None or self.value <= self.high
        return self.value == self.value and above and below


def failing(findings: Sequence[Finding]) -> list[Finding]:
    """Those of which something is claimed that does not hold."""
    return [each for each in findings if each.claimed and not each.holds]


def share_error(share: float, n: int) -> float:
    """Monte Carlo error of a share of n runs."""
    return float((share * (1 - share) / n) ** 0.5)


def unbiased(what: str, value: float, error: float, n: int) -> Finding:
    """A mean that is claimed to be zero: within three Monte Carlo errors."""
    return Finding(what, value, error, n, -3 * error, 3 * error, "0 within three Monte Carlo errors")


def as_stated(what: str, value: float, error: float, n: int, stated: float) -> Finding:
    """A number that a page states: within three Monte Carlo errors of it."""
    low, high = stated - 3 * error, stated + 3 * error
    return Finding(what, value, error, n, low, high, f"{stated:g} within three Monte Carlo errors, as a page states")


@dataclass(frozen=True)
class Result:
    """One run of a study."""

    study: str
    command: str
    run_on: str
    commit: str
    uncommitted: tuple[str, ...]
    cpu_seconds: float
    findings: tuple[Finding, ...]
    printed: str


def add_write(parser: argparse.ArgumentParser) -> None:
    """Give a study's command the flag that keeps its result."""
    parser.add_argument("--write", action="store_true", help="keep the result in tests/studies/results/")


def report(module: str, write: bool, run: Callable[[], Sequence[Finding]]) -> None:
    """Run a study, print what it prints and its findings, and keep them if asked.

    Parameters
    ----------
    module : str
        ``__file__`` of the study.
    write : bool
        Whether to keep the result.
    run : callable
        Prints the study's tables and gives its findings.
    """
    name, commit = Path(module).stem, _git("rev-parse", "--short=12", "HEAD")
    uncommitted = tuple(line[3:] for line in _git("status", "--porcelain", "--", *runs_on(name)).splitlines())
    start, out = time.process_time(), io.StringIO()
    with contextlib.redirect_stdout(out):
        findings = tuple(run())
    spent = time.process_time() - start
    print(out.getvalue(), end="")
    for each in findings:
        told = ("holds" if each.holds else "FAILS") if each.claimed else "shown"
        print(f"{told} | {each.what} | {each.value:.4f} (Monte Carlo error {each.error:.4f}, n = {each.n})")
    print(f"Took {spent:.0f} CPU seconds.")
    if write:
        words = " ".join(word for word in sys.argv[1:] if word != "--write")
        command = f"python -m tests.studies.{name} {words}".strip()
        today = dt.date.today().isoformat()
        found = Result(name, command, today, commit, uncommitted, round(spent, 1), findings, out.getvalue())
        RESULTS.mkdir(exist_ok=True)
        text = json.dumps(asdict(found), indent=1, ensure_ascii=False, allow_nan=False)
        (RESULTS / f"{name}.json").write_text(text + "\n", encoding="utf-8")


def read_result(name: str) -> Result | None:
    """The kept result of a study; None if it was never kept."""
    path = RESULTS / f"{name}.json"
    if not path.is_file():
        return None
    found = json.loads(path.read_text(encoding="utf-8"))
    findings = tuple(Finding(**each) for each in found.pop("findings"))
    return Result(findings=findings, uncommitted=tuple(found.pop("uncommitted")), **found)


def studies() -> dict[str, str]:
    """Every study with its question: the first line of its module."""
    out = {}
    for path in sorted(HERE.glob("*.py")):
        text = path.read_text(encoding="utf-8")
        if re.search(r"^def main\(", text, re.M):
            out[path.stem] = str(ast.get_docstring(ast.parse(text))).partition("\n")[0]
    return out


def runs_on(name: str) -> tuple[str, ...]:
    """Files that a study imports, directly or through others: what its result depends on."""
    files: dict[str, str] = {}
    waiting = [f"tests.studies.{name}"]
    while waiting:
        module = waiting.pop()
        path = ROOT / f"{module.replace('.', '/')}.py"
        if module in files or path == Path(__file__).resolve() or not path.is_file():
            continue
        files[module] = path.relative_to(ROOT).as_posix()
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith(("analysis", "tests")):
                waiting += [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
    return tuple(sorted(files.values()))


def later_changes(name: str, commit: str) -> int | None:
    """How many commits since changed what a study runs; None where the history cannot be asked."""
    count = _git("rev-list", "--count", f"{commit}..HEAD", "--", *runs_on(name)) if commit else ""
    return int(count) if count else None


def _git(*words: str) -> str:
    """What git answers; empty where there is no git or no history."""
    try:
        done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return ""
    return done.stdout.rstrip("\n")
