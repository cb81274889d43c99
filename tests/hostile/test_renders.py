"""Pages interrupted, made twice at once, or without room: the last good one stays, and nothing half-written."""

from __future__ import annotations

import errno
import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.errors import RenderError
from analysis.report.publishing import refuse_unwritable
from tests.hostile.commands import ROOT, rework

POSIX = pytest.mark.skipif(os.name != "posix", reason="signals and limits of POSIX")
LOG = "data_demo"
OLD = "the last good page"


def started(out: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "analysis", "check", LOG, "--page", str(out)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def is_whole(page: Path) -> bool:
    html = page.read_text(encoding="utf-8")
    return html.lstrip().startswith("<!DOCTYPE html>") and html.rstrip().endswith("</html>")


@POSIX
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_an_interrupted_render_leaves_the_last_good_page(tmp_path, how):
    page = tmp_path / "log-check.html"
    page.write_text(OLD)
    running = started(tmp_path)
    lines = iter(running.stderr)
    assert any(line.startswith("  ") for line in lines), "no section of the notebook was begun"
    os.killpg(running.pid, how)
    _, said = running.communicate(timeout=60)
    assert "Traceback" not in said
    assert page.read_text() == OLD
    assert os.listdir(tmp_path) == ["log-check.html"]


@POSIX
def test_two_renders_at_once_both_end_well_and_leave_one_whole_page(tmp_path):
    both = [started(tmp_path) for _ in range(2)]
    for running in both:
        out, said = running.communicate(timeout=120)
        assert running.returncode == 0, out + said
    assert os.listdir(tmp_path) == ["log-check.html"]
    assert is_whole(tmp_path / "log-check.html")


@POSIX
def test_a_disk_without_room_leaves_the_last_good_page(tmp_path):
    """No file may grow beyond 20,000 bytes: to the command that is a full disk in the middle of writing the page."""
    page = tmp_path / "log-check.html"
    page.write_text(OLD)
    code = (
        "import resource, sys, pathlib\n"
        "from analysis.report.publishing import publish\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, resource.RLIM_INFINITY))\n"
        "try:\n    publish('x' * 100_000, pathlib.Path(sys.argv[1]))\n"
        "except Exception as error:\n    print(type(error).__name__, error)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(page)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.stdout.startswith("RenderError"), done
    assert "cannot be written" in done.stdout
    assert page.read_text() == OLD
    assert os.listdir(tmp_path) == ["log-check.html"]
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 20_000, "the limit was the other process's"


@POSIX
def test_a_folder_that_cannot_be_written_is_told_in_words(tmp_path):
    """A device in place of the folder: even the machine's owner cannot write there."""
    answer = rework("check", LOG, "--page", "/dev/null/out")
    assert answer.status == 2
    assert "/dev/null" in answer.err


@POSIX
@pytest.mark.parametrize(
    "command",
    [
        ["review", LOG, "--out", "/dev/null/out"],
        ["compare", LOG, "--technician", "T2", "--out", "/dev/null/out"],
        ["compare", LOG, "--plan-out", "/dev/null/plan.csv"],
        ["counter", LOG, "--technician", "T2", "--out", "/dev/null/out"],
        ["evidence", LOG, "--recount-file", "/dev/null/recount.csv"],
        ["check", LOG, "--csv", "/dev/null/faults.csv"],
    ],
    ids=" ".join,
)
def test_where_results_cannot_go_is_told_before_any_work(command):
    answer = rework(*command)
    assert (answer.status, answer.out) == (2, ""), "the log was read, or more, for nothing"
    assert "/dev/null is a file" in answer.err


def test_looking_at_a_folder_leaves_nothing_and_makes_nothing(tmp_path, monkeypatch):
    refuse_unwritable(tmp_path / "not" / "yet")
    assert not list(tmp_path.iterdir())

    def full(**_):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("tempfile.TemporaryFile", full)
    with pytest.raises(RenderError, match=r"yet cannot be written: Read-only file system\.\n.*permissions"):
        refuse_unwritable(tmp_path / "not" / "yet")


@pytest.mark.parametrize("month", ["../../x", "2024-09/../../etc", "'; import os #", "2024-09\nx = 1", "٢٠٢٤-٠٩"])
def test_a_month_cannot_name_a_place_or_carry_code(tmp_path, month):
    answer = rework("review", LOG, "--month", month, "--out", tmp_path / "out")
    assert answer.status == 2
    assert "is not a month" in answer.err
    assert not (tmp_path / "out").exists()


def test_a_log_folder_with_a_line_break_in_its_name(tmp_path):
    """The name goes into the notebook's parameters cell: as text, never as code."""
    folder = tmp_path / "my log\nmonth = '1999-01'\n'''"
    folder.symlink_to(ROOT / LOG)
    answer = rework("check", folder, "--page", tmp_path / "out")
    assert answer.status == 0, answer
    assert is_whole(tmp_path / "out" / "log-check.html")
