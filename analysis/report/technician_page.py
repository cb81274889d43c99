"""The technicians' page: whether they can be told apart at all, raw beside adjusted, funnel, ranks, learning."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from analysis.models import poisson_binomial
from analysis.models.terms import NOT_RECORDED
from analysis.questions.technicians import ACTION, WARNING, Person, Technicians
from analysis.questions.technicians_answers import TechnicianAnswers
from analysis.questions.technicians_rows import NotComparable
from analysis.questions.technicians_twin import CLEAR_RATE, LEANING_RATE
from analysis.questions.verdicts import Verdict
from analysis.report import figures, technician_figures
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
from analysis.report.technician_words import (
    POWER_WORDS,
    all_alone_words,
    boards_words,
    mix_words,
    not_compared_words,
    reach,
    reach_of_all,
    seldom,
    side,
    smallest_note,
    told_apart,
)
from analysis.report.wording import interval, listed, number, of, percent, points, points_range, rate, span

ORDER = "Order: by code, never by result."
NOT_COMPARED = Prose(["Nothing to show while technicians are not compared."])


def page_head(answers: TechnicianAnswers) -> PageHead:
    """Title, shop and period of the page."""
    period = f"First boots of the whole log; {jobs_up_to(answers.log)}. For the bench, not for publication"
    return PageHead.of(answers.log, "Technicians, on the same boards", period)


def _left_out(answers: TechnicianAnswers) -> Statement:
    return jobs_left_out(answers.found.ledger, "no first boot of a technician who is compared")


def _told(found: Technicians) -> str:
    return f"{told_apart(found)} {all_alone_words(found.jobs.alone)}".strip()


def first_screen(answers: TechnicianAnswers) -> FirstScreen:
    """Told apart or not, what the mix did, what the log could have shown, jobs left out."""
    found = answers.found
    if isinstance(found, NotComparable):
        said = Statement("Can they be told apart?", not_compared_words(found, answers.minimum))
        return FirstScreen([*mend_first(answers.log), said, _left_out(answers)])
    assert answers.twin is not None
    return FirstScreen(
        [
            *mend_first(answers.log),
            Statement("Can they be told apart?", _told(found), f"First boots: {rate(found.bench)}."),
            Statement("What the boards did", mix_words(found), boards_words(found)),
            Statement("What this log could show", reach_of_all(answers.twin), smallest_note(answers.twin, found)),
            _left_out(answers),
        ]
    )


def mix_picture(answers: TechnicianAnswers) -> Picture | Prose:
    """Raw rate and rate on the same boards."""
    found = answers.found
    if isinstance(found, NotComparable):
        return Prose([not_compared_words(found, answers.minimum)])
    pairs = [
        technician_figures.Pair(
            p.code, p.raw.rate, p.adjusted.mean, p.adjusted.low, p.adjusted.high, f"{p.raw.x} of {p.raw.n}"
        )
        for p in found.people
    ]
    heading = "Rates before and after easy and hard boards are put side by side"
    alt = " ".join(
        f"{p.code}: raw {percent(p.raw.rate)}, on the same boards {percent(p.adjusted.mean)}"
        f" ({interval(p.adjusted.low, p.adjusted.high)})."
        for p in found.people
    )
    return Picture(
        technician_figures.raw_and_adjusted(pairs, found.average, heading),
        f"Raw and adjusted first-boot rates of each technician. {alt} Bench's average {percent(found.average)}.",
        "Squares: raw rates. Dots: rates if everyone had had the bench's own mix of boards, with 95 % intervals; "
        + ORDER.lower().rstrip("."),
        found.ledger.rows_used,
    )


def mix_grid(answers: TechnicianAnswers) -> Grid | Prose:
    """What the mix did to each rate."""
    found = answers.found
    if isinstance(found, NotComparable):
        return Prose([])
    rows = [
        [
            p.code,
            of(p.raw),
            percent(p.raw.rate),
            percent(p.hardness),
            percent(p.adjusted.mean),
            interval(p.adjusted.low, p.adjusted.high),
        ]
        for p in found.people
    ]
    heads = ["technician", "booted", "raw rate", "bench on these boards", "on the same boards", "95 % interval"]
    under = (
        f"{ORDER} 'Bench on these boards': what the bench's average would have reached on this person's own jobs; lower means"
        " harder boards. 'On the same boards': this person on the bench's own mix, drawn towards the average as far as chance"
        " could explain the rest; with few jobs that is far."
    )
    return Grid("What the mix of boards did", heads, rows, numbers=(1, 2, 3, 4, 5), under=under)


def _bands(found: Technicians) -> tuple[np.ndarray, list[np.ndarray]]:
    """Limits between whole counts, in points, of so many jobs of the bench's own mix."""
    chances = np.sort(expit(found.offset + found.centre))
    most = max(person.raw.n for person in found.people)
    least = min(person.raw.n for person in found.people)
    sizes = np.unique(np.linspace(max(5, 0.5 * least), most * 1.1, 40).round().astype(int))
    bands: list[np.ndarray] = [np.empty((len(sizes), 2)) for _ in range(2)]
    for row, n in enumerate(sizes):
        taken = np.quantile(chances, (np.arange(n) + 0.5) / n)
        mass = poisson_binomial.pmf(taken)
        for band, level in zip(bands, (WARNING, ACTION), strict=True):
            band[row] = 100 * (np.array(poisson_binomial.smooth_range(mass, level)) - taken.sum()) / n
    return sizes.astype(float), bands


