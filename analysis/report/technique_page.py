"""The techniques' page: which ways of working help on like boards, and how far that is to be trusted."""

from __future__ import annotations

import math
from dataclasses import replace

from analysis.cohort.technique_rows import middle
from analysis.questions.contrasts import AT_BENCH, Contrast
from analysis.questions.technique_answers import TechniqueAnswers
from analysis.questions.technique_design import TERM_OF
from analysis.questions.techniques import UNLIKE, Answer, Told
from analysis.questions.verdicts import Verdict
from analysis.records.dictionary import BY_NAME
from analysis.records.problems import plural
from analysis.report import technique_figures
from analysis.report.figures import Interval
from analysis.report.first_screen import blank_preheat_words, undatable_words
from analysis.report.page import (
    Bullets,
    FirstScreen,
    Grid,
    PageHead,
    Picture,
    Prose,
    Statement,
    jobs_left_out,
    jobs_up_to,
    ledger_grid,
    mend_first,
)
from analysis.report.technique_words import (
    HOW_UNKNOWN_WORDS,
    damage_words,
    difference,
    heat_words,
    helps_words,
    reach_of_plan,
    reach_words,
    refused_words,
    told_words,
)
from analysis.report.wording import number, of, p_value, percent, points, points_range, sentence, span


def page_head(page: TechniqueAnswers) -> PageHead:
    """Title, shop and period."""
    period = f"First boots of the whole log; {jobs_up_to(page.log)}"
    return PageHead.of(page.log, "Techniques, on like boards", period)


DONORS_ONLY = "Only donors are compared: that takes no work on the board."


def not_compared(page: TechniqueAnswers) -> str:
    """Why nothing on the page is told of work before the first test; empty where it is."""
    return undatable_words(page.found.undatable, "comparison of techniques") if page.found.undatable else ""


def _helps(page: TechniqueAnswers) -> Statement:
    if why := not_compared(page):
        said = Statement("What helps", why)
        return replace(said, says=f"{helps_words(page.told)} {DONORS_ONLY}", detail=why) if page.told else said
    refused = len(page.refused)
    detail = "First boots on like boards, other things equal as far as the log tells."
    if refused:
        detail += f" {refused} of {len(page.answers)} contrasts could not be compared; the reasons stand below."
    return Statement("What helps", helps_words(page.told), detail)


def _heat(page: TechniqueAnswers) -> Statement:
    if page.found.undatable:
        return Statement("Heat settings", "No curve of heat, for the same reason.")
    unknown = any(dose.counted.how_unknown for dose in page.doses)
    detail = HOW_UNKNOWN_WORDS if unknown else "Unchanged presets are left out."
    detail += " Settings are set-points of this bench's stations, never a specification."
    return Statement("Heat settings", heat_words(page.doses), detail)


def _damage(page: TechniqueAnswers) -> Statement:
    if page.found.undatable:
        return Statement("Where pads are lost", "No count of pads lost before the first test, for the same reason.")
    gone = page.damage.gone
    detail = (
        f"Another {plural(gone.pads, 'pad')} on {plural(gone.sides, 'side')} were gone when first seen."
        if gone.pads
        else ""
    )
    return Statement("Where pads are lost", damage_words(page.damage), detail)


def _next(page: TechniqueAnswers) -> Statement:
    plan = page.trial.plan
    if page.found.undatable:
        return Statement("What to try next", "No plan to be drawn by lot, for the same reason.")
    if plan is None:
        return Statement("What to try next", f"Nothing to be drawn by lot: {page.trial.why}.")
    says = f"{plan.contrast.question}, decided by lot on coming jobs: {reach_of_plan(plan.reach)}."
    return Statement("What to try next", says, "Never on a client's only copy without written consent.")


def _left_out(page: TechniqueAnswers) -> Statement:
    return jobs_left_out(page.found.ledger, "no first boot to compare")


def first_screen(page: TechniqueAnswers) -> FirstScreen:
    """What helps, heat, where pads are lost, what to try next, jobs left out."""
    return FirstScreen([*mend_first(page.log), _helps(page), _heat(page), _damage(page), _next(page), _left_out(page)])


def contrasts_words(page: TechniqueAnswers) -> Bullets | Prose:
    """Every contrast in a sentence."""
    told = [told_words(a) if isinstance(a, Told) else refused_words(a) for a in _asked(page)]
    if why := not_compared(page):
        return Bullets([why, DONORS_ONLY, *told])
    return Bullets([*told, *blank_preheat_words(page.found.blank_preheats)])


def _asked(page: TechniqueAnswers) -> tuple[Answer, ...]:
    """Contrasts that have anything to show, were it the reason why they are not answered: donors where no work is dated."""
    return tuple(answer for answer in page.answers if answer.contrast.of_donor or not page.found.undatable)


