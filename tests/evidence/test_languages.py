"""The sheet in every language it has words for: complete, wholly translated, one page; numbers and dates by country."""

from __future__ import annotations

import re
import string
import tomllib

import pandas as pd
import pytest
from bs4 import BeautifulSoup

from analysis.errors import ReworkError
from analysis.report.evidence_wording import FOLDER, languages, words_for
from tests.evidence.sealed import copy_of, sheet
from tests.report.gates import assert_page_behaves, assert_page_is_sound, printed_pages, visible_text

UNTIL = pd.Timestamp("2024-09-30")
TRANSLATED = [code for code in languages() if code != "en"]
DEVICE = ["intake_damage=none_seen", "device_age_years=3.5", "prior_rework=elsewhere", "underfill=partial"]
FORMATS = {"decimal": [], "thousands": [], "percent": ["n"], "range": ["high", "low"]}


def flat(table, before=""):
    """Every text of a words file by its key, a list as one text."""
    out = {}
    for name, value in table.items():
        if isinstance(value, dict):
            out |= flat(value, f"{before}{name}.")
        else:
            out[before + name] = value if isinstance(value, str) else "; ".join(value)
    return out


def words_file(code):
    """Texts and number formats of a language."""
    texts = tomllib.loads((FOLDER / f"{code}.toml").read_text(encoding="utf-8"))
    return texts, texts.pop("formats")


def braces(text):
    return sorted(name.split(":")[0] for _, name, _, _ in string.Formatter().parse(text) if name)


@pytest.fixture(scope="module", params=TRANSLATED)
def translated(request, demo_log, tmp_path_factory):
    return request.param, sheet(demo_log, tmp_path_factory.mktemp(request.param), language=request.param)


@pytest.mark.parametrize("code", TRANSLATED)
def test_a_language_has_the_keys_and_braces_of_english(code):
    wanted, found = flat(words_file("en")[0]), flat(words_file(code)[0])
    assert sorted(wanted.keys() - found.keys()) == [], f"keys of en.toml that {code}.toml lacks"
    assert sorted(found.keys() - wanted.keys()) == [], f"keys of {code}.toml that en.toml does not have"
    other = {key: braces(wanted[key]) for key in wanted if braces(found[key]) != braces(wanted[key])}
    assert other == {}, f"texts of {code}.toml that do not hold the names in braces of en.toml, here named"
    assert [key for key, text in found.items() if not text] == []
    assert len(found["months.names"].split("; ")) == 12


@pytest.mark.parametrize("code", TRANSLATED)
def test_nothing_is_left_in_english(code):
    english, found = flat(words_file("en")[0]), flat(words_file(code)[0])
    left = [
        key
        for key, text in english.items()
        if found.get(key) == text and re.search(r"[a-z]", re.sub("{.*?}", "", text))
    ]
    assert not left, f"{len(left)} texts of {code}.toml still are those of en.toml: {', '.join(left)}"


@pytest.mark.parametrize("code", languages())
def test_every_country_says_how_numbers_and_dates_are_written(code):
    for country, form in words_file(code)[1].items():
        assert re.fullmatch("[A-Z]{2}", country)
        assert {key: braces(form[key]) for key in FORMATS} == FORMATS, country
        assert set(form) == {*FORMATS, "date", "month"}
        assert set(braces(form["date"])) in ({"d", "month", "y"}, {"d", "m", "y"})
        assert "y" in braces(form["month"])
        breaking = [key for key in ("thousands", "percent", "range") if " " in form[key]]
        assert breaking == [], (
            f"{country}: a number would break at a line's end; write \\u00a0 or \\u202f for the space"
        )


def test_a_translated_sheet_is_sound_and_says_its_language(translated):
    code, path = translated
    assert_page_is_sound(path)
    soup = BeautifulSoup(path.read_text(encoding="utf-8"), "html5lib")
    assert soup.html["lang"] == words_for(code).code
    text = visible_text(soup).replace("rework recount", "")
    assert not set(re.findall(r"[a-z]{3,}", text.lower())) & {"the", "and", "jobs", "recovered", "likely", "with"}
    assert words_for(code).day(UNTIL) in text
    assert words_for(code).percent(0.71) in text


@pytest.mark.browser
def test_a_translated_sheet_behaves_and_prints_on_one_page(translated, running_browser):
    _, path = translated
    assert_page_behaves(path, running_browser)
    assert printed_pages(path, running_browser) == 1


@pytest.mark.browser
@pytest.mark.parametrize("code", TRANSLATED)
def test_the_longest_sheet_prints_on_one_page_in_every_language(code, demo_log, tmp_path, running_browser):
    """Chosen months, with the whole log and a client's device beside them."""
    folder = copy_of(demo_log, tmp_path / "log")
    path = sheet(folder, tmp_path, first="2023-10", last="2024-06", language=code, intake=DEVICE)
    assert printed_pages(path, running_browser) == 1, "shorten the longest texts"


@pytest.mark.parametrize(
    ("code", "day", "big", "tiny"),
    [
        ("en", "30 September 2024", "12,345", "0.4%"),
        ("en-US", "September 30, 2024", "12,345", "0.4%"),
        ("de", "30. September 2024", "12.345", "0,4\u00a0%"),
        ("de-CH", "30. September 2024", "12’345", "0.4\u00a0%"),
    ],
)
def test_numbers_and_dates_follow_the_country(code, day, big, tiny):
    words = words_for(code)
    assert (words.day(UNTIL), words.count(12345), words.percent(0.004)) == (day, big, tiny)
    assert words.percent(0.5) == words.form["percent"].format(n="50")
    assert words.percent(float("nan")) == words.between(float("nan"), 1.0) == "–"


@pytest.mark.parametrize("code", ["xx", "de-US", "../en"])
def test_a_language_or_country_that_is_not_there_is_refused(code):
    with pytest.raises(ReworkError, match=r"no (words|number formats)"):
        words_for(code)
