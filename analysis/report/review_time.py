"""Sections of the review: how long it takes, another attempt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.cohort.ledger import Ledger
from analysis.models.attempts import AttemptRow
from analysis.models.design import Design
from analysis.models.incidence import StepCurve
from analysis.models.terms import FittedCategory
from analysis.questions.review import Review
from analysis.questions.survival import AttemptsAnswer, HazardModel, HoursAnswer, NoModel
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.records.problems import plural
from analysis.report import figures
from analysis.report.first_screen import no_model_words as why_no_model
from analysis.report.page import Grid, Picture, Prose, ledger_grid
from analysis.report.wording import (
    interval,
    listed,
    number,
    odds,
    odds_range,
    of,
    p_value,
    percent,
)

LOSSES = "lost for good"
EACH_INTERVAL = "Each interval stands for itself: of 20 such, about one misses the truth by chance."


def _ticks(stop: float) -> list[float]:
    for step in (0.5, 1, 2, 5, 10, 20, 30, 60, 90, 180):
        if stop / step <= 8:
            return [float(t) for t in np.arange(0, stop + 0.001, step)]
    return [0.0, stop]


def hours_words(hours: float) -> str:
    """Hours with their noun."""
    return f"{hours:g} {'hour' if hours == 1 else 'hours'}"


def hours_picture(review: Review) -> Picture | Prose:
    """Bench hours to the first success, all jobs."""
    answer = review.hours
    if isinstance(answer, NoModel):
        return Prose([f"Bench hours to the first success cannot be drawn. {no_model_words(answer)}"])
    curve = answer.overall
    if curve.stop <= 0 or not curve.at(curve.stop)[0] > 0:
        least = review.log.settings.minimum_at_risk
        return Prose(
            [
                f"Bench hours to the first success cannot be drawn yet: {plural(curve.n, 'job')} with hours,"
                f" {curve.events} of them booted; a curve takes a success while {least} jobs are still in work."
            ]
        )
    ticks = _ticks(curve.stop)
    middle = curve.reached(0.5)
    heading = (
        f"Half of the jobs boot within {number(middle, 1)} bench hours"
        if not np.isnan(middle)
        else f"By {number(curve.stop, 1)} bench hours {percent(curve.at(curve.stop)[0])} of the jobs boot"
    )
    figure = figures.incidence([_cut(curve, "", ticks)], ticks, heading, "bench hours spent", "booted by then")
    alt = f"Share of jobs that have booted by bench hours spent, {plural(curve.n, 'job')}. " + "; ".join(
        f"{hours_words(t)}: {percent(curve.at(t)[0])}" for t in ticks[1:]
    )
    caption = (
        "Jobs closed without a success stay in the count as never booting; open jobs count as long as they are known;"
        f" band: 95 % interval; drawn while at least {review.log.settings.minimum_at_risk} jobs remain"
    )
    return Picture(figure, f"{alt}.", caption, curve.n)


def _cut(curve: StepCurve, label: str, ticks: list[float]) -> figures.Curve:
    """A curve up to its stop, with numbers at risk at the ticks."""
    keep = curve.times <= curve.stop
    last = curve.at(curve.stop)
    times = np.append(curve.times[keep], curve.stop)
    estimate, low, high = (
        np.append(values[keep], end) for values, end in zip((curve.estimate, curve.low, curve.high), last, strict=True)
    )
    return figures.Curve(label, times, estimate, low, high, [int(k) for k in curve.numbers_at_risk(ticks)])


def hours_ledger(review: Review) -> Grid | Prose:
    """Where the jobs of the bench-hours curve came from, and what the missing hours may hide."""
    answer = review.hours
    if isinstance(answer, NoModel):
        return Prose([""])
    return replace(ledger_grid(answer.ledger, "bench hours to the first success"), under=_hidden_words(answer))


def _hidden_words(answer: HoursAnswer) -> str:
    """What the hours that were not recorded can change."""
    lacks, curve, parts = answer.lacking, answer.overall, []
    missing = lacks.booted + lacks.closed
    if missing and curve.stop > 0:
        low, high = (percent(share) for share in answer.bounds)
        parts.append(
            f"{missing} of {plural(lacks.of_booted + lacks.of_closed, 'job')} that ended lack the hours of their end and are"
            f" not in the curve ({lacks.booted} booted, {lacks.closed} did not). Its end, {percent(curve.at(curve.stop)[0])}"
            f" of {plural(curve.n, 'job')} booted by {number(curve.stop, 1)} bench hours, would with them be"
            f" {low if low == high else f'between {low} and {high}'} of {curve.n + missing}, whatever their hours were."
        )
    if answer.lower_limits:
        parts.append(
            f"Of {plural(answer.lower_limits, 'job')} closed without a boot only the hours up to the last test are known;"
            " they count as ended there."
        )
    return " ".join(parts)


def attempts_ledger(review: Review) -> Grid:
    """Where the boot tests of the attempts table came from."""
    return ledger_grid(review.attempts.ledger, "attempts")


def hours_by_damage_picture(review: Review) -> Picture | Prose:
    """Bench hours to the first success by damage class."""
    answer = review.hours
    if isinstance(answer, NoModel) and answer.lacking is not None:
        return Prose(["For the same reason they cannot be compared between damage classes."])
    if isinstance(answer, NoModel) or len(answer.by_damage) < 2:
        least = review.log.settings.minimum_class_n
        why = f"fewer than two have {least} jobs with recorded hours"
        hidden = "" if isinstance(answer, NoModel) else _classes_hidden(answer)
        return Prose([f"Bench hours cannot be compared between damage classes yet: {why}.{hidden}"])
    curves = {label: curve for label, curve in answer.by_damage.items() if curve.stop > 0}
    if len(curves) < 2:
        least = review.log.settings.minimum_at_risk
        return Prose([f"Bench hours cannot be compared between damage classes yet: a curve takes {least} jobs."])
    ticks = _ticks(max(curve.stop for curve in curves.values()))
    verdict = verdict_of(answer.differ.p)
    words = {
        Verdict.CLEAR: "Damage classes clearly differ in how many boot, and by when",
        Verdict.LEANING: "Damage classes lean towards differing in how many boot, and by when",
        Verdict.CANNOT_TELL: "Cannot tell whether damage classes differ in how many boot, and by when",
    }
    figure = figures.incidence(
        [_cut(curve, label, ticks) for label, curve in curves.items()],
        ticks,
        words[verdict],
        "bench hours spent",
        "booted by then",
    )
    alt = f"{words[verdict]}. " + "; ".join(
        f"{label} (n = {curve.n}): {percent(curve.at(curve.stop)[0])} by {number(curve.stop, 1)} hours"
        for label, curve in curves.items()
    )
    caption = "Each line ends where too few jobs remain; numbers below: jobs still without a success or an end"
    caption += _classes_hidden(answer).replace(" Not shown", "; not shown").removesuffix(".")
    return Picture(figure, f"{alt}.", caption, sum(curve.n for curve in curves.values()))


def _classes_hidden(answer: HoursAnswer) -> str:
    """Damage classes that are not shown because of their missing hours; empty without any."""
    if not answer.hidden:
        return ""
    return f" Not shown, as over a tenth of their boots or of their ends without a boot lack hours: {listed(list(answer.hidden))}."


def recovery_words(review: Review) -> Prose:
    """Days from receipt to recovery, open jobs censored."""
    curve = review.recovery_curve
    if not curve.events:
        return Prose(["No job has been recovered yet, so that the time to recovery cannot be told."])
    days = [d for d in (14, 30, 60) if d <= curve.stop]
    shares = [f"{percent(curve.at(d)[0])} by day {d} ({interval(*curve.at(d)[1:])})" for d in days]
    text = f"Counted from the day a job came in, of {plural(curve.n, 'accepted job')}: recovered {listed(shares)}."
    return Prose([text if shares else "Too few jobs have been followed long enough to tell the time to recovery."])


def attempts_grid(review: Review) -> Grid | Prose:
    """Boot tests by number: tried, booted, what ended the others, and the total as far as the log can tell it."""
    table = review.attempts.table
    if not table:
        return Prose(["No boot test is recorded, so that nothing can be said about further attempts."])
    # What ended a job: losses and giving up always, the others where there are any.
    known, failures = _losses_known(review)
    ends = {
        LOSSES: [row.lost for row in table],
        "given up": [row.given_up for row in table],
        "client stopped": [row.stopped for row in table],
        "still open": [row.still_open for row in table],
        "closed, no later record": [row.unrecorded + row.unrecorded_boot for row in table],
    }
    shown = {head: counts for i, (head, counts) in enumerate(ends.items()) if i < 2 or any(counts)}
    rows = [
        [
            f"test {row.test_no}",
            of(row.chance),
            _with_range((row.chance.rate, row.chance.low, row.chance.high)),
            *("–" if head == LOSSES and not known and failures else str(counts[i]) for head, counts in shown.items()),
            _low_to_high(row) if row.bounded else _with_range(_same_at_first(row, row.within_low)),
            _with_range(_same_at_first(row, row.within_continued)),
        ]
        for i, row in enumerate(table)
    ]
    bounded = any(row.bounded for row in table)
    heads = ["boot test", "booted, of jobs tried", "chance", *shown]
    heads += ["booted by then, of tested jobs" + (": low to high" if bounded else "")]
    heads += ["… had none been given up or stopped"]
    under = f"{_attempts_note(review.attempts, bounded)} {EACH_INTERVAL}{_losses_note(known, failures)}"
    return Grid("Attempts, by boot test", heads, rows, numbers=tuple(range(1, len(heads))), under=under)


def _losses_known(review: Review) -> tuple[int, int]:
    """Failed jobs for which somebody wrote whether the data are lost for good, and all failed jobs."""
    jobs = review.log.tables["jobs"]
    failed = jobs["decision"].eq("accepted") & jobs["outcome"].eq("not_recovered")
    written = jobs.loc[failed.fillna(False).astype(bool), "loss_reversible"].notna()
    return int(written.sum()), len(written)


def _losses_note(known: int, failures: int) -> str:
    """What a count of losses leaves out, since a loss that nobody wrote looks like giving up."""
    if known == failures:
        return ""
    return (
        f" Whether the data are lost for good is recorded for {known} of {plural(failures, 'failed job')}; the others"
        " count as given up."
    )


def _same_at_first(row: AttemptRow, estimate: tuple[float, float, float]) -> tuple[float, float, float]:
    """The plain rate and its interval where nothing came before: two intervals of one number would contradict."""
    chance = row.chance
    plain = row.test_no == 1 and abs(estimate[0] - chance.rate) < 1e-9
    return (chance.rate, chance.low, chance.high) if plain else estimate


def _low_to_high(row: AttemptRow) -> str:
    """Both bounds, and in brackets the outer ends of their intervals."""
    (low, lowest, _), (high, _, highest) = row.within_low, row.within_high
    return f"{interval(low, high)} ({interval(lowest, highest)})"


def _attempts_note(answer: AttemptsAnswer, bounded: bool) -> str:
    """What the numbers of the attempts table assume."""
    unrecorded = sum(row.unrecorded for row in answer.table)
    boots = sum(row.unrecorded_boot for row in answer.table)
    parts = ["A first result written only in jobs.csv counts as test 1."]
    if unrecorded + boots:
        parts.append(
            f"Of {plural(unrecorded + boots, 'closed job')} only a failed first result is written down, so that their later"
            " tests are not known; every row from test 2 on is of jobs whose later tests are recorded."
        )
    if bounded:
        like = "booted later as often as jobs with a record that were not lost"
        high = [f"the {unrecorded} not recovered {like}"] if unrecorded else []
        high += [f"the {boots} recovered booted at test 2"] if boots else []
        parts.append(f"Low: none of them booted at the tests shown. High: {listed(high)}.")
        if unrecorded:
            parts.append("As most jobs that boot are recovered, low is nearer the truth for those not recovered.")
    parts.append(
        "The chance of a later test holds for jobs like those that were continued: hopeless ones are given up earlier."
        " The last column assumes that jobs given up or stopped were like those continued. That makes it too high"
        " as a rule, but sets no upper limit. A job lost for good never boots in any column."
    )
    if answer.lost_before:
        lost = plural(answer.lost_before, "job")
        parts.append(
            f"In no row, though counted as failed first boots: {lost} closed as not recovered without any test."
        )
    outer = ", of low and high together from the lowest to the highest end" if bounded else ""
    return f"{' '.join(parts)} In brackets: 95 % intervals{outer}."


def _with_range(estimate: tuple[float, float, float]) -> str:
    value, low, high = estimate
    return f"{percent(value)} ({interval(low, high)})"


ATTEMPT_TERMS = ("boot test", "each cleaning pass a side", "pads lost", "preheat at install", "each year of donor age")


def attempts_model(review: Review) -> Grid | Prose:
    """What went with a boot, over all boot tests."""
    answer = review.attempts
    if answer.too_few is not None:
        return Prose([why_no_model(answer.too_few, "a model of the attempts", "boot tests")])
    fit = answer.fit
    if fit is None or not fit.converged:
        return Prose(["The model of the attempts did not settle and is not shown."])
    behind = answer.design.behind if answer.design else {}
    rows = [
        [
            name,
            str(behind[name]),
            odds(np.exp(fit.coefficients[i])),
            odds_range(np.exp(fit.low[i]), np.exp(fit.high[i])),
        ]
        for i, name in enumerate(fit.names)
        if name.split(":")[0] in ATTEMPT_TERMS and "not recorded" not in name
    ]
    if not rows:
        what = "boot test number, passes, pads lost, preheat and donor age"
        words = f"{what} are all the same or not recorded among {plural(fit.n, 'boot test')}."
        return Prose([f"Over all boot tests nothing can be told yet: {words}"])
    under = (
        f"{plural(fit.n, 'boot test')}, {fit.events} with a boot; work, pads, heat and donor as known before each test,"
        " between jobs alike in the other facts of the model. Above 1: booted more often. For jobs"
        f" like those that were continued.{against(answer.design, ATTEMPT_TERMS)} {EACH_INTERVAL}"
    )
    heads = ["what", "boot tests", "odds ratio", "95 % interval"]
    return Grid("Over all boot tests: what went with a boot", heads, rows, numbers=(1, 2, 3), under=under)


def against(design: Design | None, labels: tuple[str, ...] = ()) -> str:
    """What each category of a table is compared with."""
    if design is None:
        return ""
    pairs = [
        f"{term.label} with {term.reference}"
        for term in design.terms
        if isinstance(term, FittedCategory) and (not labels or term.label in labels)
    ]
    return f" Compared: {'; '.join(pairs)}." if pairs else ""


def no_model_words(model: NoModel) -> str:
    """Why there is no curve or model of bench hours."""
    lacks = model.lacking
    if lacks is not None and model.since_test:
        return (
            f"Too many hours are missing: of jobs that failed boot test 1, {lacks.booted} of the {lacks.of_booted} that booted"
            f" later and {lacks.closed} of the {lacks.of_closed} that ended without a boot lack the hours at boot test 1 or"
            " those at their end (bench_hours_so_far in boot_tests.csv). With over a tenth of either missing, the rest would"
            " show too many or too few boots."
        )
    if lacks is not None:
        return (
            f"Too many hours are missing: {lacks.booted} of {plural(lacks.of_booted, 'job')} that booted lack the hours at"
            f" which they did (bench_hours_so_far in boot_tests.csv), {lacks.closed} of {lacks.of_closed} that ended without"
            " a boot lack theirs (bench_hours in jobs.csv). With over a tenth of either missing, the rest would show too many"
            " or too few boots."
        )
    rows = plural(model.rows, "job")
    return f"{plural(model.events, 'success', 'successes')} among {rows} with recorded hours; it takes {model.needed}."


def exclusions_words(ledger: Ledger) -> str:
    """The row ledger in one sentence."""
    reasons = "; ".join(f"{reason}: {n}" for reason, n in ledger.exclusions)
    return f"Of {ledger.rows_in} {ledger.unit} in the log, left out: {reasons}." if reasons else ""


def hazard_grid(model: HazardModel | NoModel, caption: str) -> Grid | Prose:
    """Rate ratios with their intervals."""
    if isinstance(model, NoModel):
        return Prose([f"{caption}: no model. {no_model_words(model)}"])
    fit = model.fit
    if not fit.converged:
        return Prose([f"{caption}: the fit did not settle and is not shown ({fit.reason})."])
    behind = model.design.behind
    rows = [
        [name, str(behind[name]), odds(np.exp(b)), odds_range(np.exp(low), np.exp(high))]
        for name, b, low, high in zip(fit.names, fit.coefficients, fit.low, fit.high, strict=True)
        if "not recorded" not in name
    ]
    under = f"{plural(fit.n, 'job')}, {fit.events} with a success. Above 1: more boots per bench hour among jobs still in work.{against(model.design)}"
    under += f" {EACH_INTERVAL} {exclusions_words(model.ledger)}"
    return Grid(caption, ["what", "jobs", "rate ratio", "95 % interval"], rows, numbers=(1, 2, 3), under=under)


def proportionality_grid(model: HazardModel | NoModel) -> Grid | Prose:
    """The proportional-hazards table."""
    if isinstance(model, NoModel) or not model.table:
        return Prose([""])
    rows = [[row.label, number(row.statistic, 2), str(row.df), p_value(row.p)] for row in model.table]
    overall = model.table[-1].p
    under = (
        f"Cannot tell that the rate ratios change with the hours spent ({plural(model.fit.events, 'success', 'successes')})."
        if overall > 0.05
        else "Some rate ratios change with the hours spent: read them as averages over the job."
    )
    return Grid(
        "Do the rate ratios stay the same over time?",
        ["term", "size of the change", "parts", "chance of as much"],
        rows,
        (1, 2, 3),
        under,
    )
