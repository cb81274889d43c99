"""Every notebook runs from top to bottom where JupyterLab starts it: in its own folder, with its own defaults."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).resolve().parents[2] / "notebooks"


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.ipynb")), ids=lambda p: p.stem)
def test_a_notebook_runs_as_a_user_would_run_it(path):
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(notebook, kernel_name="python3", resources={"metadata": {"path": str(FOLDER)}}, timeout=300)
    done = client.execute()
    shown = [output for cell in done.cells if cell.cell_type == "code" for output in cell.outputs]
    assert any("text/html" in output.get("data", {}) for output in shown)
    assert not [output for output in shown if output.output_type == "stream"], "a cell prints or warns"
