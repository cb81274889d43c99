"""Cells run without a kernel show what they show in one, and a copy of a process shows what a fresh one shows."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading

import nbformat
import pytest
from nbclient import NotebookClient

from analysis.errors import ModelError
from analysis.report import render
from analysis.report.exporting import to_html
from analysis.report.render import PROJECT, execute

COPIES = pytest.mark.skipif(sys.platform in ("darwin", "win32"), reason="no copies of a running process there")
CELLS = [
    'name = "x"',
    "from analysis.report.page import Grid, PageHead, Picture, Prose\nPageHead('Title', 'Shop', 'Today', 'abc', True)",
    "print('one')\ndisplay(Prose([name]))\nprint('two')\nProse(['last'])",
    "Prose(['kept back']);",
    "import sys, warnings\nwarnings.warn('not shown')\nprint('aside', file=sys.stderr)\n_.paragraphs",
    "get_ipython().run_line_magic('pwd', '')[-1:] != ''",
    "import ipywidgets\nipywidgets.IntSlider()",
    "from analysis.report.style import canvas, look\nwith look():\n    figure, axes = canvas(2)\n"
    "    axes.plot([1, 2])\n"
    "Picture(figure, 'a line that goes up', 'Line', 3)",
    "figure",
    "None",
    "",
]


@pytest.fixture
def sample(tmp_path):
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source) for source in CELLS])
    book.cells[0].metadata.tags = ["parameters"]
    book.cells.insert(2, nbformat.v4.new_markdown_cell("## Section"))
    path = tmp_path / "sample.ipynb"
    nbformat.write(book, path)
    return path


def in_a_kernel(path, given):
    raw = nbformat.from_dict(render._with_parameters(render._read_notebook(path), given))
    client = NotebookClient(raw, kernel_name="python3", resources={"metadata": {"path": str(PROJECT)}}, timeout=300)
    return client.execute(env={"PYTHONWARNINGS": "ignore"} | os.environ)


def bare(output):
    """An output without what differs between any two runs: its number, the place in memory, the widget's name."""
    data = {kind: text for kind, text in output.get("data", {}).items() if "widget" not in kind}
    data.pop("text/plain", None)
    return output["output_type"], output.get("name"), output.get("text"), data


def test_every_cell_shows_what_it_shows_in_a_kernel(sample):
    ours, theirs = execute(sample, {"name": "<b>"}), in_a_kernel(sample, {"name": "<b>"})
    for mine, other in zip(ours.cells, theirs.cells, strict=True):
        if mine.cell_type == "code":
            assert [bare(o) for o in mine.outputs] == [bare(o) for o in other.outputs], mine.source
    assert to_html(ours) == to_html(theirs)
    assert nbformat.validate(ours) is None


CODE = """
import sys
from pathlib import Path
from analysis.report import render
print(render.can_be_copied(), file=sys.stderr)
if sys.argv[2] == "fresh":
    render.can_be_copied = lambda: False
if __name__ == "__main__":
    print(render.to_html(render.execute(Path(sys.argv[1]), {})))
"""


@COPIES
def test_a_copy_of_this_process_and_a_fresh_one_make_the_same_page(sample, tmp_path):
    script = tmp_path / "script.py"
    script.write_text(CODE)
    made = [
        subprocess.run([sys.executable, script, sample, how], capture_output=True, text=True, check=True, cwd=PROJECT)
        for how in ("copy", "fresh")
    ]
    assert made[0].stderr.startswith("True")
    assert "a line that goes up" in made[0].stdout
    assert made[0].stdout == made[1].stdout


def test_a_process_with_several_threads_is_not_copied():
    held = threading.Event()
    thread = threading.Thread(target=held.wait)
    thread.start()
    try:
        assert not render.can_be_copied()
    finally:
        held.set()
        thread.join()


def book_of(tmp_path, *sources):
    book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source) for source in ("name = 1", *sources)])
    book.cells[0].metadata.tags = ["parameters"]
    path = tmp_path / "book.ipynb"
    path.write_text(json.dumps(book))
    return path


@COPIES
def test_a_step_that_takes_too_long_is_ended_and_told(tmp_path, monkeypatch):
    monkeypatch.setattr(render, "CELL_TIMEOUT_S", 0.5)
    monkeypatch.setattr(render, "can_be_copied", lambda: True)  # a fresh process would take longer than that to start
    with pytest.raises(render.RenderError, match="took over"):
        execute(book_of(tmp_path, "import time\ntime.sleep(600)"), {})


def test_a_cell_that_does_not_parse_or_leaves_is_told(tmp_path):
    with pytest.raises(render.RenderError, match="SyntaxError"):
        execute(book_of(tmp_path, "1 +"), {})
    with pytest.raises(render.RenderError, match="SystemExit"):
        execute(book_of(tmp_path, "raise SystemExit(3)"), {})


def test_an_error_of_ours_comes_in_its_own_words_and_any_other_as_a_fault_of_the_suite(tmp_path):
    ours = "from analysis.errors import ModelError\nraise ModelError('too few', todo='wait')"
    with pytest.raises(render.RenderError) as told:
        execute(book_of(tmp_path, ours), {})
    assert str(ModelError("too few", todo="wait")) in str(told.value)
    assert "fault of the suite" not in str(told.value)
    with pytest.raises(render.RenderError, match="fault of the suite"):
        execute(book_of(tmp_path, "raise ValueError('What')"), {})


def test_what_is_imported_beforehand_is_what_the_cells_import(tmp_path):
    code = "import sys, pathlib\nfrom analysis.report import render\n"
    code += "render.import_what_cells_import(pathlib.Path('notebooks/technicians.ipynb'))\n"
    code += "print({'analysis.report.technician_page', 'analysis.questions.technicians_answers'} <= set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], cwd=PROJECT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "True"


@COPIES
def test_what_goes_wrong_beside_the_cells_is_told_too(tmp_path, monkeypatch):
    monkeypatch.setattr(render, "can_be_copied", lambda: True)
    monkeypatch.setattr(render, "PROJECT", tmp_path / "gone")
    with pytest.raises(render.RenderError, match="FileNotFoundError"):
        execute(book_of(tmp_path, "1"), {})
