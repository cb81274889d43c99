"""Who was taken, another attempt, and the card for the counter."""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.cohort.outcomes import DEFINITIONS
from analysis.models.intervals import Proportion
from analysis.models.offer_value import Pays
from analysis.questions.another_attempt import worth_of
from analysis.questions.counter import CardRow, Counter
from analysis.records.problems import plural
from analysis.report.assess_words import hour_cost_lines, hour_cost_words
from analysis.report.attempt_words import SELECTED, unknown_later
from analysis.report.page import Bullets, Caution, Grid, Prose
from analysis.report.wording import interval, number, of, percent, sentence


@dataclass(frozen=True)
class NewSheet:
    """What follows begins on a new sheet of paper."""

    def _repr_html_(self) -> str:
        return '<div style="break-before: page"></div>'


def attempts_grid(counter: Counter) -> Grid | Prose:
    """What a further boot test brought after so many failed ones."""
    if not counter.tests:
        return Prose(["No job of the log was continued after a failed boot test, or later tests were not recorded."])
    settings = counter.log.settings
    rows = []
    for test in counter.tests:
        worth = worth_of(test, None, settings.bench_hour_cost)
        rows.append(
            [
                str(test.after),
                str(test.failed),
                of(test.boots),
                percent(test.boots.rate),
                interval(test.boots.low, test.boots.high),
                number(test.hours, 1),
                number(worth.cost),
                number(worth.cost / test.earns.rate) if test.earns.x and not math.isnan(worth.cost) else "–",
            ]
        )
    heads = ["failed tests", "jobs", "next booted", "chance", "80 % interval", "hours"]
    heads += [f"cost, {settings.currency}", "fee at which it pays"]
    under = (
        f"{SELECTED} 'Fee at which it pays' is what must hang on success for the attempt to earn its own hours, by the share"
        " recovered at that test; what was spent before is spent either way, a further donor comes on top. 'rework assess --after-test N' weighs one job."
        f" {' '.join([*hour_cost_lines(settings), unknown_later(counter.tests[0])])}".rstrip()
    )
    return Grid("Another attempt after failed boot tests", heads, rows, numbers=tuple(range(8)), under=under)


def selection_words(counter: Counter) -> Prose:
    """How far the declined differ, and what that leaves open."""
    s = counter.selection
    if not s.declined:
        return Prose(
            [
                "No declined intake is in the log. If some were declined and not written down, write them down:"
                " without them nobody can say what the rates are worth for all comers."
            ]
        )
    texts = [
        f"{plural(s.declined, 'intake')} were declined and {s.accepted} accepted; nobody knows how the declined would have"
        " ended. Everything on this page holds for boards like those that were taken.",
    ]
    if s.closed:
        texts.append(
            f"Of the accepted, {s.recovered} of {s.closed} closed jobs were recovered. Had every declined one been taken and"
            f" failed, it would be {percent(s.low)} of these {s.closed + s.declined} comers; had every one succeeded,"
            f" {percent(s.high)}. The truth lies between, and the log cannot say where; for comers yet to come chance widens it"
            f" to {interval(s.chance_low, s.chance_high)} (80 %). Open jobs, and intakes whose clients withdrew"
            f" ({s.withdrawn}), are in neither."
        )
    if s.like_n:
        texts.append(
            f"If the declined had fared like accepted boards with the same recorded facts ({s.like_n} of them can be told),"
            f" it would be {percent(s.like_accepted)}. That is hope, not knowledge: they may have been declined for what"
            " nobody wrote down."
        )
    texts.append(
        "To narrow this, take a share of the intakes to discuss by lot, only with the client's knowledge"
        " and consent: 'rework assess LOG --waiting FILE.csv --take-share 20 --random-seed 7'."
    )
    return Prose(texts)


def selection_grid(counter: Counter) -> Grid | Prose:
    """Shares of each fact among accepted and declined intakes."""
    s = counter.selection
    if not s.declined or not s.rows:
        return Prose([""])
    rows = [
        [
            f"{row.fact}: {row.value}",
            _share(row.accepted, row.accepted_of),
            _share(row.declined, row.declined_of),
        ]
        for row in s.rows
    ]
    heads = ["fact", "of accepted", "of declined"]
    return Grid("Accepted and declined intakes", heads, rows, numbers=(1, 2), under="Of those with the fact recorded.")


def _share(count: int, total: int) -> str:
    return f"{percent(count / total)} ({count} of {total})" if total else "–"


def _cell(p: Proportion, least: int) -> str:
    if p.n < least:
        return f"too few ({p.n})"
    return f"{percent(p.rate)} ({interval(p.low, p.high)}), n = {p.n}"


def _whole(row: CardRow, least: int) -> str:
    if row.n < least:
        return f"too few ({row.n})"
    mean, low, high = row.chance
    return f"{percent(mean)} ({interval(low, high)}), {row.won} of {row.n}"


