"""Every notebook runs from top to bottom where JupyterLab starts it: in its own folder, with its own defaults."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from analysis.report.render import execute

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"
QUICK = {
    "client_evidence",
    "guess_ledger",
    "log_check",
    "log_dictionary",
}  # the others are made twice only with -m slow


def in_a_kernel(path):
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(notebook, kernel_name="python3", resources={"metadata": {"path": str(FOLDER)}}, timeout=300)
    return client.execute()


def shown_by(notebook):
    """What each code cell shows on a page."""
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    return [[output.get("data", {}).get("text/html") for output in cell.outputs] for cell in code]


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.ipynb")), ids=lambda p: p.stem)
def test_a_notebook_runs_as_a_user_would_run_it(path):
    done = in_a_kernel(path)
    shown = [output for cell in done.cells if cell.cell_type == "code" for output in cell.outputs]
    assert any("text/html" in output.get("data", {}) for output in shown)
    assert not [output for output in shown if output.output_type == "stream"], "a cell prints or warns"


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, id=path.stem, marks=() if path.stem in QUICK else pytest.mark.slow)
        for path in sorted(FOLDER.glob("*.ipynb"))
        if path.stem != "enter_job"  # a form, never a page
    ],
)
def test_a_page_shows_what_the_notebook_shows_in_a_kernel(path):
    assert shown_by(execute(path, {})) == shown_by(in_a_kernel(path))
