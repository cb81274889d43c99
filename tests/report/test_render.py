"""Rendering: parameters refused by name, atomic publication, user errors without a traceback, text is inert."""

from __future__ import annotations

import json
import os

import pytest

from analysis.errors import RenderError, ReworkError
from analysis.report.page import Grid, PageHead, Picture, Prose, Statement
from analysis.report.parameters import filled_cell
from analysis.report.render import prose, publish, render
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
    [({"nmae": "y"}, "Did you mean name?"), ({"name": 3}, "wrong kind"), ({"zzz": 1}, "Known: name")],
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


def test_a_picture_without_real_alternative_text_is_refused():
    with look():
        figure, _ = canvas(1)
    with pytest.raises(ReworkError, match="alternative text"):
        Picture(figure, "chart", "caption", 3)
