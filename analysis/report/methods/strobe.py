"""The STROBE items (cohort) for what went with first boot, filled in from the log at hand.

STROBE: von Elm et al., Lancet 370 (2007) 1453–1457 (numbers of the items and what they ask from memory, in our own
words).
"""

from __future__ import annotations

from analysis.cohort.outcomes import DEFINITIONS
from analysis.cohort.undatable import Undatable
from analysis.models.design import TooFew
from analysis.questions.checklist_facts import ChecklistFacts, blanks_described
from analysis.questions.terms import DESCRIPTION, TOLD
from analysis.questions.verdicts import Verdict
from analysis.report.first_screen import no_model_words
from analysis.report.methods.answers import Item, blanks, dates, flow, share, source
from analysis.report.wording import listed, odds, odds_range, points, points_range

LIMITS = (
    "Settings were chosen, not dealt by lot; reasons that the log does not hold may explain what went with success. Several"
    " comparisons are made; few failures leave wide intervals; grades and passes are judged by those who work."
)


def _described(facts: ChecklistFacts, answer: str) -> str:
    """An answer from the description, or why there is none."""
    found = facts.description
    return no_model_words(found, "a description") if isinstance(found, TooFew | Undatable) else answer


def _participants(facts: ChecklistFacts) -> str:
    described = facts.described
    return flow(described.ledger if described else facts.cohort.ledger)


def _variables(facts: ChecklistFacts) -> str:
    beside = [term.label for term in DESCRIPTION if term.label not in TOLD]
    told = f"Outcome: first-boot success. Looked at: {listed(list(TOLD))}. Beside them: {listed(beside)}."
    described = facts.described
    if described and described.left_out:
        told += f" Left out: {'; '.join(f'{each.label} ({each.why})' for each in described.left_out)}."
    return told


def _size(facts: ChecklistFacts) -> str:
    described = facts.described
    if not described:
        return _described(facts, "")
    failures = described.fit.n - described.fit.events
    rule = "one column for every five of the rarer outcome"
    return f"All jobs there are: {described.fit.n}, {failures} of them failed; {rule} allows {described.design.budget}."


def _missing(facts: ChecklistFacts) -> str:
    told = "A blank is a level of its own; for numbers the median with an indicator. Never zero, never worst."
    return f"{told} {blanks(blanks_described(facts.described.design))}" if facts.described else told


def _lost(facts: ChecklistFacts) -> str:
    ended = [f"{reason} {n}" for reason, n in facts.cohort.ledger.exclusions if "open" in reason or "stopped" in reason]
    return f"Not followed to a first boot test: {'; '.join(ended)}." if ended else "No job was lost from view."


def _outcomes(facts: ChecklistFacts) -> str:
    described = facts.described
    if described:
        return f"First boots: {share(described.fit.events, described.fit.n)}."
    rows = facts.cohort.first_boots
    return f"First boots: {share(int(rows['first_boot'].sum()), len(rows))}."


def _main(facts: ChecklistFacts) -> str:
    described = facts.described
    if not described:
        return _described(facts, "")
    if not described.fit.converged:
        return f"The fit did not settle: {described.fit.reason}."
    rows = [
        f"{e.label}: {points(e.difference.points)} points ({points_range(e.difference.low, e.difference.high)}), odds"
        f" ratio {odds(e.odds_ratio)} ({odds_range(e.low, e.high)}), n = {e.n}, {e.verdict}"
        for e in described.effects
    ]
    return f"Adjusted for all the rest, 95 % intervals. {'; '.join(rows)}." if rows else "Nothing could be told."


def _key(facts: ChecklistFacts) -> str:
    described = facts.described
    if not described:
        return _described(facts, "")
    clear = [e.label for e in described.effects if e.verdict is Verdict.CLEAR]
    leaning = [e.label for e in described.effects if e.verdict is Verdict.LEANING]
    told = [
        f"Clear: {listed(clear)}." if clear else "Nothing is clear.",
        f"Leaning: {listed(leaning)}." if leaning else "",
    ]
    return " ".join(filter(None, told))


def _temperature(facts: ChecklistFacts) -> str:
    described = facts.described
    if not described or described.temperature is None:
        return "Numbers straight; no curve of the install temperature here (too few typed settings, or no room for it)."
    t = described.temperature
    return (
        f"Numbers straight; install temperature as a curve over {t.typed} typed settings ({t.presets} unchanged presets and"
        f" {t.blank} blanks say nothing of heat)."
    )


def strobe(facts: ChecklistFacts) -> list[Item]:
    """Every item with its answer."""
    return [
        Item(
            "1",
            "Name the design in the title; give a summary",
            "A cohort of past jobs; summary on the first screen of the review.",
        ),
        Item(
            "2",
            "Explain the background",
            "Jobs are few, costly and mostly irreversible; what is done differs by habit and by board.",
        ),
        Item(
            "3",
            "State what is to be found out",
            "How passes, pads, heat and donor go with first boot, other recorded facts alike.",
        ),
        Item(
            "4", "Present the design", "Every job of the log from intake to its first boot test; nothing was assigned."
        ),
        Item(
            "5",
            "Describe setting and dates",
            f"One bench: {facts.log.settings.shop_name}. {dates(facts)} First boots up to {facts.month}.",
        ),
        Item(
            "6",
            "Say who was eligible and how followed",
            f"{_participants(facts)} A chain of jobs on one board counts once.",
        ),
        Item("7", "Define all variables", f"{DEFINITIONS['first-boot success']} {_variables(facts)}"),
        Item(
            "8",
            "Say how each was measured",
            f"{source(facts)} What a column holds and when it is known stands in the log dictionary; temperatures are set-points.",
        ),
        Item(
            "9",
            "Describe efforts against bias",
            "Work after boot test 1 never enters; the order of columns was fixed beforehand; faulty jobs are set aside whole and counted.",
        ),
        Item("10", "Explain the size", _size(facts)),
        Item("11", "Say how numbers were handled", _temperature(facts)),
        Item(
            "12a",
            "Describe the methods",
            "Penalised logistic regression, profile intervals, average differences; Holm over all that is told.",
        ),
        Item("12b", "Describe subgroups and interactions", "There are no subgroups and no interactions."),
        Item("12c", "Say how missing data were handled", _missing(facts)),
        Item("12d", "Say how loss from view was handled", _lost(facts)),
        Item(
            "12e",
            "Describe sensitivity analyses",
            "On the page 'Techniques': complete cases, another estimate, how strong a hidden cause would have to be.",
        ),
        Item("13", "Give numbers at each stage", _participants(facts)),
        Item("14", "Describe those studied and what is missing", _missing(facts)),
        Item("15", "Give the outcome events", _outcomes(facts)),
        Item("16", "Give the main results with intervals", _main(facts)),
        Item("17", "Report other analyses", "Techniques, technicians and hours have pages of their own."),
        Item("18", "Sum up", _key(facts)),
        Item("19", "Discuss limits", LIMITS),
        Item(
            "20",
            "Interpret with caution",
            "An association in this log; whether doing it helps is asked on the page 'Techniques', and answered by a trial by lot.",
        ),
        Item(
            "21",
            "Discuss how far it holds elsewhere",
            "For boards, people and stations like those of this log; not for other benches.",
        ),
        Item("22", "Name who paid", "Not in the log: to be filled in by the bench."),
    ]
