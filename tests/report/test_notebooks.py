"""Every notebook runs from top to bottom where JupyterLab starts it: in its own folder, with its own defaults."""

from __future__ import annotations

import functools
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from analysis.report.render import execute
from tests.report.browser import chromium

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
QUICK = {
    "client_evidence",
    "guess_ledger",
    "log_check",
    "log_dictionary",
}
# The others run on the demo only with -m slow: tests/lab runs each in JupyterLab on fewer jobs, and each page's own
# test makes it of the demo. Where there is no browser for JupyterLab they run here.
ALWAYS = {path.stem for path in NOTEBOOKS} if not chromium() else QUICK


@functools.cache
def in_a_kernel(path):
    """The notebook as a kernel left it; run once, whatever is asked of it."""
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(notebook, kernel_name="python3", resources={"metadata": {"path": str(FOLDER)}}, timeout=300)
    return client.execute()


def shown_by(notebook):
    """What each code cell shows on a page."""
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    return [[output.get("data", {}).get("text/html") for output in cell.outputs] for cell in code]


def each(notebooks, always):
    """Notebooks by their names; slow but for those that always run."""
    return pytest.mark.parametrize(
        "path",
        [pytest.param(p, id=p.stem, marks=() if p.stem in always else pytest.mark.slow) for p in notebooks],
    )


@each(NOTEBOOKS, ALWAYS)
def test_a_notebook_runs_as_a_user_would_run_it(path):
    done = in_a_kernel(path)
    shown = [output for cell in done.cells if cell.cell_type == "code" for output in cell.outputs]
    assert any("text/html" in output.get("data", {}) for output in shown)
    assert not [output for output in shown if output.output_type == "stream"], "a cell prints or warns"


@each([path for path in NOTEBOOKS if path.stem != "enter_job"], QUICK)  # that one is a form, never a page
def test_a_page_shows_what_the_notebook_shows_in_a_kernel(path):
    assert shown_by(execute(path, {})) == shown_by(in_a_kernel(path))
