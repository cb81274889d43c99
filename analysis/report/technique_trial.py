"""What to try next, and what a plan brought, on the techniques' page."""

from __future__ import annotations

from analysis.questions.technique_answers import TechniqueAnswers
from analysis.questions.trial_outcome import TrialOutcome
from analysis.questions.trial_plan import EARLY_P, LAST_P, Plan
from analysis.questions.verdicts import Verdict
from analysis.records.dictionary import BY_NAME
from analysis.records.problems import plural
from analysis.report.first_screen import undatable_words
from analysis.report.page import Bullets, Caution, Grid, Prose, ledger_grid
from analysis.report.technique_page import style_words
from analysis.report.technique_words import months_words, reach_of_plan
from analysis.report.wording import number, of, p_value, percent, points, points_range

DAMAGE = {choice.code: choice.text for choice in BY_NAME["jobs"]["intake_damage"].choices}


def next_words(page: TechniqueAnswers) -> Prose:
    """Which contrast, how many jobs, how long, what it would show."""
    trial = page.trial
    if page.found.undatable:
        return Prose([undatable_words(page.found.undatable, "plan")])
    if trial.plan is None:
        return Prose([f"No plan: {trial.why}."])
    plan, smallest = trial.plan, page.log.settings.smallest_difference_points
    first, second = plan.contrast.arms
    needed = trial.sizes[-1]
    parts = [
        f"{plan.contrast.question}: for each coming job a lot says '{first}' or '{second}'. {reach_of_plan(plan.reach)}, at"
        f" {number(trial.a_month, 1)} first boots a month (the last twelve months), all of them fit for a lot; twice as long if half are, or half"
        " agree.",
    ]
    if plan.contrast.column == "install_style":
        parts.append(style_words(page))
    if needed.jobs > plan.jobs:
        parts.append(
            f"The smallest difference worth acting on, {number(smallest)} points, takes {plural(needed.jobs, 'job')}, about"
            f" {months_words(needed.months)}. Decide before the first lot whether the shorter plan is worth its trouble."
        )
    return Prose(parts)


def worth_grid(page: TechniqueAnswers) -> Grid | Prose:
    """Contrasts fit for a lot, by what an answer is worth."""
    if not page.trial.worth:
        return Prose([])
    rows = [[w.contrast.question, number(w.per_100, 1)] for w in page.trial.worth]
    return Grid(
        "What a sure answer would be worth",
        ["contrast", "first boots per 100 jobs"],
        rows,
        numbers=(1,),
        under="First boots that knowing the better way would add to 100 jobs, on average over what is still possible. Contrasts"
        " already clear, hardly in use, not to be decided by lot, or whose interval leaves no difference worth acting on are not"
        " in the list.",
    )


def sizes_grid(page: TechniqueAnswers) -> Grid | Prose:
    """What other numbers of jobs would show; nothing where the bench's own rate cannot be told."""
    if not page.trial.sizes:
        return Prose([])
    rows = [[str(r.jobs), months_words(r.months), number(r.points)] for r in page.trial.sizes]
    return Grid(
        "How many jobs show how much",
        ["jobs in the plan", "time at this bench's pace", "difference shown in four of five, points"],
        rows,
        numbers=(0, 1, 2),
        under="Both ways together, half each; one contrast at a time; around the bench's own rate. Times hold if every client"
        " agrees; they double if half do.",
    )


def rules(page: TechniqueAnswers) -> Bullets | Prose:
    """How the plan is run, and the stopping rule fixed beforehand."""
    plan = page.trial.plan
    if plan is None:
        return Prose([])
    return Bullets(
        [
            "Print the list and fold its last column, the lots, to the back, or cut it into slips and put each into a numbered"
            " envelope, so that the next lot cannot be seen. Whoever keeps the list does not choose the jobs.",
            "First the written consent, then the line: a client or technician who knows the lot has chosen. A job without consent"
            " takes no line and is done as usual.",
            "When a job is taken on, and only then, write its code on the next line of its damage class, uncover its lot, and do as"
            " it says.",
            "If the drawn way turns out to be wrong for the board on the bench, do what is right for the board and note it. The job"
            " still counts as drawn.",
            f"Outcome: first boot of test 1, taken from the log. {plural(plan.jobs, 'job')} in all; one look before the end, at the"
            f" first {plan.first_look}. Stop there only if P is at most {EARLY_P:g}; at the end clear if P is at most {LAST_P:g}."
            " No other look, no further jobs.",
            "No line is skipped, torn out or left without its job. A verdict has to hold even if every lot that was read and does"
            " not count went against it, and jobs had taken the lots in the order they came in.",
            "Stop at once, whatever the count, if a way turns out to do harm that nobody foresaw.",
            "The lots stand in blocks within damage class. Each list gets a fresh random seed when it is written and carries it, so"
            " that the lots can be drawn again to check them; no other list foretells them.",
        ]
    )


