"""Parameters of a notebook that name other places, are of odd types, or are too much for a parser."""

from __future__ import annotations

import pytest

from analysis.errors import RenderError
from analysis.report.parameters import declared, filled_cell
from analysis.report.render import NOTEBOOKS, render
from tests.files import base, write

CHECK, REVIEW = (NOTEBOOKS / f"{name}.ipynb" for name in ("log_check", "monthly_review"))


@pytest.mark.parametrize("number", [10**15, -(10**15), 10**5000], ids=["large", "small", "huge"])
def test_a_number_of_too_many_digits_is_refused_in_words(number):
    with pytest.raises(RenderError, match="15 digits"):
        filled_cell("n = None", {"n": number})
    assert filled_cell("n = None", {"n": 10**15 - 1}) == f"n = {10**15 - 1}"


@pytest.mark.parametrize(
    "source",
    ["n = 1" + "0" * 5000, f"n = {'(' * 300}1{')' * 300}", f"n = {'-' * 100_000}1", "n = '\0'", "n = 1e999"],
    ids=["digits", "brackets", "signs", "nul", "infinite"],
)
def test_a_parameters_cell_too_odd_to_parse_is_refused_in_words(source):
    with pytest.raises(RenderError):
        declared(source)


@pytest.mark.parametrize("value", ["\ud800", "../../x", "\u2028import os", "'''", "\\", "x" * 100_000], ids=ascii)
def test_odd_texts_arrive_as_texts(value):
    scope: dict[str, object] = {}
    exec(filled_cell("n = ''", {"n": value}), scope)
    assert scope["n"] == value


@pytest.mark.parametrize(
    ("notebook", "given", "told"),
    [
        (REVIEW, {"month": "../../x"}, "is not a month"),
        (REVIEW, {"month": 202409}, "wrong kind"),
        (REVIEW, {"log_folder": "no\n__import__('os')"}, "does not exist"),
        (REVIEW, {"log_folder": "data_demo\0"}, "NUL character"),
        (REVIEW, {"log_folder": "/dev/null"}, "is a file|does not exist"),
        (CHECK, {"log_folder": ["data_demo"]}, "wrong kind"),
    ],
    ids=["month-elsewhere", "month-number", "folder-line-break", "folder-nul", "folder-device", "folder-list"],
)
def test_a_notebook_run_with_them_fails_in_words_and_publishes_nothing(tmp_path, notebook, given, told):
    target = tmp_path / "out" / "page.html"
    with pytest.raises(RenderError, match=told) as error:
        render(notebook, given, target)
    assert "fault of the suite" not in str(error.value)
    assert not target.exists()


def test_the_page_lands_where_it_was_meant_whatever_the_folder_is_called(tmp_path):
    folder = write(tmp_path / "my log <b>" / "..l\u00f6g", base())
    page = render(CHECK, {"log_folder": str(folder)}, tmp_path / "out" / "page.html")
    assert page.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["page.html"]