def contrasts_picture(page: TechniqueAnswers) -> Picture | Prose:
    """Differences with their intervals."""
    if not page.told:
        return Prose(["No contrast could be answered, so that there is nothing to draw."])
    rows = []
    for told in page.told:
        low, high = told.difference.interval()
        label = told.contrast.question + (" (exploratory)" if told.contrast.exploratory else "")
        words = f"{told.verdict}\nn = {told.n}"
        rows.append(Interval(label, 100 * told.difference.estimate, 100 * low, 100 * high, words))
    heading = _heading(page.told)
    alt = " ".join(f"{sentence(t.contrast.question)}: {difference(t)}, {t.verdict}." for t in page.told)
    return Picture(
        technique_figures.differences(rows, heading, "worse", "better"),
        f"Differences in first boots on like boards, in percentage points. {alt}",
        "Dots: difference in first boots of the first-named way, on boards alike. Bars: 95 % intervals, each contrast by"
        " itself; the words allow for the number of contrasts",
        page.found.ledger.rows_used,
    )


def _heading(told: tuple[Told, ...]) -> str:
    clear = [t for t in told if t.verdict is Verdict.CLEAR and not t.contrast.exploratory]
    if not clear:
        return "No way of working stands clear of the other"
    names = ", ".join(t.contrast.question.lower() for t in clear)
    return f"A clear difference: {names}"


def reach_list(page: TechniqueAnswers) -> Bullets | Prose:
    """Beside every "cannot tell" or "leaning": what the log could have shown."""
    open_ones = [told for told in page.told if told.verdict is not Verdict.CLEAR]
    if not open_ones:
        return Prose(
            [
                "Every contrast that was compared is clear."
                if page.told
                else "Nothing to show: no two ways are compared."
            ]
        )
    smallest = page.log.settings.smallest_difference_points
    pace = page.trial.a_month
    return Bullets([reach_words(told, page.twins.get(told.contrast.name), smallest, pace) for told in open_ones])


def arms_grid(page: TechniqueAnswers) -> Grid:
    """First boots of either arm, in all and by damage class; nothing is adjusted here."""
    answers = _asked(page)
    labels = {choice.code: choice.text for choice in BY_NAME["jobs"]["intake_damage"].choices}
    classes = [code for code in labels if any(r.damage == code for a in answers for r in a.groups.by_damage)]
    rows = []
    for answer in answers:
        by_class = {row.damage: row for row in answer.groups.by_damage}
        for at, name in enumerate(answer.contrast.arms):
            whole = answer.groups.without if at else answer.groups.with_it
            cells = []
            for code in classes:
                row = by_class.get(code)
                arm = None if row is None else row.without if at else row.with_it
                cells.append(of(arm) if arm is not None and arm.n else "–")
            count = of(whole) if whole.n else "–"
            rows.append([f"{answer.contrast.question}: {name}", count, percent(whole.rate), *cells])
    heads = ["way of working", "first boots", "plain rate", *(labels[code] for code in classes)]
    return Grid(
        "Who got which way: first boots of all jobs with each way, not adjusted",
        heads,
        rows,
        numbers=tuple(range(1, len(heads))),
        under="Plain rates mislead wherever hard boards get the one way more often than the other.",
    )


def overlap_grid(page: TechniqueAnswers) -> Grid | Prose:
    """How far the arms were given to like boards."""
    if not page.told:
        return Prose([])
    rows = [
        [
            told.contrast.question,
            str(told.n),
            f"{len(told.groups.both)} of {told.groups.technicians}",
            percent(told.overlap.either_way),
            f"{number(told.overlap.effective[0])} and {number(told.overlap.effective[1])}",
            f"{number(told.overlap.before, 2)} → {number(told.overlap.after, 2)}",
            number(max(told.overlap.left.values(), default=0.0), 2),
        ]
        for told in page.told
    ]
    heads = [
        "contrast",
        "jobs",
        "technicians who use both",
        "could have gone either way",
        "jobs they amount to",
        "largest difference, SD",
        "left in technician, quarter, damage",
    ]
    return Grid(
        "How alike the boards are that got either way",
        heads,
        rows,
        numbers=(1, 2, 3, 4, 5, 6),
        under="Each job counts by how evenly it could have had either way. 'Largest difference': between the two ways in"
        " anything adjusted for, in standard deviations, before and after weighting; under 0.1 is usually called balanced"
        f" (common practice, no source). Last column: the same, after weighting, among these three; over {number(UNLIKE, 1)} no"
        " verdict is given. What the weights leave is taken up by the model of first boots.",
    )


