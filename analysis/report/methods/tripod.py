"""The TRIPOD items for the prediction at the counter, filled in from the log at hand.

TRIPOD: Collins, Reitsma, Altman and Moons, Annals of Internal Medicine 162 (2015) 55–63 (numbers of the items and what
they ask from memory, in our own words).
"""

from __future__ import annotations

from analysis.cohort.outcomes import DEFINITIONS
from analysis.questions.checklist_facts import ChecklistFacts, blanks_predicted
from analysis.questions.intake_columns import intake_terms
from analysis.records.problems import plural
from analysis.report.methods.answers import Item, blanks, dates, estimate, flow, share, source
from analysis.report.wording import listed, number

LIMITS = (
    "One bench; jobs that were accepted, so that nothing is known of boards like those declined; few of the rarer outcome;"
    " what the log does not hold (how a board was stored, who tried before and how) is not in the chance."
)


def _predictors(facts: ChecklistFacts) -> str:
    used = listed([term.label for term in intake_terms()])
    return f"{used}: known at intake or at the assessment before work; {plural(len(intake_terms()), 'fact')} in all."


def _size(facts: ChecklistFacts) -> str:
    model = facts.model
    if model is None:
        return "No closed job yet."
    rarer = min(model.events, model.n - model.events)
    told = f"All {plural(model.n, 'closed job')} there are, {model.events} recovered; {rarer} of the rarer outcome."
    return f"{told} No size was worked out beforehand; under ten of the rarer outcome there is no model."


def _missing(facts: ChecklistFacts) -> str:
    told = "Blank and unknown are one level (numbers: median and an indicator), in fitting and prediction alike."
    if facts.model is None:
        return told
    return f"{told} {blanks(blanks_predicted(facts.model.design, facts.model.n))}"


def _model(facts: ChecklistFacts) -> str:
    told = "Logistic regression with partial pooling; every fact enters, none is selected by its result."
    if facts.model is None or facts.model.fit is None:
        return f"{told} Not fitted here: too few of the rarer outcome; the rate of the damage class is used."
    return f"{told} No interactions."


def _groups(facts: ChecklistFacts) -> str:
    return "Accept, discuss, decline: by the expected margin over the interval of the chance, so that they depend on the fee."


def _compared(facts: ChecklistFacts) -> str:
    rolled = facts.rolled
    if not rolled.converged:
        return f"No month could be predicted from those before: {rolled.reason or 'too few jobs'}."
    months = rolled.rows["month"].nunique()
    return (
        f"Same bench, later months: {plural(len(rolled.rows), 'job')} of {plural(months, 'month')} predicted,"
        f" {share(int(rolled.rows['outcome'].sum()), len(rolled.rows))} recovered."
    )


def _unadjusted(facts: ChecklistFacts) -> str:
    if facts.model is None:
        return "No closed job yet."
    rates = facts.model.rates
    rows = [f"{code.replace('_', ' ')} {share(rates.won[code], rates.n[code])}" for code in rates.n]
    return f"Recovered by damage class: {'; '.join(rows)}."


def _performance(facts: ChecklistFacts) -> str:
    if facts.own is None or facts.rival is None:
        return "Cannot be judged yet: no past month could be predicted."
    own, rival, gain = facts.own, facts.rival, facts.gain
    told = (
        f"On past months: Brier {number(own.brier, 3)} (damage-class rate {number(rival.brier, 3)}), log score"
        f" {number(own.log_score, 3)} ({number(rival.log_score, 3)}), AUC {estimate(own.auc)}, calibration slope"
        f" {estimate(own.slope)}, in the large {estimate(own.in_the_large)}."
    )
    if not gain.converged:
        return f"{told} The gain over the class rate has no interval: {gain.reason}."
    return (
        f"{told} Gain in log score a job over the class rate {number(gain.gain, 3)} (80 % interval {number(gain.low, 3)} to"
        f" {number(gain.high, 3)}; {plural(gain.months, 'month')})."
    )


def _verdict(facts: ChecklistFacts) -> str:
    if facts.model is not None and facts.model.fit is not None and facts.model.trust.model:
        return "By the rule fixed beforehand the model is used: its gain over the class rate lies above zero."
    return "By the rule fixed beforehand the model is not used; the rate of the damage class is told instead."


