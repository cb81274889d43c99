"""The private page of one technician: guesses against what happened."""

from __future__ import annotations

import math

from analysis.questions.guess_ledger import Blend, GuessLedger
from analysis.records.log import Log
from analysis.records.problems import plural
from analysis.report.page import Caution, FirstScreen, Grid, PageHead, Prose, Statement
from analysis.report.wording import interval, number, of, percent, span


def page_head(log: Log, ledger: GuessLedger) -> PageHead:
    """Title; the page says that it is private."""
    period = f"For {ledger.technician} alone; {plural(ledger.n, 'closed job')} with a guess"
    return PageHead.of(log, f"Guesses of {ledger.technician}: private", period)


def _on_average(ledger: GuessLedger) -> Statement:
    if ledger.scores is None:
        return Statement("On average", "No guess was written on a closed job yet.")
    told = sum(band.mean * band.recovered.n for band in ledger.bands) / ledger.n
    came = ledger.scores.events / ledger.n
    large = ledger.scores.in_the_large
    if math.isnan(large.low) or large.low <= 0 <= large.high:
        verdict = "The difference is within chance."
    else:
        verdict = "Guesses were too low." if large.value > 0 else "Guesses were too high."
    says = f"Guessed {percent(told)} on average; {ledger.scores.events} of {ledger.n} ({percent(came)}) were recovered."
    return Statement("On average", says, f"{verdict} {plural(ledger.unguessed, 'closed job')} without a guess.")


def _spread(ledger: GuessLedger) -> Statement:
    slope = None if ledger.scores is None else ledger.scores.slope
    if slope is None or math.isnan(slope.value):
        return Statement("High and low guesses", "Too few different guesses to say whether high ones did better.")
    if slope.high < 1:
        says = "High and low guesses lie further apart than what came: guesses nearer the middle would have told more."
    elif slope.low > 1:
        says = "What came lay further apart than the guesses: bolder ones would have told more."
    else:
        says = "How far high and low guesses lie apart fits what came, within chance."
    detail = f"Calibration slope {number(slope.value, 2)} (95 % interval {span(slope.low, slope.high, 2)})."
    return Statement("High and low guesses", says, detail)


def _told_most(blend: Blend) -> str:
    """Which of the three did best; none of it is more than a description of so few jobs."""
    if blend.blended >= max(blend.of_guess, blend.of_model):
        return "So far guess and model together told most."
    best = "the model" if blend.of_model >= blend.of_guess else "the guess"
    return f"So far {best} alone told more than the blend: until that changes, go by it."


def _with_model(ledger: GuessLedger) -> Statement:
    blend = ledger.blend
    if blend is None:
        return Statement("Guess and model together", "It takes 20 guesses on jobs that the model predicted as well.")
    says = f"The best blend so far weighs the guess {number(blend.guess, 1)} and the model {number(blend.model, 1)}, in log odds."
    if not blend.n:
        return Statement("Guess and model together", says, "It cannot be judged yet on jobs it was not chosen from.")
    detail = (
        f"On {plural(blend.n, 'job')}, with weights chosen before each month, its log score a job was"
        f" {number(blend.blended, 3)}; the guess alone {number(blend.of_guess, 3)}, the model alone"
        f" {number(blend.of_model, 3)} (larger is better)."
        f" {_told_most(blend)}"
    )
    return Statement("Guess and model together", says, detail)


def first_screen(ledger: GuessLedger) -> FirstScreen:
    """On average, high against low, and with the model."""
    return FirstScreen([_on_average(ledger), _spread(ledger), _with_model(ledger)])


def bands_grid(ledger: GuessLedger) -> Grid | Prose:
    """Guesses by band and what came."""
    if not ledger.bands:
        return Prose(["No guess was written on a closed job yet."])
    rows = [
        [
            f"{band.low}–{band.high - 1} %",
            percent(band.mean),
            of(band.recovered),
            percent(band.recovered.rate),
            interval(band.recovered.low, band.recovered.high),
        ]
        for band in ledger.bands
    ]
    heads = ["guess", "mean guess", "recovered", "share", "95 % interval"]
    return Grid("Guesses and what came of the jobs", heads, rows, numbers=(1, 2, 3, 4))


def caution(ledger: GuessLedger) -> Caution:
    """What the page is for, and what not."""
    return Caution(
        [
            f"For {ledger.technician} alone, to learn from. Guesses depend on which boards one gets; nothing here says who is"
            " better, and there is no page that puts technicians side by side.",
            "Showing it to others, or using it to judge staff, is subject to consent and labour law.",
        ]
    )