def lines_grid(page: TechniqueAnswers) -> Grid | Prose:
    """How many lines each damage class has."""
    plan: Plan | None = page.trial.plan
    if plan is None:
        return Prose([])
    rows = [
        [DAMAGE[damage], str(len(ways)), str(ways.count(plan.contrast.arms[0])), str(ways.count(plan.contrast.arms[1]))]
        for damage, ways in plan.lines.items()
    ]
    return Grid(
        "About the lines of a list, with some to spare",
        ["damage at intake", "lines", *plan.contrast.arms],
        rows,
        numbers=(1, 2, 3),
        under="'rework compare LOG --plan-out plan.csv' writes the list to print; with the jobs filled in,"
        " 'rework compare LOG --plan plan.csv' analyses it.",
    )


def wrong_to_draw(page: TechniqueAnswers) -> Caution:
    """When a lot must not decide."""
    return Caution(
        [
            "Never on a client's only copy without written consent of that client to being decided by lot, in words they understand."
            " They may say no, or change their mind, without any disadvantage.",
            "A lot is wrong where one way is already known to be better, where the board in hand asks for one of them, where a maker's"
            " data sheet or a local code forbids one, where one can do harm that cannot be undone (a blade on pads is not drawn"
            " here), and where the bench would not act on the answer.",
            "Whether such a plan needs an ethics or legal review depends on where you work. Ask before the first lot.",
        ]
    )


def outcome_words(page: TechniqueAnswers) -> Prose:
    """What the plan says now, or that it is not time."""
    outcome = page.outcome
    if outcome is None:
        return Prose(["No plan was handed in. 'rework compare LOG --plan plan.csv' analyses one."])
    fixed = outcome.fixed
    head = f"{fixed.contrast.question}, decided by lot: {outcome.counted} of {fixed.jobs} planned jobs have a first boot and count."
    return Prose([head, _stage_words(outcome), *_conduct(outcome)])


def _stage_words(outcome: TrialOutcome) -> str:
    if outcome.difference is None:
        return f"It is not time to look: the first look comes at {outcome.fixed.first_look} jobs."
    d, way = outcome.difference, outcome.fixed.contrast.arms[0]
    n = sum(row.with_it.n + row.without.n for row in outcome.by_class)
    found = (
        f"{points(100 * d.difference)} points for '{way}' ({points_range(100 * d.low, 100 * d.high)}), n = {n},"
        f" P = {p_value(outcome.p)}"
    )
    if outcome.strict_p > outcome.p:
        found += (
            f", but P = {p_value(outcome.strict_p)} if every lot that was read and does not count had gone against that"
            " difference and jobs had taken the lots in the order they came in; this one decides"
        )
    if outcome.stage == "end":
        word = "this plan cannot tell them apart" if outcome.verdict is Verdict.CANNOT_TELL else str(outcome.verdict)
        return f"The plan has ended: {found}; {word}."
    if outcome.stop:
        return f"First look: {found}. The rule says to stop: {outcome.verdict}."
    return f"First look: {found}. The rule says to go on; it is no result."


def _conduct(outcome: TrialOutcome) -> list[str]:
    out = []
    if outcome.without_consent:
        out.append(
            f"{plural(outcome.without_consent, 'line')} without written consent noted: left out. This must not happen; ask these"
            " clients now."
        )
    if outcome.skipped:
        out.append(
            f"{plural(outcome.skipped, 'line')} passed over before a later one of the same class: who may pass over a lot"
            " chooses the jobs. Write on each of them the job it was read for."
        )
    first, second = outcome.fixed.contrast.arms
    if sum(outcome.not_counted):
        out.append(
            f"Lots read that will never count: {outcome.not_counted[0]} of '{first}', {outcome.not_counted[1]} of '{second}'."
        )
    if sum(outcome.waiting):
        out.append(
            f"No first boot yet: {outcome.waiting[0]} of '{first}', {outcome.waiting[1]} of '{second}'. A job left open does not"
            " count: close what has failed."
        )
    if outcome.otherwise:
        out.append(
            f"On {plural(outcome.otherwise, 'job')} the log says that the other way was taken; they count as drawn, which"
            " usually makes a difference look smaller."
        )
    if outcome.neither:
        out.append(
            f"On {plural(outcome.neither, 'job')} the log says neither way, or does not say what was done before the first"
            " test; they count as drawn."
        )
    if outcome.out_of_order:
        out.append(f"{plural(outcome.out_of_order, 'line')} taken out of order: a lot that can be chosen is no lot.")
    return out


def outcome_grid(page: TechniqueAnswers) -> Grid | Prose:
    """First boots of either way by damage class."""
    outcome = page.outcome
    if outcome is None or outcome.difference is None:
        return Prose([])
    rows = [
        [
            DAMAGE[row.damage],
            *(f"{of(arm)} ({percent(arm.rate)})" if arm.n else "–" for arm in (row.with_it, row.without)),
        ]
        for row in outcome.by_class
    ]
    heads = ["damage at intake", *outcome.fixed.contrast.arms]
    return Grid("First boots as drawn by lot", heads, rows, numbers=(1, 2))


def outcome_ledger(page: TechniqueAnswers) -> Grid | Prose:
    """From the lines with a job to those counted."""
    return Prose([]) if page.outcome is None else ledger_grid(page.outcome.ledger, "this plan")