def _outside(found: Technicians, level: int) -> list[Person]:
    return [p for p in found.people if not p.limits[level].low <= p.raw.x <= p.limits[level].high]


def funnel_picture(answers: TechnicianAnswers) -> Picture | Prose:
    """Funnel plot with exact limits."""
    found = answers.found
    if isinstance(found, NotComparable):
        return NOT_COMPARED
    dots = [
        technician_figures.FunnelPoint(
            p.code,
            p.raw.n,
            100 * (p.raw.x - p.expected) / p.raw.n,
            *(
                (100 * (limit.low - p.expected) / p.raw.n, 100 * (limit.high - p.expected) / p.raw.n)
                for limit in p.limits
            ),
        )
        for p in found.people
    ]
    out = _outside(found, 0)
    told = listed([p.code for p in out])
    heading = f"Outside the 95 % limits: {told}" if out else "Everyone lies within the 95 % limits"
    alt = " ".join(f"{d.label}: {d.jobs} jobs, {points(d.points)} points." for d in dots)
    return Picture(
        technician_figures.funnel(dots, *_bands(found), heading),
        f"Funnel plot of first boots in 100 jobs more or fewer than expected, against the number of jobs. {alt} {heading}.",
        "Bars: exact limits on each person's own boards (thick 95 %, thin 99.8 %). Lines: the same for so many jobs of the"
        " bench's own mix, smoothed between whole numbers",
        found.ledger.rows_used,
    )


def funnel_grid(answers: TechnicianAnswers) -> Grid | Prose:
    """The funnel as numbers."""
    found = answers.found
    if isinstance(found, NotComparable):
        return Prose([])
    rows = [
        [
            p.code,
            of(p.raw),
            number(p.expected, 1),
            *(span(limit.low, limit.high) for limit in p.limits),
        ]
        for p in found.people
    ]
    n = len(found.people)
    by_chance = 100 * (1 - WARNING**n)
    under = (
        "Limits: the counts that a person working like the bench's average would stay within on these very boards in at least"
        " 95 (99.8) of 100 logs, exactly; the mix is taken as known. Of"
        f" {n} people who all work alike, one or more lies outside the 95 % limits in about {by_chance:.0f} of 100 logs or fewer:"
        " that is no verdict, and to lie within them is no proof of working alike."
    )
    heads = ["technician", "booted", "expected", "95 % limits", "99.8 % limits"]
    return Grid("First boots against what chance allows", heads, rows, numbers=(1, 2, 3, 4), under=under)


