"""One JupyterLab for all tests of a process, on a small log; another on the demo, for the full round."""

from __future__ import annotations

import pytest

from tests.lab.opened import WINDOW
from tests.lab.server import PROJECT, lay_out, running
from tests.report.small_logs import write_case

DEMO = PROJECT / "data_demo"
JOBS = "60 jobs"  # the fewest of which every notebook has something to show
# The demo's settings, and comparisons from fewer jobs, for there are no more.
SETTINGS = "\nminimum_technician_n = 5\n"


@pytest.fixture(scope="session")
def window(running_browser):
    """A window of the browser."""
    made = running_browser.new_context(viewport=WINDOW)
    yield made
    made.close()


@pytest.fixture(scope="session")
def small_lab(tmp_path_factory):
    """JupyterLab on a copy of the notebooks, with a small log where they look for the demo."""
    folder = tmp_path_factory.mktemp("small_lab")
    log = write_case(JOBS, folder / "log")
    settings = (DEMO / "bench.toml").read_text(encoding="utf-8") + SETTINGS
    (log / "bench.toml").write_text(settings, encoding="utf-8")
    with running(lay_out(folder / "root", log), folder / "own") as server:
        yield server


@pytest.fixture(scope="session")
def demo_lab(tmp_path_factory):
    """JupyterLab on a copy of the notebooks and of the demo."""
    folder = tmp_path_factory.mktemp("demo_lab")
    with running(lay_out(folder / "root", DEMO), folder / "own") as server:
        yield server
