"""The data dictionary page names every column and code, and passes the gates of every page."""

from __future__ import annotations

import pytest
from bs4 import BeautifulSoup

from analysis.cli import main
from analysis.records.dictionary import TABLES
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    out = tmp_path_factory.mktemp("dictionary")
    assert main(["dictionary", "--out", str(out)]) == 0
    return out / "log-dictionary.html"


def test_the_page_is_sound_and_names_every_column_and_code(page):
    assert_page_is_sound(page)
    text = visible_text(BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib"))
    for table in TABLES:
        for column in table.columns:
            assert column.name in text
            assert column.help.split(".")[0] in text
            for choice in column.choices:
                assert choice.meaning in text


@pytest.mark.browser
def test_the_page_behaves_in_a_browser(page, running_browser):
    assert_page_behaves(page, running_browser)