def _verdict(person: Person) -> str:
    if person.verdict is Verdict.CANNOT_TELL:
        return str(person.verdict).replace(" ", "\u00a0")
    return f"{person.verdict}, {side(person)}"


def verdict_grid(answers: TechnicianAnswers) -> Grid | Prose:
    """Verdict, chance of lying above the average, and what the log could have shown of this person."""
    found = answers.found
    if isinstance(found, NotComparable) or answers.twin is None:
        return NOT_COMPARED
    rows = [
        [
            p.code,
            _verdict(p),
            points(100 * p.difference.mean),
            points_range(100 * p.difference.low, 100 * p.difference.high),
            percent(p.above),
            percent(p.beyond),
            reach(answers.twin.of(p.code)),
        ]
        for p in found.people
    ]
    heads = [
        "technician",
        "verdict",
        "points from average",
        "95 % interval",
        "chance above average",
        f"chance of {100 * found.smallest:g} points or more",
        "points that would have been clear",
    ]
    under = (
        f"{ORDER} Clear: the chance of lying above the average is over 97.5 % or under 2.5 %; leaning: over 90 % or under 10 %."
        f" 'Points that would have been clear': smallest distance from the average found {POWER_WORDS}, simulated"
        " with this bench's own jobs."
    )
    return Grid("Verdict on each technician", heads, rows, numbers=(2, 3, 4, 5, 6), under=under)


def verdict_words(answers: TechnicianAnswers) -> Prose:
    """How often the verdict words mislead, and what the spread is."""
    found, twin = answers.found, answers.twin
    if isinstance(found, NotComparable) or twin is None:
        return Prose([])
    # Of two, to be above their average is to be first.
    best = (
        f"better of the two would come out first in only {seldom(twin.best_first)}"
        if len(found.people) == 2
        else f"best would come out above the average in {seldom(twin.best_above)}, but first in only {seldom(twin.best_first)}"
    )
    return Prose(
        [
            f"The chance that the two furthest apart differ by {100 * found.smallest:g} points or more:"
            f" {percent(found.spread_beyond)}.",
            f"If nobody differed, a log like this would still mark someone clear in {seldom(twin.anyone_clear)}, and someone"
            f" leaning or clear in {seldom(twin.anyone_leaning)}. Meant are at most {100 * CLEAR_RATE:.0f} and"
            f" {100 * LEANING_RATE:.0f} of 100.",
            f"If technicians differed as much as was supposed beforehand, the truly {best}. That is why there is no ranking"
            " here.",
        ]
    )


def rank_grid(answers: TechnicianAnswers) -> Grid | Prose:
    """Ranks with their intervals, and the chances under other suppositions."""
    found = answers.found
    if isinstance(found, NotComparable):
        return NOT_COMPARED
    rows = [
        [p.code, span(*p.ranks), percent(p.above_by_scale[0][1]), percent(p.above), percent(above)]
        for p in found.people
        for above in (p.above_by_scale[1][1],)
    ]
    heads = [
        "technician",
        "rank, 95 % interval",
        "chance above average, small spread supposed",
        "the same, as used",
        "the same, large spread supposed",
    ]
    under = (
        "A rank that may be almost anything is the rule with few people and few jobs: of five people with forty jobs each, the"
        " truly best came out first in fewer than half of 200 simulated benches. The three chances suppose beforehand a"
        " spread between technicians of scale 0.25, 0.5 and 1 in log odds; where they lead to different words, the data say"
        " little."
    )
    return Grid("Ranks are uncertain, and what other suppositions give", heads, rows, numbers=(1, 2, 3, 4), under=under)


