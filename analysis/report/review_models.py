"""Section of the review: what went with first boot."""

from __future__ import annotations

import re

from analysis.cohort.undatable import Undatable
from analysis.models.design import EVENTS_PER_DF, Design, TooFew
from analysis.questions.description import Description, Effect, Temperature
from analysis.questions.review import Review
from analysis.questions.terms import TEMPERATURE
from analysis.questions.verdicts import Verdict
from analysis.records.problems import plural
from analysis.report import figures
from analysis.report.first_screen import no_model_words
from analysis.report.page import Grid, Picture, Prose, ledger_grid
from analysis.report.wording import interval, listed, odds, odds_range, percent, points, points_range, sentence

NO_MODEL = (TooFew, Undatable)

ASSOCIATION = (
    "These are associations in this bench's own log, not causes: whoever chose the setting may have had a reason that"
    " the log does not hold."
)


def _effect_sentence(effect: Effect) -> str:
    subject = effect.label if not effect.versus else f"{effect.label} (against {effect.versus})"
    d = effect.difference
    return (
        f"{sentence(subject)}: {points(d.points)} points ({points_range(d.low, d.high)}), n = {effect.n},"
        f" {effect.verdict}."
    )


def model_words(review: Review) -> Prose:
    """The first-boot model in sentences: what is clear, what is leaning, what cannot be told."""
    model = review.model
    if isinstance(model, NO_MODEL):
        return Prose([no_model_words(model, "a model of first boot")])
    if not model.fit.converged:
        return Prose([f"The first-boot model did not settle and is not shown: {model.fit.reason}."])
    if not model.effects and model.temperature is None:
        return Prose([f"No model of what was done at the bench yet. {_room_words(model)}"])
    head = (
        f"Fitted to {model.fit.n} jobs with a first-boot result ({model.fit.events} booted,"
        f" {model.fit.n - model.fit.events} did not). Each row compares jobs alike in the rest of: {adjusted_for(model.design)}."
        " Numbers are average differences in the chance of booting, in percentage points, each with the 95 % interval of"
        f" its row alone{_looked_at(len(model.effects) + bool(model.temperature))}."
    )
    sure = [e for e in model.effects if e.verdict is not Verdict.CANNOT_TELL]
    unsure = [e.label for e in model.effects if e.verdict is Verdict.CANNOT_TELL]
    middle = [_effect_sentence(e) for e in sure]
    last = f"Cannot tell: {listed(unsure)}." if unsure else ""
    return Prose([head, *middle, last, temperature_words(model), separation_words(model), ASSOCIATION])


def _looked_at(things: int) -> str:
    """What the verdict word takes into account, where more than one thing is looked at."""
    return f"; the verdict word allows for all {things} things looked at" if things > 1 else ""


def separation_words(model: Description) -> str:
    """Which rows split booted from not booted without overlap; empty without any."""
    if not model.separated:
        return ""
    return (
        f"Split without overlap between boards that booted and boards that did not: {listed(list(model.separated))}. The log"
        " sets no limit to how strong this is in one direction; only the penalty of the method keeps the numbers finite, and"
        " one job that goes the other way can change them much."
    )


def adjusted_for(design: Design) -> str:
    """The terms of a model in words."""
    plain = [re.sub("^each (year of |further |earlier )?", "", term.label) for term in design.terms]
    return listed(plain) or "nothing"


def _no_temperature(model: Description) -> str:
    cut = [item for item in model.left_out if item.label == TEMPERATURE.label and "too few of" in item.why]
    if cut:
        have = min(model.fit.events, model.fit.n - model.fit.events)
        needed = EVENTS_PER_DF * (len(model.design.names) - 1 + cut[0].df)
        rarer = "boots" if model.fit.events == have else "failures"
        return (
            f"Install set temperature: no room in the model yet. The log holds {have} {rarer}; with what is in the model"
            f" already the curve takes {needed}."
        )
    return (
        f"Install set temperature: {plural(model.typed, 'job')} of {model.fit.n} with a typed setting; a curve takes 10"
        " at different settings."
    )


def _counted(temperature: Temperature) -> str:
    """Whose settings are used, and what is left out."""
    if temperature.how_unknown:
        return (
            f"{plural(temperature.typed, 'job')}; how settings were entered was never recorded, so that unchanged presets, which"
            " say nothing of the heat really used, may be among them: never more than 'leaning'"
        )
    unsaid = f", {temperature.unknown} that do not say how they were entered" if temperature.unknown else ""
    return (
        f"{temperature.typed} jobs with a typed setting; {temperature.presets} unchanged presets{unsaid} and"
        f" {temperature.blank} without a record are left out of it"
    )


def temperature_words(model: Description) -> str:
    """What the log says of the install set temperature, in one sentence."""
    temperature = model.temperature
    if temperature is None:
        return _no_temperature(model)
    curve = temperature.curve
    counts = _counted(temperature)
    low, high = curve.x[0], curve.x[-1]
    first, last = curve.may_be_best
    if temperature.verdict is Verdict.CANNOT_TELL:
        return (
            f"Install set temperature: no detectable effect between {low:.0f} and {high:.0f} °C ({counts}). That is not"
            " proof that there is none."
        )
    return (
        f"Install set temperature: {temperature.verdict} that it matters between {low:.0f} and {high:.0f} °C; jobs did"
        f" best near {curve.best:.0f} °C set, but what is truly best may lie anywhere from {first:.0f} to {last:.0f} °C"
        f" ({counts}). A set-point of this bench's stations, not a specification."
    )