def checks_grid(page: TechniqueAnswers) -> Grid | Prose:
    """The estimate beside its checks."""
    if not page.told:
        return Prose([])
    return Grid(
        "The same differences by other means, in percentage points, and how strong an unrecorded cause must be",
        [
            "contrast",
            "difference",
            "doubly robust",
            "complete jobs only",
            "lost to blanks",
            "ratio of failures",
            "E-value",
            "adjusted P",
        ],
        [_checks(told) for told in page.told],
        numbers=(1, 2, 3, 4, 5, 6, 7),
        under="Intervals are 95 %. 'Complete jobs only': jobs without a blank in anything adjusted for, with their number."
        " E-value: how many times as often an unrecorded cause would have to go with the choice and with failure to bring"
        " the ratio to 1, and to bring the interval to 1.",
    )


def _in_points(estimate: float, ends: tuple[float, float]) -> str:
    return f"{points(100 * estimate)} ({points_range(100 * ends[0], 100 * ends[1])})"


def _checks(told: Told) -> list[str]:
    complete = f"too few ({told.complete_n})"
    if told.complete is not None:
        complete = f"{_in_points(told.complete.estimate, told.complete.interval())}, n = {told.complete_n}"
    ratio, low, high = told.failure_ratio
    return [
        told.contrast.question,
        _in_points(told.difference.estimate, told.difference.interval()),
        _in_points(told.robust.estimate, told.robust.interval()),
        complete,
        percent(told.difference.missing),
        f"{number(ratio, 2)} ({span(low, high, 2)})",
        f"{number(told.e_value.estimate, 1)}; {number(told.e_value.interval, 1)}",
        p_value(told.adjusted_p),
    ]


def settings_grid(page: TechniqueAnswers) -> Grid:
    """The declared contrasts: arms, what is adjusted for."""
    rows = [_declared(answer) for answer in page.answers]
    return Grid(
        "Contrasts, declared before any result was seen",
        ["contrast", "the two ways", "column", "declared"],
        rows,
        under=style_words(page),
    )


def _declared(answer: Answer) -> list[str]:
    contrast = answer.contrast
    when = "by the shop, exploratory" if contrast.exploratory else "beforehand"
    return [contrast.question, " / ".join(contrast.arms), contrast.column, when]


def style_words(page: TechniqueAnswers) -> str:
    """What hot, short, low and long mean at this bench."""
    if page.found.undatable:
        return ""
    rows = page.found.rows
    temperature, seconds = middle(rows["install_dose_c"]), middle(rows["install_dose_s"])
    if math.isnan(temperature) or math.isnan(seconds):
        return "Hot, short, low and long are meant against the bench's own middle settings, which are not recorded."
    return (
        f"Hot and low, short and long: above and below the bench's own middle install settings, {number(temperature)} °C and"
        f" {number(seconds)} s as typed. Jobs in between are left out."
    )


def adjusted_for(page: TechniqueAnswers) -> Bullets:
    """What is adjusted for and why; never what comes after the technique."""
    items = [f"{sentence(_labels(columns))}: {why}." for why, columns in AT_BENCH.items()]
    exceptions = [_otherwise(a.contrast) for a in page.answers if not a.contrast.exploratory]
    never = (
        "Never adjusted for: pads lost, the pad grade left, melts, later tests, and, for an earlier install on the donor, its"
        " test. They come after what is compared and may be the way in which it acts."
    )
    return Bullets([*items, *[text for text in exceptions if text], never])


def _labels(columns: tuple[str, ...]) -> str:
    return ", ".join(
        TERM_OF[n].label.removeprefix("each ").removeprefix("year of ").removesuffix(" worse") for n in columns
    )


def _otherwise(contrast: Contrast) -> str:
    """Where a contrast departs from the list: what is compared or comes after is not adjusted for."""
    usual = tuple(name for names in AT_BENCH.values() for name in names)
    gone = tuple(name for name in usual if name not in contrast.columns)
    more = tuple(name for name in contrast.columns if name not in usual)
    parts = [f"{word} {_labels(names)}" for word, names in (("without", gone), ("also for", more)) if names]
    return f"{contrast.question}: {', '.join(parts)}." if parts else ""


def ledger(page: TechniqueAnswers) -> Grid:
    """From all jobs of the log to the rows compared."""
    return ledger_grid(page.found.ledger, "whole log")


def contrast_ledgers(page: TechniqueAnswers) -> Grid:
    """What each contrast leaves out beyond that."""
    used = page.found.ledger.rows_used
    rows = []
    for answer in _asked(page):
        left = dict(answer.ledger.exclusions)
        blank, neither = left.get("not recorded which way", 0), left.get("neither of the two ways", 0)
        rows.append([answer.contrast.question, str(used), str(blank), str(neither), str(answer.ledger.rows_used)])
    heads = ["contrast", "jobs", "not recorded which way", "neither of the two", "in the two ways"]
    return Grid("Jobs of each contrast", heads, rows, numbers=(1, 2, 3, 4))