def learning_picture(answers: TechnicianAnswers) -> Picture | Prose:
    """First boot over the number of earlier jobs."""
    found, learned = answers.found, answers.learning
    if isinstance(found, NotComparable):
        return NOT_COMPARED
    if learned is None:
        return Prose(
            [
                "There is no learning curve: earlier jobs do not vary enough in this log, or only one or two people have many."
            ]
        )
    curve = learned.curve
    ends = " and ".join(
        f"{percent(curve.chance[at])} ({interval(curve.low[at], curve.high[at])}) at {curve.x[at]:.0f}"
        for at in (0, -1)
    )
    heading = f"Earlier jobs and first boot: {learned.verdict}"
    return Picture(
        figures.curve(
            curve.x,
            curve.chance,
            curve.low,
            curve.high,
            curve.recorded,
            heading,
            "jobs the same technician had accepted before",
            "chance of first boot",
        ),
        f"Whether first boot goes with the number of earlier jobs: {learned.verdict}. Average chance with its 95 % band: {ends}"
        " earlier jobs.",
        "Within each technician and quarter of a year, on the same boards, as far as several people have come; grey: how many"
        " jobs lie where",
        learned.n,
    )


def learning_words(answers: TechnicianAnswers) -> Prose:
    """What the learning curve can and cannot say."""
    learned = answers.learning
    if isinstance(answers.found, NotComparable) or learned is None:
        return Prose([])
    (low, high), (first, last) = learned.curve.x[[0, -1]], learned.smallest_ends
    could = (
        f"To be seen {POWER_WORDS}, first boots would have to rise steadily from about {percent(first)} at {low:.0f} earlier"
        f" jobs to about {percent(last)} at {high:.0f}."
    )
    return Prose(
        [
            f"Whether first boot goes with the number of earlier jobs: {learned.verdict}. {could}",
            "Jobs of the same technician and the same quarter of a year are compared, so that what changed for everyone does not"
            " pass for learning; what is left shows mostly in people whose jobs grow at different speeds, and that is little."
            " Earlier jobs are counted from the first day of this log: whoever worked before it has more.",
        ]
    )


def technicians_ledger(answers: TechnicianAnswers) -> Grid:
    """Where every job went."""
    return ledger_grid(answers.found.ledger, "first boots of technicians")


def adjusted_words(answers: TechnicianAnswers) -> Bullets | Prose:
    """What easy and hard means here."""
    found = answers.found
    if isinstance(found, NotComparable):
        return Prose([])
    design = found.jobs.design
    terms = [term.label.removeprefix("each year of ") for term in design.terms if term.label != "technician"]
    said = f"Boards are put side by side by {listed(terms)}." if terms else "There was no room for any board fact."
    return Bullets([said, *_not_in(found), _blank_words(found)])


def _not_in(found: Technicians) -> list[str]:
    """Board facts that are not in the comparison, and whom that leaves out."""
    design = found.jobs.design
    columns = {name for term in design.terms for name in term.names}
    labels = {left.label for left in design.left_out}
    without, together = listed(sorted(labels - columns)), listed(sorted(labels & columns))
    out = [f"Without room or variation: {without}." if without else ""]
    if together:
        alone = " or with one technician who is not compared" if found.jobs.alone else ""
        out.append(f"Always together with other facts{alone}, and so without a column of its own: {together}.")
    out.append(all_alone_words(found.jobs.alone))
    return [words for words in out if words] or ["No fact was left out."]


def _blank_words(found: Technicians) -> str:
    design = found.jobs.design
    blank = listed(
        [
            f"{name.removeprefix('each year of ').removesuffix(f': {NOT_RECORDED}')} {percent(n / design.n)}"
            for name, n in design.behind.items()
            if name.endswith(f": {NOT_RECORDED}") and n
        ]
    )
    if not blank:
        return "Nothing is left blank."
    return (
        f"Left blank: {blank} of the jobs. A blank puts a hard board among the average ones: whoever gets the hard boards"
        " looks worse for it, and can be marked for nothing."
    )