def _equation(facts: ChecklistFacts) -> str:
    if facts.model is None or facts.model.fit is None:
        return "No model is fitted."
    columns = len(facts.model.design.names)
    return (
        f"A posterior over {plural(columns, 'column')} has no single equation; the whole of it is kept as JSON by the"
        " command 'rework assess' (reports/.models) and gives the same answers again."
    )


def tripod(facts: ChecklistFacts) -> list[Item]:
    """Every item with its answer."""
    rows = facts.rows.ledger
    return [
        Item(
            "1",
            "Say in the title what is predicted, for whom, and whether a model is made or tested",
            "Chance of recovery of a device at intake: made from all closed jobs, tested on later months of the same log.",
        ),
        Item("2", "Give a summary", "The first screen of the page 'Accept or decline'."),
        Item(
            "3a",
            "Explain the setting and why the model is made",
            "A bench must accept or decline a device whose repair costs hours and a donor and is often the client's only chance.",
        ),
        Item(
            "3b",
            "Say what is to be found out",
            "Whether facts known before work tell more of recovery than the rate of the damage class.",
        ),
        Item("4a", "Describe where the data come from", source(facts)),
        Item("4b", "Give the dates", dates(facts)),
        Item("5a", "Describe the setting", f"One bench: {facts.log.settings.shop_name}."),
        Item("5b", "Say who could be included", flow(rows)),
        Item(
            "5c",
            "Describe the treatment",
            "A move of processor, memory and storage to a donor board; how it is done is no predictor.",
        ),
        Item(
            "6a", "Define the outcome and when it is known", f"{DEFINITIONS['recovered']} Known when the job is closed."
        ),
        Item(
            "6b",
            "Was the outcome judged blind?",
            "No: whoever works knows the facts of intake. The outcome is what a boot test shows.",
        ),
        Item("7a", "Define the predictors and when they were measured", _predictors(facts)),
        Item(
            "7b",
            "Were predictors judged blind to the outcome?",
            "They belong to intake or assessment; the log does not show when a cell was typed, seals show later changes.",
        ),
        Item("8", "Explain how many were studied", _size(facts)),
        Item("9", "Say how missing data were handled", _missing(facts)),
        Item(
            "10a",
            "Say how predictors were handled",
            "Categories by level; numbers straight, in steps of two standard deviations.",
        ),
        Item("10b", "Say what kind of model, how built", _model(facts)),
        Item(
            "10c",
            "For testing, say how predictions were made",
            "Each past month from jobs whose outcome was known before it began; the model was fitted anew each time.",
        ),
        Item(
            "10d",
            "Name the measures",
            "Brier and log score, AUC, calibration, net benefit; against the plain rate, the class rate and the technician's guess.",
        ),
        Item(
            "10e",
            "Say whether the model was updated",
            "It is fitted anew whenever the log has changed; nothing is carried over.",
        ),
        Item("11", "Say how risk groups were made", _groups(facts)),
        Item("12", "Say how the data for testing differ from those for making", _compared(facts)),
        Item("13a", "Show the flow", flow(rows)),
        Item("13b", "Describe those studied", f"{_unadjusted(facts)} {_blanks(facts)}".strip()),
        Item("13c", "Compare with the data for making", "The same log, cut at each month; see 12."),
        Item("14a", "Give numbers and events", _size(facts)),
        Item("14b", "Give single associations", _unadjusted(facts)),
        Item("15a", "Give the whole model", _equation(facts)),
        Item(
            "15b", "Say how to use it", "'rework assess my_log' for one intake; 'rework counter my_log' for the page."
        ),
        Item("16", "Give its performance", _performance(facts)),
        Item("17", "Give the results of updating", "There is none apart from 10e."),
        Item("18", "Name the limits", LIMITS),
        Item("19a", "Compare with how it looked when made", _verdict(facts)),
        Item("19b", "Interpret", "A chance of jobs alike, with its range; never a promise for one device."),
        Item(
            "20",
            "Say what it is good for",
            "A second opinion at the counter, where the rule above holds; the decision stays with the owner.",
        ),
        Item("21", "Point to more", "The verification page, the definitions and the code of this suite."),
        Item("22", "Name who paid", "Not in the log: to be filled in by the bench."),
    ]


def _blanks(facts: ChecklistFacts) -> str:
    return blanks(blanks_predicted(facts.model.design, facts.model.n)) if facts.model is not None else ""
