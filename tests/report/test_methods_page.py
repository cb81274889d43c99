"""The methods page: every model with its sources as the code cites them, checks that exist, checklists of this log."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from bs4 import BeautifulSoup

from analysis.cli import DEMO, main
from analysis.cohort.outcomes import DEFINITIONS
from analysis.questions.checklist_facts import ChecklistFacts, checklist_facts
from analysis.report.glossary import glossary
from analysis.report.methods.declared import PACKAGE, cited, methods
from analysis.report.methods.strobe import strobe
from analysis.report.methods.tripod import tripod
from analysis.report.page import PageHead
from analysis.report.plain_page import Heading, page_html
from tests.reference.engines import ENGINES
from tests.report.gates import assert_page_behaves, assert_page_is_sound, visible_text
from tests.report.small_logs import write_case
from tests.studies.record import studies
from tests.verification.page import engine_place


@pytest.fixture(scope="module")
def facts() -> ChecklistFacts:
    return checklist_facts(DEMO)


def verification_stub(folder: Path) -> None:
    """A page with the places of the verification page and nothing else."""
    places = [engine_place(check) for check in engines()] + [f"study-{name}" for name in studies()]
    parts = [Heading(place, place) for place in places]
    (folder / "verification.html").write_text(page_html(PageHead("V", "V", "V", "", False), parts), encoding="utf-8")


def engines() -> set[str]:
    """Names of engines, from the folders of their checks."""
    text = "".join(Path(str(engine.__file__)).read_text(encoding="utf-8") for engine in ENGINES)
    return set(re.findall(r'Source\(\s*"([^"]+)"', text))


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """The page of the demo, beside a verification page."""
    out = tmp_path_factory.mktemp("methods")
    verification_stub(out)
    assert main(["methods", "--out", str(out)]) == 0
    return out / "methods.html"


def test_the_page_is_sound_and_its_links_lead_to_the_checks(page):
    assert_page_is_sound(page)  # which follows every link to its place
    soup = BeautifulSoup(page.read_text(encoding="utf-8"), "html5lib")
    links = [link["href"] for link in soup.find_all("a", href=re.compile("^verification"))]
    assert len(links) == sum(len(m.engines) + len(m.studies) for m in methods())
    text = " ".join(visible_text(soup).split())
    for definition in DEFINITIONS.values():
        assert definition in text
    for method in methods():
        assert method.formula in text
        assert all(source in text for source in method.sources)


def test_without_the_verification_page_the_command_is_named_and_nothing_is_linked(tmp_path):
    assert main(["methods", "--out", str(tmp_path)]) == 0
    assert_page_is_sound(tmp_path / "methods.html")
    assert "'rework verify' makes the table" in (tmp_path / "methods.html").read_text(encoding="utf-8").replace(
        "&#x27;", "'"
    )


@pytest.mark.browser
def test_the_page_behaves_in_a_browser(page, running_browser):
    assert_page_behaves(page, running_browser)


@pytest.mark.parametrize("method", methods(), ids=lambda method: method.name)
def test_what_a_method_names_exists(method):
    assert method.modules
    assert all((PACKAGE / f"{module.replace('.', '/')}.py").is_file() for module in method.modules)
    assert set(method.engines) <= engines()
    assert set(method.studies) <= set(studies())


def test_no_module_that_cites_is_left_out():
    """A model with a source of its own has a place on the page."""
    shown = {module for method in methods() for module in method.modules}
    # The numerics of a model that is shown, which technicians can be put side by side at all, and engines of no page.
    helpers = {
        f"models.{name}" for name in ("partial_likelihood", "linked_groups", "logit", "log_rank", "beta_geometric")
    }
    citing = {f"models.{path.stem}" for path in (PACKAGE / "models").glob("*.py") if cited(f"models.{path.stem}")}
    assert citing - shown <= helpers


def test_sources_are_read_up_to_the_last_that_is_cited():
    assert cited("models.e_value") == ("VanderWeele and Ding, Annals of Internal Medicine 167 (2017) 268–274.",)
    assert cited("models.timed") == ()
    assert cited("models.damage_counts")[0].endswith("All from memory.")


def test_the_checklists_hold_every_item_with_an_answer(facts):
    t, s = tripod(facts), strobe(facts)
    assert {re.match(r"\d+", item.number)[0] for item in t} == {str(k) for k in range(1, 23)}
    assert {re.match(r"\d+", item.number)[0] for item in s} == {str(k) for k in range(1, 23)}
    for items in (t, s):
        assert len({item.number for item in items}) == len(items)
        assert all(item.asks and len(item.answer) > 5 for item in items)


def test_answers_are_those_of_the_log(facts):
    answers = {item.number: item.answer for item in tripod(facts)}
    assert facts.model is not None
    assert f"All {facts.model.n} closed jobs there are, {facts.model.events} recovered" in answers["8"]
    assert f"{facts.rows.ledger.rows_used} used" in answers["5b"]
    assert f"{facts.own.brier:.3f}" in answers["16"]
    assert ("is not used" in answers["19a"]) == (not facts.model.trust.model)
    told = {item.number: item.answer for item in strobe(facts)}
    described = facts.described
    assert all(effect.label in told["16"] for effect in described.effects)
    assert f"{described.fit.events} of {described.fit.n}" in told["15"]


@pytest.mark.parametrize("case", ["1 jobs", "20 jobs"])
def test_few_jobs_say_what_is_not_there_yet(case, tmp_path):
    facts = checklist_facts(write_case(case, tmp_path / "log"))
    answers = " ".join(item.answer for item in (*tripod(facts), *strobe(facts)))
    assert re.search(r"No closed job yet|Not fitted here", answers)
    assert "it takes 10" in answers
    for stray in ("nan", "None"):
        assert not re.search(rf"\b{stray}\b", answers)


def test_the_glossary_holds_the_definitions_and_no_word_twice():
    words = glossary()
    assert set(DEFINITIONS) <= set(words)
    assert list(words) == sorted(words, key=str.casefold)
    assert all(text.strip() for text in words.values())
