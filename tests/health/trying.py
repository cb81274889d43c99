"""Runs tests on one mutant after the other, as a script in the clone; each line it reads tells what to do.

One process imports once the libraries that its arguments name; a copy of it runs each lot of tests, so that none is
left with what an earlier mutant did. It must not import ``analysis`` itself.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
import traceback
from pathlib import Path

# Libraries imported beforehand are also plugins of pytest; that is all the same here.
QUIET = ("-W", "ignore::pytest.PytestAssertRewriteWarning")


class _First:
    """The first test that did not pass."""

    by = ""

    def pytest_runtest_logreport(self, report: object) -> None:
        if report.failed and not self.by:  # type: ignore[attr-defined]
            self.by = report.nodeid  # type: ignore[attr-defined]


def _run_tests(tests: list[str], told: Path) -> None:
    """In the copy: run tests up to the first failure, write down how it went, and end."""
    import pytest

    os.setsid()  # what the tests start is ended with this process
    out = os.open(told.with_suffix(".txt"), os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(out, 1)
    os.dup2(out, 2)
    first, base = _First(), told.with_suffix("")
    fixed = [
        "-x",
        "-n",
        "0",
        "-p",
        "no:cacheprovider",
        "--hypothesis-seed=0",
        *QUIET,
        f"--basetemp={base}",
        "--tb=line",
    ]
    code = int(pytest.main([*fixed, *tests], plugins=[first]))
    told.write_text(json.dumps({"code": code, "by": first.by, "late": False}))


def run(tests: list[str], limit_s: float, told: Path) -> dict[str, object]:
    """Run tests in a copy of this process.

    Parameters
    ----------
    tests : list of str
        Node ids.
    limit_s : float
        Seconds after which the copy is ended.
    told : Path
        File in which it tells how it went.

    Returns
    -------
    dict
        ``code`` (pytest's exit code; None if it was ended or ended itself) and ``by``, the first test that failed.
    """
    told.unlink(missing_ok=True)
    child = os.fork()
    if not child:
        try:
            _run_tests(tests, told)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(0)
    end = time.monotonic() + limit_s
    while os.waitpid(child, os.WNOHANG) == (0, 0):
        if time.monotonic() > end:
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
            return {"code": None, "by": "", "late": True}
        time.sleep(0.02)
    return json.loads(told.read_text()) if told.exists() else {"code": None, "by": "", "late": False}


def _put(path: Path, text: str) -> None:
    """Write a source file so that no compiled form of another text of it is taken for it."""
    path.write_text(text, encoding="utf-8")
    for old in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
        old.unlink()


def main() -> None:
    """Read tasks (JSON, one a line) and answer each with one line."""
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    for name in sys.argv[1:]:
        __import__(name)
    root = Path.cwd()
    for line in sys.stdin:
        task = json.loads(line)
        path = root / task["file"] if task["file"] else None
        before = path.read_text(encoding="utf-8") if path else ""
        if path:
            _put(path, task["text"])
        try:
            answer = run(task["tests"], task["limit_s"], Path(task["told"]))
        finally:
            if path:
                _put(path, before)
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
