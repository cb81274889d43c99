"""Heat settings and pads on the techniques' page."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.models.damage_counts import CountResult
from analysis.models.design import LeftOut
from analysis.questions.damage_steps import NOT_NOTED, SIDES_PER_DF, DamageSteps, Ratio
from analysis.questions.dose import Dose
from analysis.questions.technique_answers import TechniqueAnswers
from analysis.questions.technique_design import TECHNICIAN
from analysis.questions.terms import DAMAGE
from analysis.questions.verdicts import Verdict
from analysis.records.problems import plural
from analysis.report import figures, technique_figures
from analysis.report.first_screen import undatable_words
from analysis.report.page import Bullets, Grid, Picture, Prose, ledger_grid
from analysis.report.technique_words import HOW_UNKNOWN_WORDS, counted_words, damage_words, dose_reach, dose_words
from analysis.report.wording import interval, listed, number, odds, odds_range, of, p_value, percent, sentence


def dose_list(page: TechniqueAnswers) -> Bullets | Prose:
    """Every setting in words, with what was left out."""
    if page.found.undatable:
        return Prose([undatable_words(page.found.undatable, "curve of heat")])
    items = []
    for dose in page.doses:
        reach = dose_reach(dose, page.twins.get(dose.setting.name)) if isinstance(dose, Dose) else ""
        items.append(" ".join(part for part in (dose_words(dose), reach, counted_words(dose)) if part))
    return Bullets(items)


def stations_words(page: TechniqueAnswers) -> Prose:
    """Whether settings were moved to a common scale."""
    stations = page.found.stations
    if stations < 2:
        return Prose(["Settings are shown as typed; one station or none is named."])
    return Prose(
        [
            f"{stations} stations are named. What one shows need not be what another shows: set temperatures of each are moved so"
            " that its middle setting is the middle of all."
        ]
    )


def _dose(page: TechniqueAnswers, name: str) -> Dose | None:
    return next((dose for dose in page.doses if isinstance(dose, Dose) and dose.setting.name == name), None)


def dose_picture(page: TechniqueAnswers, name: str) -> Picture | Prose:
    """Chance of first boot over one setting, with its band and the settings recorded."""
    dose = _dose(page, name)
    if dose is None:
        return Prose([f"{sentence(name)}: no curve, as said above."])
    c, unit = dose.curve, dose.setting.unit
    if dose.verdict is Verdict.CANNOT_TELL:
        heading = f"No detectable effect of {name}"
    else:
        first, last = c.may_be_best
        heading = f"{sentence(name)}: {dose.verdict}, highest somewhere from {number(first)} to {number(last)} {unit}"
    ends = [0, len(c.x) // 2, len(c.x) - 1]
    alt = "; ".join(f"{number(c.x[i])} {unit} {percent(c.chance[i])} ({interval(c.low[i], c.high[i])})" for i in ends)
    return Picture(
        figures.curve(c.x, c.chance, c.low, c.high, c.recorded, heading, f"{name}, {unit}", "chance of first boot"),
        f"Chance of first boot over {name}, with a 95 % band: {alt}.",
        "Line: average chance had every job had this setting; band: 95 % interval at each setting by itself; grey bars: how"
        " often each setting was recorded",
        dose.fit.n,
    )


def dose_grid(page: TechniqueAnswers) -> Grid | Prose:
    """Tests of the settings and what was adjusted for."""
    told = [dose for dose in page.doses if isinstance(dose, Dose)]
    if not told:
        return Prose([])
    rows = [
        [
            dose.setting.name,
            str(dose.fit.n),
            str(dose.fit.n - dose.fit.events),
            p_value(dose.test.p),
            p_value(dose.adjusted_p),
            listed([left.label for left in dose.left_out]) or "nothing",
        ]
        for dose in told
    ]
    heads = ["setting", "jobs", "failures", "P", "adjusted P", "no room to adjust for"]
    return Grid("Tests of the curves", heads, rows, numbers=(1, 2, 3, 4))


def pads_heading(damage: DamageSteps) -> str:
    """The step that costs most pads, or that nobody noted it."""
    worst = damage.steps[0]
    if worst.step != NOT_NOTED:
        return f"Most pads are lost in one step: {worst.step}"
    return f"In which step pads are lost is {'never' if worst.pads == damage.lost else 'often not'} noted"


def pads_picture(page: TechniqueAnswers) -> Picture | Prose:
    """Pads lost in each step."""
    damage = page.damage
    if page.found.undatable:
        return Prose([])
    if not damage.lost:
        return Prose([damage_words(damage)])
    labels, pads, sides = zip(*((sentence(r.step), r.pads, r.sides) for r in damage.steps), strict=True)
    words = "; ".join(f"{r.step}: {r.pads} on {plural(r.sides, 'side')}" for r in damage.steps)
    return Picture(
        technique_figures.pads_by_step(labels, pads, sides, pads_heading(damage)),
        f"Pads lost at this bench by step. {words}.",
        "Pads lost before boot test 1 and on how many sides; where several steps cost pads, the one that cost most",
        damage.sides,
    )


def pads_words(page: TechniqueAnswers) -> Prose:
    """Pads gone when first seen are no technique of this bench."""
    if page.found.undatable:
        return Prose([undatable_words(page.found.undatable, "count of pads lost")])
    gone = page.damage.gone
    if not gone.pads:
        return Prose([damage_words(page.damage)])
    return Prose(
        [
            damage_words(page.damage),
            f"{plural(gone.pads, 'pad')} on {plural(gone.sides, 'side')} were gone when first seen. They are counted apart: no technique"
            " of this bench took them.",
        ]
    )


def spots_grid(page: TechniqueAnswers) -> Grid | Prose:
    """Pads lost by chip and side."""
    if not page.damage.spots:
        return Prose([])
    rows = [
        [sentence(row.spot), of(row.lost), percent(row.lost.rate), interval(row.lost.low, row.lost.high), str(row.pads)]
        for row in page.damage.spots
    ]
    heads = ["chip, side", "sides with a loss", "share", "95 % interval", "pads"]
    return Grid("Pads lost by chip and side, before boot test 1", heads, rows, numbers=(1, 2, 3, 4))


def _subject(ratio: Ratio) -> str:
    label = ratio.label.removeprefix("place: ")
    return f"{label} (against {ratio.versus})" if ratio.versus else label


def held_words(left_out: Sequence[LeftOut]) -> str:
    """What else is held equal beside the things told: damage and technician, as far as there was room for them."""
    lacks = {each.label for each in left_out}
    beside = [label for label in (DAMAGE.label, TECHNICIAN.label) if label not in lacks]
    return f"Each other thing held equal{f', {listed(beside)} too' if beside else ''}."


def ratios_grid(page: TechniqueAnswers) -> Grid | Prose:
    """What goes with losing pads."""
    damage = page.damage
    if page.found.undatable:
        return Prose([])
    if damage.fit is None:
        return Prose([f"What goes with losing pads cannot be told yet: {damage.why}."])
    rows = [
        [sentence(_subject(r)), odds(r.ratio), odds_range(r.low, r.high), str(r.n), str(r.verdict)]
        for r in damage.ratios
    ]
    left = f" No room for: {listed([each.label for each in damage.left_out])}." if damage.left_out else ""
    return Grid(
        "How many times as many pads are lost",
        ["what", "times as many", "95 % interval", "sides", "verdict"],
        rows,
        numbers=(1, 2, 3),
        under=f"{held_words(damage.left_out)}{left}{f' Removal temperature: {HOW_UNKNOWN_WORDS}' if damage.pads.how_unknown else ''} More passes go with bad pads, and a lost pad can end the cleaning: an association, not a cause.",
    )


def count_model_words(page: TechniqueAnswers) -> Prose:
    """Which count model fits, and how that was tested."""
    fit: CountResult | None = page.damage.fit
    if fit is None:
        return Prose([])
    over = (
        f"Losses vary more than a Poisson count allows (Pearson dispersion {number(fit.dispersion, 1)}, P of none"
        f" {p_value(fit.over_p)})"
    )
    if fit.kind == "Poisson":
        over = (
            f"Losses vary no more than a Poisson count allows (Pearson dispersion {number(fit.dispersion, 1)}, P"
            f" {p_value(fit.over_p)})"
        )
    return Prose(
        [
            f"{over}: {fit.kind} regression on {plural(fit.n, 'side')}. It expects {number(fit.zeros_expected)} sides without a loss;"
            f" {fit.zeros} had none. Sides of one job may be alike, and the intervals allow for it. One column for every"
            f" {SIDES_PER_DF} sides with a loss, no more."
        ]
    )


def pads_ledger(page: TechniqueAnswers) -> Grid:
    """From all sides of the log to those counted."""
    return ledger_grid(page.damage.pads.ledger, "pads lost, whole log")