def card_head(counter: Counter) -> Prose:
    """Whose card it is and of when; the sheet is cut from the page."""
    log = counter.log
    last = f", log up to {log.last_date:%Y-%m-%d}" if log.last_date == log.last_date else ""
    invented = " Invented data." if log.invented else ""
    return Prose([f"{log.settings.shop_name}{last}, {log.hash[:12]}.{invented}"])


def card_grid(counter: Counter) -> Grid | Prose:
    """Chances by damage class and earlier rework, counted: usable without a computer."""
    if not counter.card:
        return Prose(["No accepted job is closed yet: the card would be empty."])
    least = counter.log.settings.minimum_class_n
    rows = [[r.damage, _whole(r, least), *(_cell(p, least) for p in r.by_prior)] for r in counter.card]
    heads = ["damage at intake", "all", "no earlier rework", "reworked elsewhere"]
    under = (
        f"Recovered of accepted closed jobs, 80 % interval in brackets; under {least} jobs no share is shown. 'All': the chance"
        " that 'rework assess' gives while no model is trusted, each class weighed with the others, and behind it the count,"
        " jobs whose earlier rework is unknown among them. The other columns are plain shares of n jobs. Damage that is not on the card: outside our experience."
    )
    return Grid("Recovered, by damage and earlier rework", heads, rows, numbers=(1, 2, 3), under=under)


def card_money(counter: Counter) -> Grid | Prose:
    """Break-even chance by fee, on the card."""
    if not counter.card_even:
        return Prose(
            ["Break-even chances need bench hours of past successes and failures, and donor costs, in the log."]
        )
    won, lost, donor = counter.card_money
    currency = counter.log.settings.currency
    words = {Pays.ALWAYS: "always pays", Pays.NEVER: "never pays"}
    rows = [[number(fee, 0 if fee >= 10 else 1), words.get(e.pays, percent(e.chance))] for fee, e in counter.card_even]
    under = (
        f"No result, no fee; a success takes {number(won, 1)} hours and a failure {number(lost, 1)} on average, an hour costs"
        f" {hour_cost_words(counter.log.settings)}, a donor {number(donor)} {currency}. Accept when the whole"
        " range of the board's class ('all') lies above the break-even chance, decline when it lies below, else discuss."
    )
    return Grid(
        "From which chance a fee pays", [f"fee, {currency}", "break-even chance"], rows, numbers=(1,), under=under
    )


def card_caution(counter: Counter) -> Caution:
    """What stands on the card below the tables."""
    return Caution(
        [
            "The board is often the client's only copy, and most steps cannot be undone. Tell the client the chance and the"
            " range before work, in these numbers, and get consent in writing. A chance is no promise.",
            "Local law on consumer contracts and data prevails. Nothing on this card names a client.",
        ]
    )


def definitions(counter: Counter) -> Prose:
    """The fixed definitions."""
    return Prose([f"{sentence(name)}. {text}" for name, text in DEFINITIONS.items()])


def methods(counter: Counter) -> Bullets:
    """How the numbers were made."""
    return Bullets(
        [
            "Chance: Bayesian logistic regression with partial pooling, on facts known at intake or assessment only (never"
            " technician, lot, guess, decision or fee); 80 % posterior interval. A blank is a level of its own.",
            "The model is used only if its log score over past months, each predicted from what was known before it, beats"
            " that of the damage-class rate with an 80 % interval (whole months resampled) above zero; else the class rate is."
            " Classes are held together by the same pooling, with damage as the only fact, so that a class of few jobs is not"
            " believed more than it can tell.",
            "Alike: same damage class and at most one other recorded fact different; ages within two years count as equal"
            " (common practice, no source); a fact not recorded on either side is not compared.",
            "Margin: fee less donor less bench hours, hours as those of past successes and failures with the same damage, or of"
            " all jobs where these are few. Its range comes from the chance alone; hours are taken as known.",
            "Accept: margin positive over the whole interval; decline: negative over the whole interval; discuss: else, with a"
            " board family never seen, with under five jobs alike, or without the money. Damage never seen or a number out of"
            " range: outside our experience.",
            "Net benefit: Vickers and Elkin 2006. Bounds for all comers: every declined job failed, every one succeeded.",
        ]
    )


def cautions(counter: Counter) -> Caution:
    """Cautions for the whole page."""
    return Caution(
        [
            "A recommendation is arithmetic on this bench's own past. It knows nothing of what is not in the log; the person at"
            " the counter decides.",
            "Work on a client's only copy is mostly irreversible: consent first. Small numbers can point to a client; keep"
            " the page inside the shop.",
            "Leaded solder and flux fume, hot air, blades and batteries: disconnect batteries before heat, extract the fume."
            " Local codes, licensed professionals and the makers' data sheets prevail.",
        ]
    )
