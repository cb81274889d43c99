"""Rendering: parameters refused by name, atomic publication, user errors without a traceback, text is inert."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import pytest

from analysis.errors import RenderError, ReworkError
from analysis.report.exporting import prose
from analysis.report.page import Grid, PageHead, Picture, Prose, Statement
from analysis.report.parameters import filled_cell
from analysis.report.publishing import publish
from analysis.report.render import PROJECT, render
from analysis.report.style import canvas, look

HEAD = "from analysis.report.page import PageHead\nPageHead('Title', 'Shop', 'Period', 'abcdef', True)"


def notebook(tmp_path, *code):
    cells = [
        {
            "cell_type": "code",
            "metadata": {"tags": ["parameters"]},
            "source": 'name = "x"',
            "outputs": [],
            "execution_count": None,
            "id": "p",
        }
    ]
    cells += [
        {"cell_type": "code", "metadata": {}, "source": source, "outputs": [], "execution_count": None, "id": f"c{i}"}
        for i, source in enumerate(code)
    ]
    path = tmp_path / "sample.ipynb"
    path.write_text(json.dumps({"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5}))
    return path


def test_a_page_is_made_and_the_notebook_is_left_as_it_was(tmp_path):
    path = notebook(tmp_path, HEAD, "from analysis.report.page import Prose\nProse([name])")
    before = path.read_bytes()
    page = render(path, {"name": "<b>bold</b>"}, tmp_path / "out" / "page.html")
    html = page.read_text(encoding="utf-8")
    assert "&lt;b&gt;bold&lt;/b&gt;" in html
    assert "<b>bold</b>" not in html.split("<details")[0]
    assert path.read_bytes() == before
    assert os.listdir(tmp_path / "out") == ["page.html"]


def test_a_failed_run_leaves_the_last_good_page(tmp_path):
    target = tmp_path / "page.html"
    target.write_text("the last good page")
    with pytest.raises(RenderError, match=r"sample\.ipynb failed"):
        render(notebook(tmp_path, HEAD, "1 / 0"), {}, target)
    assert target.read_text() == "the last good page"
    assert sorted(os.listdir(tmp_path)) == ["page.html", "sample.ipynb"]


def test_an_error_meant_for_the_user_comes_through_in_its_own_words(tmp_path):
    raising = "from analysis.errors import LogError\nraise LogError('no jobs', rule='some jobs', todo='enter jobs')"
    with pytest.raises(RenderError) as error:
        render(notebook(tmp_path, HEAD, raising), {}, tmp_path / "page.html")
    assert "What to do: enter jobs" in str(error.value)
    assert "Traceback" not in str(error.value)


def test_a_page_without_a_head_is_refused(tmp_path):
    with pytest.raises(RenderError, match="no title"):
        render(notebook(tmp_path, "1"), {}, tmp_path / "page.html")


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"nmae": "y"}, "Did you mean name?"),
        ({"nmae": "y"}, "Known: name"),
        ({"name": 3}, "wrong kind"),
        ({"name": None}, "wrong kind"),
        ({"zzz": 1}, "Known: name"),
    ],
)
def test_an_unknown_or_mistyped_parameter_is_refused_before_anything_runs(tmp_path, given, told):
    with pytest.raises(RenderError) as error:
        render(notebook(tmp_path, "raise SystemExit"), given, tmp_path / "page.html")
    assert told in str(error.value)


def test_a_parameter_cannot_carry_code():
    evil = '"; import os; os.remove("x") #'
    scope: dict[str, object] = {}
    exec(filled_cell('name = "x"', {"name": evil}), scope)
    assert scope["name"] == evil


class Sly(str):
    """A text that writes itself out as code."""

    def __repr__(self) -> str:
        return "__import__('os').getcwd()"


@pytest.mark.parametrize("odd", [Sly("x"), ["x"], {"a": 1}, b"x", float("nan"), float("inf"), 1j])
@pytest.mark.parametrize("default", ["None", "'x'", "1.0"])
def test_only_plain_finite_values_are_written_into_a_notebook(odd, default):
    with pytest.raises(RenderError, match="wrong kind"):
        filled_cell(f"name = {default}", {"name": odd})


@pytest.mark.parametrize("value", ["2024-09", "..\\..\\'''\n\"", -3, 2.5, True, None, "€ \u2028 °"])
def test_a_value_arrives_as_it_was_given(value):
    scope: dict[str, object] = {}
    exec(filled_cell("# a comment\nname = None", {"name": value}), scope)
    assert scope["name"] == value
    assert type(scope["name"]) is type(value)


def test_a_whole_number_will_do_where_a_decimal_one_is_the_default():
    assert filled_cell("least = 2.5", {"least": 3}) == "least = 3"
    with pytest.raises(RenderError, match="wrong kind"):
        filled_cell("least = 2.5", {"least": True})
    with pytest.raises(RenderError, match="wrong kind"):
        filled_cell("least = 2", {"least": 2.5})


@pytest.mark.parametrize(
    "source", ["name: str = 'x'", "name = open('x')", "a = b = 1", "import os", "name = ", "n = [1]"]
)
def test_a_parameters_cell_that_holds_anything_else_is_refused(source):
    with pytest.raises(RenderError):
        filled_cell(source, {})


def test_a_notebook_that_is_missing_or_damaged_is_told_in_words(tmp_path):
    with pytest.raises(RenderError, match=r"gone\.ipynb cannot be read"):
        render(tmp_path / "gone.ipynb", {}, tmp_path / "page.html")
    (tmp_path / "half.ipynb").write_text('{"cells": [')
    with pytest.raises(RenderError, match=r"half\.ipynb is not a notebook"):
        render(tmp_path / "half.ipynb", {}, tmp_path / "page.html")


def test_a_process_that_dies_is_told_in_words_and_leaves_nothing_behind(tmp_path):
    with pytest.raises(RenderError, match="ended suddenly"):
        render(notebook(tmp_path, HEAD, "import os\nos._exit(1)"), {}, tmp_path / "page.html")
    assert os.listdir(tmp_path) == ["sample.ipynb"]


def test_a_failure_names_the_section_it_happened_in(tmp_path):
    path = notebook(tmp_path, HEAD, "1 / 0")
    raw = json.loads(path.read_text())
    raw["cells"].insert(2, {"cell_type": "markdown", "metadata": {}, "source": "## Rates", "id": "m"})
    path.write_text(json.dumps(raw))
    said: list[str] = []
    with pytest.raises(RenderError, match=r"failed under 'Rates' \(ZeroDivisionError"):
        render(path, {}, tmp_path / "page.html", said.append)
    assert said == ["  Rates"]


def test_an_interrupted_write_leaves_the_old_page_and_no_scraps(tmp_path, monkeypatch):
    target = tmp_path / "page.html"
    publish("old", target)

    def interrupted(_):
        raise KeyboardInterrupt

    monkeypatch.setattr("os.fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        publish("new", target)
    assert os.listdir(tmp_path) == ["page.html"]
    assert target.read_text() == "old"


def test_rendering_is_loaded_only_when_something_is_rendered():
    code = (
        "import sys, analysis.report.render; print(*sorted({'nbconvert', 'nbformat', 'nbclient'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=PROJECT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""


def test_publishing_into_a_place_that_cannot_be_written_says_so(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(RenderError, match="cannot be written"):
        publish("text", tmp_path / "file" / "page.html")


def test_markdown_cells_cannot_smuggle_html():
    assert "<script>" not in prose("# Title\n\n<script>alert(1)</script>")
    assert prose("## What failed and why").startswith('<h2 id="what-failed-and-why">')


def test_all_text_from_the_log_is_escaped():
    evil = "<script>alert(1)</script>"
    for shown in (Prose([evil]), Grid(evil, [evil], [[evil]], under=evil)):
        assert "<script>" not in shown._repr_html_()
    assert "<script>" not in PageHead(evil, evil, evil, evil, True)._repr_mimebundle_()["text/html"]
    assert Statement("a", "b").detail == ""


def test_columns_of_sentences_keep_a_width_and_numbers_stand_right():
    rows = [["a", "a sentence of several words", "1287"], ["b", "", "3"]]
    html = Grid("Caption", ["key", "text", "n"], rows, numbers=(2,))._repr_html_()
    assert html.count('<td class="long">') == 2
    assert html.count('<td class="number">') == 2
    assert html.count('<th scope="row">') == 2
    assert '<th scope="col" class="number">n</th>' in html


def test_a_row_of_another_length_than_the_headings_is_refused():
    with pytest.raises(ValueError, match="shorter"):
        Grid("Caption", ["key", "text"], [["a"]])._repr_html_()


def test_a_picture_without_real_alternative_text_is_refused():
    with look():
        figure, _ = canvas(1)
    with pytest.raises(ReworkError, match="alternative text"):
        Picture(figure, "chart", "caption", 3)
