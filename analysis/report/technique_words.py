"""Sentences of the techniques' page."""

from __future__ import annotations

import math

from analysis.models.design import TooFew
from analysis.questions.damage_steps import NOT_NOTED, DamageSteps
from analysis.questions.dose import Dose, NoDose
from analysis.questions.technique_design import TERM_OF
from analysis.questions.techniques import Refused, Told
from analysis.questions.trial_plan import Reach
from analysis.questions.twin import Smallest
from analysis.questions.verdicts import Verdict
from analysis.records.problems import plural
from analysis.report.technician_words import POWER_WORDS
from analysis.report.wording import listed, number, percent, points, points_range, rounded, sentence

MANY_BLANKS = 0.25  # fraction of information missing from which it is said in words (common practice, no source)
HOW_UNKNOWN_WORDS = (
    "How settings were entered was never recorded, so that unchanged presets, which say nothing of the heat really used, may"
    " be among them: never more than 'leaning'."
)


def difference(told: Told) -> str:
    """The standardised difference in points with its interval: "+15 points (+6 to +24)"."""
    low, high = told.difference.interval()
    return f"{points(100 * told.difference.estimate)} points ({points_range(100 * low, 100 * high)})"


def told_words(told: Told) -> str:
    """A contrast in one sentence, with its n and its verdict."""
    first, second = told.chances
    with_it, without = told.contrast.arms
    return (
        f"{told.contrast.question}: on like boards {percent(first)} first boots with '{with_it}' and {percent(second)} with"
        f" '{without}'{rounded(first, second, told.difference.estimate)}: {difference(told)}, n = {told.n}, {told.verdict}{_own(told)}.{_blank_words(told)}{unlike_words(told)}"
        f"{f' {HOW_UNKNOWN_WORDS}' if told.how_unknown else ''}"
    )


def _blank_words(told: Told) -> str:
    """How much blanks took away, where it is much; else empty."""
    if told.difference.missing < MANY_BLANKS:
        return ""
    return f" Blanks in what is adjusted for took away about {percent(told.difference.missing)} of what these jobs could have told."


def unlike_words(told: Told) -> str:
    """Why a verdict is held back: the two ways went to different people, times or boards; else empty."""
    if not told.unlike:
        return ""
    named = listed([TERM_OF[name].label.removesuffix(" received") for name in told.unlike])
    left = max(told.overlap.left[name] for name in told.unlike)
    return (
        f" No verdict: even after weighting the two ways differ in {named} (by up to {number(left, 2)} standard deviations), so"
        " that the one cannot be told from the other."
    )


def _own(answer: Told | Refused) -> str:
    return " (exploratory)" if answer.contrast.exploratory else ""


def refused_words(refused: Refused) -> str:
    """Why a contrast is not answered."""
    return f"{refused.contrast.question}{_own(refused)}: not compared; {refused.why}."


def _shown_by_twin(twin: Smallest | None) -> bool:
    return twin is not None and not math.isinf(twin.size)


def _size_words(twin: Smallest) -> str:
    """The smallest difference found, with its Monte Carlo error, or that one as small is found already."""
    how_sure = "or less" if twin.or_less else f"(± {number(twin.error, 1)})"
    return f"{number(twin.size)} points {how_sure}"


def reach_words(told: Told, twin: Smallest | None, smallest: float, a_month: float) -> str:
    """What such a log could have shown, and how many more jobs it takes at the bench's pace (first boots a month)."""
    start = f"{told.contrast.question} ({plural(told.n, 'job')}): "
    if told.unlike:
        return f"{start}nothing, however many jobs, while the two ways go to different people, times or boards."
    if told.doubtful:
        why = "it is not recorded how settings were entered" if told.how_unknown else "a blank counts as none"
        return f"{start}nothing would be called clear while {why}."
    if twin is not None and _shown_by_twin(twin):
        shown = f"a difference of {_size_words(twin)} would have been clear {POWER_WORDS}"
    elif told.detectable < 1:
        shown = (
            f"only a difference of {number(100 * told.detectable)} points or more would have been clear {POWER_WORDS}"
        )
    else:
        shown = f"no difference, however large, would have been clear {POWER_WORDS}"
    return f"{start}{shown}; {further_words(told, smallest, a_month)}." if told.further_jobs else f"{start}{shown}."


def further_words(told: Told, smallest: float, a_month: float) -> str:
    """Further jobs of the bench until the smallest difference worth acting on would be clear, and the time they take."""
    jobs = two_digits(told.further_jobs)
    pace = f" (about {months_words(jobs / a_month)} at its pace)" if a_month else ""
    return (
        f"for {number(smallest)} points, the smallest difference worth acting on, it takes about"
        f" {plural(jobs, 'further first boot')} at this bench{pace}"
    )


def two_digits(count: int) -> int:
    """A count to two digits: it is no surer than that."""
    return int(float(f"{count:.1e}"))


def named(told: Told) -> str:
    """A contrast and the better way, for a list on the first screen."""
    d, (low, high) = told.difference.estimate, told.difference.interval()
    better = told.contrast.arms[0 if d > 0 else 1]
    ends = (low, high) if d > 0 else (-high, -low)
    question = told.contrast.question[:1].lower() + told.contrast.question[1:]
    return (
        f"{question}, {number(100 * abs(d))} points more first boots with '{better}'"
        f" ({points_range(100 * ends[0], 100 * ends[1])}; {plural(told.n, 'job')})"
    )