def forest_picture(review: Review) -> Picture | Prose:
    """Odds ratios of what was done at the bench."""
    model = review.model
    if isinstance(model, NO_MODEL) or not model.fit.converged or not model.effects:
        return Prose([""])  # the sentences above say why
    rows = [
        figures.Interval(e.label, e.odds_ratio, e.low, e.high, f"{points(e.difference.points)} points\nn = {e.n}")
        for e in model.effects
    ]
    clear = [e.label.replace(":", "") for e in model.effects if e.verdict is Verdict.CLEAR]
    heading = f"Clear: {'; '.join(clear)}" if clear else "Nothing done at the bench is clear from chance"
    alt = "Odds ratios of first-boot success with 95 % intervals. " + "; ".join(
        f"{e.label}{f' against {e.versus}' if e.versus else ''}: {odds(e.odds_ratio)} ({odds_range(e.low, e.high)})"
        for e in model.effects
    )
    caption = (
        "Odds ratio with 95 % profile interval; right of 1: booted more often. At the right, the average difference in"
        " percentage points"
    )
    return Picture(figures.forest(rows, heading, "worse", "better"), f"{alt}.", caption, model.fit.n)


def temperature_picture(review: Review) -> Picture | Prose:
    """Chance of first boot over install set temperature."""
    model = review.model
    if isinstance(model, NO_MODEL) or not model.fit.converged:
        return Prose([""])
    if model.temperature is None:
        # Among the sentences above where the model tells anything; not to be read twice.
        return Prose(["" if model.effects else _no_temperature(model)])
    t = model.temperature
    curve = t.curve
    ends = f"{curve.x[0]:.0f} and {curve.x[-1]:.0f} °C"
    first, last = curve.may_be_best
    heading = (
        f"No detectable effect of install set temperature between {ends}"
        if t.verdict is Verdict.CANNOT_TELL
        else f"Install set temperature: {t.verdict}; best somewhere from {first:.0f} to {last:.0f} °C"
    )
    figure = figures.curve(
        curve.x,
        curve.chance,
        curve.low,
        curve.high,
        curve.recorded,
        heading,
        "install set temperature, °C (stations aligned)",
        "chance of first boot",
    )
    samples = [0, len(curve.x) // 2, len(curve.x) - 1]
    alt = "Average chance of first boot over install set temperature. " + "; ".join(
        f"{curve.x[i]:.0f} °C: {percent(curve.chance[i])} ({interval(curve.low[i], curve.high[i])})" for i in samples
    )
    caption = "Line: average chance; band: 95 % interval; grey bars: how often each setting was typed"
    return Picture(figure, f"{alt}.", caption, t.typed)


def model_details(review: Review) -> Grid | Prose:
    """Every row told, with odds ratio, interval, difference and verdict."""
    model = review.model
    if isinstance(model, NO_MODEL) or not model.effects:
        return Prose([""])
    rows = [
        [
            e.label,
            e.versus or "one more",
            str(e.n),
            odds(e.odds_ratio),
            odds_range(e.low, e.high),
            points(e.difference.points),
            points_range(e.difference.low, e.difference.high),
            str(e.verdict),
        ]
        for e in model.effects
    ]
    heads = ["what", "against", "n", "odds ratio", "95 % interval", "points", "95 % interval", "verdict"]
    return Grid("First boot: every row of the figure", heads, rows, numbers=(2, 3, 4, 5, 6), under=_left_out(model))


def _left_out(model: Description) -> str:
    """What the intervals and verdicts of the table mean, and what is not in it."""
    return (
        "Intervals are those of each row alone; the verdict allows for the number of rows looked at, so that a row whose"
        " interval just leaves out no difference may still be leaning or cannot tell. An interval in points lets its own"
        " row alone vary and holds the others at their estimates, so that it leaves out zero exactly when that of the odds"
        f" ratio leaves out one. {_room_words(model)}"
    )


def _room_words(model: Description) -> str:
    """How many terms the log has room for, and which found none."""
    no_room = [item.label for item in model.left_out if "too few" in item.why]
    same = [item.label for item in model.left_out if "the same, or" in item.why]
    rarer = min(model.fit.events, model.fit.n - model.fit.events)
    text = (
        "One term is allowed for every five of the"
        f" {rarer} {'first boots' if rarer == model.fit.events else 'failures'}, the rarer of the two outcomes, in an order"
        " fixed beforehand."
    )
    if no_room:
        text += f" No room yet for: {listed(no_room)}."
    if same:
        text += f" Without variation or record: {listed(same)}."
    return text


def model_ledger(review: Review) -> Grid | Prose:
    """Where the rows of the first-boot model came from."""
    model = review.model
    return Prose([""]) if isinstance(model, NO_MODEL) else ledger_grid(model.ledger, "first-boot model")
