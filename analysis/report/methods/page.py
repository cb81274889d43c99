"""The methods page of a log: definitions, models, checklists, limits, glossary."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from analysis.cohort.outcomes import DEFINITIONS
from analysis.questions.checklist_facts import ChecklistFacts, checklist_facts
from analysis.report.exporting import slug
from analysis.report.glossary import Definitions, glossary
from analysis.report.methods.answers import Item
from analysis.report.methods.declared import Method, methods
from analysis.report.methods.names import names_grid
from analysis.report.methods.strobe import strobe
from analysis.report.methods.tripod import tripod
from analysis.report.page import Bullets, Caution, FirstScreen, Grid, PageHead, Statement, jobs_up_to
from analysis.report.plain_page import Contents, Heading, page_html
from analysis.report.publishing import publish

NAME, VERIFICATION = "methods.html", "verification.html"

LIMITS = (
    "Causes are not shown. Everything here goes with success in one log; only lots (a trial) take reasons out of a choice.",
    "Few jobs carry little. Under ten failures or successes there is no model, only rates and how many more jobs it takes.",
    "Declined boards have no outcome, so that no chance speaks for boards unlike those accepted.",
    "Temperatures are set-points of one shop's stations, never a specification.",
    "Nobody is ranked: with forty jobs each, the truly best comes out first about half the time.",
    "What is not written is not known. Blanks are blanks, never zero; a bench that writes more learns more.",
    "Suppression of small numbers is not anonymity.",
)
FROM_MEMORY = (
    "Numbers of the items as published, their wording from memory and in our own words; answers are made from the log at"
    " hand. What the log cannot know is left to the bench."
)
CAUTION = (
    "Leaded solder and flux give off fume; hot air and blades burn and cut; disconnect batteries before heat. Work on a"
    " client's only copy is mostly irreversible: get consent before each such step.",
)


@dataclass(frozen=True)
class Described:
    """A method: what it tells, formula, assumptions, where used, sources, checks.

    Parameters
    ----------
    method : Method
    linked : bool
        Whether the verification page lies beside this one, so that its places can be linked.
    """

    method: Method
    linked: bool

    def _checks(self) -> str:
        m = self.method
        named = [(f"engine {engine}", f"engine-{engine.replace(' ', '-')}") for engine in m.engines]
        named += [(f"study {study}", f"study-{study}") for study in m.studies]
        if not named:
            return "arithmetic, worked by hand in the tests"
        if not self.linked:
            return f"{escape(', '.join(words for words, _ in named))}; 'rework verify' makes the table"
        return ", ".join(f'<a href="{VERIFICATION}#{place}">{escape(words)}</a>' for words, place in named)

    def _repr_html_(self) -> str:
        m = self.method
        sources = "".join(f"<li>{escape(text)}</li>" for text in m.sources)
        cited = f"<ul>{sources}</ul>" if sources else "<p>The code cites no publication for this.</p>"
        return (
            f'<h3 id="{slug(m.name)}">{escape(m.name)}</h3><p>{escape(m.tells)}</p><p class="formula">{escape(m.formula)}</p>'
            f"<p><strong>Assumes.</strong> {escape(m.assumes)}</p><p><strong>Used on.</strong> {escape(m.pages)}</p>"
            f"<p><strong>Checked by.</strong> {self._checks()}.</p><p><strong>Sources, as the code cites them.</strong></p>{cited}"
        )


def checklist_grid(name: str, items: Sequence[Item]) -> Grid:
    """A checklist as a table."""
    rows = [[item.number, item.asks, item.answer] for item in items]
    return Grid(f"{name}, filled in from this log", ["item", "asks", "answer"], rows, under=FROM_MEMORY)


def page_head(facts: ChecklistFacts) -> PageHead:
    """Title and origin."""
    return PageHead.of(facts.log, "How the numbers are made", jobs_up_to(facts.log, " in the log"))


def first_screen(facts: ChecklistFacts) -> FirstScreen:
    """What the page holds, and how far this log carries its models."""
    declared, described = methods(), facts.described
    checked = sum(bool(m.engines or m.studies) for m in declared)
    if described:
        carries = f"This log carries a description of first boots ({described.fit.n} jobs)"
    else:
        carries = "This log does not carry a description of first boots yet"
    used = facts.model is not None and facts.model.fit is not None and facts.model.trust.model
    words = "and the intake model is used" if used else "and the intake model is not used"
    return FirstScreen(
        [
            Statement("Models", f"{len(declared)} models, {checked} of them with an outside check or a simulation."),
            Statement("This log", f"{carries}, {words}.", "The checklists below are filled in from it."),
            Statement("Limits", LIMITS[0]),
        ]
    )


def parts(facts: ChecklistFacts, linked: bool) -> list[Any]:
    """The page in order."""
    body: list[Any] = [
        Heading("Definitions"),
        Definitions(DEFINITIONS),
        Heading("Models"),
        *(Described(method, linked) for method in methods()),
        Heading("Charts and tests by name"),
        names_grid(),
        Heading("Limits"),
        Bullets(LIMITS),
        Caution(CAUTION),
        Heading("Prediction: TRIPOD checklist"),
        checklist_grid("TRIPOD", tripod(facts)),
        Heading("Associations: STROBE checklist"),
        checklist_grid("STROBE", strobe(facts)),
        Heading("Glossary"),
        Definitions(glossary()),
    ]
    return [first_screen(facts), Contents([part for part in body if isinstance(part, Heading)]), *body]


def publish_methods(folder: Path, out: Path, say: Callable[[str], None]) -> Path:
    """Publish the methods page of a log as ``methods.html``; links to the verification page if that lies beside it.

    Raises
    ------
    ReworkError
        If the log cannot be used or the page cannot be written.
    """
    say(f"Reading the log in {Path(folder).resolve().name} …")
    facts = checklist_facts(Path(folder))
    publish(page_html(page_head(facts), parts(facts, (out / VERIFICATION).is_file())), out / NAME)
    return out / NAME