def helps_words(told: tuple[Told, ...]) -> str:
    """The first sentence of the page: which ways of working make a difference, if any."""
    if not told:
        return "No two ways of working can be compared yet."
    clear = [t for t in told if t.verdict is Verdict.CLEAR and not t.contrast.exploratory]
    leaning = [t for t in told if t.verdict is Verdict.LEANING and not t.contrast.exploratory]
    parts = []
    if clear:
        parts.append(f"Clear: {listed([named(t) for t in clear])}.")
    if leaning:
        parts.append(f"Leaning: {listed([named(t) for t in leaning])}.")
    others = len([t for t in told if not t.contrast.exploratory]) - len(clear) - len(leaning)
    if others:
        alone = "the one contrast" if others == 1 else f"any of the {others} contrasts"
        rest = f"On {plural(others, 'other contrast')} this log cannot tell."
        parts.append(rest if parts else f"Cannot tell on {alone} that could be compared.")
    return " ".join(parts)


def few_words(few: TooFew) -> str:
    """Too few of the rarer outcome for a curve."""
    rarer = min(few.successes, few.failures)
    more = f"; about {plural(few.further_jobs, 'further job')} are needed" if few.further_jobs else ""
    return f"only {rarer} of the rarer outcome among {few.successes + few.failures} jobs{more}"


def counted_words(dose: Dose | NoDose) -> str:
    """How the settings were entered."""
    c = dose.counted
    if c.how_unknown:
        return f"{plural(c.used, 'setting')} used, {c.blank} not recorded. {HOW_UNKNOWN_WORDS}"
    if not c.used and not c.presets:
        of_which = " of which the log says how it was entered" if c.unknown else ""
        return f"No {dose.setting.name} is recorded{of_which} (n = {c.unknown + c.blank})."
    unsaid = f"; {c.unknown} left out that do not say how they were entered" if c.unknown else ""
    return (
        f"{plural(c.used, 'typed setting')} used; {plural(c.presets, 'unchanged preset')} left out, since nobody knows what was"
        f" really set{unsaid}; {c.blank} not recorded."
    )


def dose_reach(dose: Dose, twin: Smallest | None) -> str:
    """How deep an optimum would have had to be; empty where it was not simulated."""
    if twin is None:
        return ""
    unit, ends = dose.setting.unit, listed([f"{number(d.setting)} {dose.setting.unit}" for d in dose.differences])
    middle = f"{number(dose.differences[0].against)} {unit}"
    if not _shown_by_twin(twin):
        return f"Even a fall of {number(twin.largest)} points from {middle} to {ends} would not have been clear {POWER_WORDS}."
    return f"A fall of {_size_words(twin)} from {middle} to {ends} would have been clear {POWER_WORDS}."


def dose_words(dose: Dose | NoDose) -> str:
    """What the log says of one setting: an effect, or none that can be detected."""
    name = sentence(dose.setting.name)
    if isinstance(dose, NoDose):
        why = few_words(dose.few) if dose.few else dose.why
        return f"{name}: no curve; {why}."
    unit, n = dose.setting.unit, dose.fit.n
    ends = listed(
        [
            f"{number(d.setting)} {unit} against {number(d.against)} {unit}: {points(d.points)} points"
            f" ({points_range(d.low, d.high)})"
            for d in dose.differences
        ]
    )
    people = " Too few jobs to allow for who did them: never more than 'leaning'." if dose.people_unadjusted else ""
    if dose.verdict is Verdict.CANNOT_TELL:
        return f"{name}: no detectable effect of {dose.setting.what} in {n} jobs. {ends}.{people}"
    return f"{name}: {dose.verdict}, n = {n}. {ends}.{people}"


def heat_words(doses: tuple[Dose | NoDose, ...]) -> str:
    """All settings in one or two sentences for the first screen."""
    told = [d for d in doses if isinstance(d, Dose)]
    if not told:
        return "No word on heat yet; the reason of each setting stands below."
    found = [d for d in told if d.verdict is not Verdict.CANNOT_TELL]
    without = [d for d in told if d.verdict is Verdict.CANNOT_TELL]
    parts = [f"{sentence(d.setting.name)}: {d.verdict} ({d.fit.n} jobs)." for d in found]
    if without:
        names = listed([f"{d.setting.name} ({d.fit.n} jobs)" for d in without])
        parts.append(f"No detectable effect of {names}.")
    return " ".join(parts)


def damage_words(damage: DamageSteps) -> str:
    """Where most pads are lost."""
    if not damage.sides:
        return "No side with a count of pads lost is in the log."
    if not damage.lost:
        return f"No pad was lost at this bench on {plural(damage.sides, 'side')}."
    lossy = sum(row.lost.x for row in damage.spots)
    first = damage.steps[0]
    most = f"most in one step: {first.step} ({plural(first.pads, 'pad')})"
    if first.step == NOT_NOTED:
        some = f"of {plural(first.pads, 'pad')} the step is not noted"
        most = "the step is never noted" if first.pads == damage.lost else some
    return f"{plural(damage.lost, 'pad')} lost at this bench, on {lossy} of {plural(damage.sides, 'side')}; {most}."


def months_words(months: float) -> str:
    """A time at the bench's pace."""
    if math.isinf(months):
        return "–"
    if months < 24:
        return plural(max(1, round(months)), "month")
    years = months / 12
    return f"{years:.1f} years" if years < 10 else f"{years:.0f} years"


def reach_of_plan(reach: Reach) -> str:
    """What a plan would show."""
    return (
        f"{plural(reach.jobs, 'job')} take about {months_words(reach.months)} if everyone agrees and show a difference of"
        f" {number(reach.points)} points in four of five such plans"
    )
