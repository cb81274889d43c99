"""Sections of the review: rates, causes, jobs to talk about, what the log lacks."""

from __future__ import annotations

from itertools import dropwhile

from analysis.cohort.work import HOW_UNKNOWN, PRESET, entered
from analysis.questions.causes import EVIDENCE, CauseRow, Causes
from analysis.questions.period import month_name
from analysis.questions.rates import Rate
from analysis.questions.review import Review
from analysis.records.log import Log
from analysis.records.problems import plural
from analysis.report import figures
from analysis.report.first_screen import blank_preheat_words
from analysis.report.page import Bullets, Grid, Picture, Prose, ledger_grid
from analysis.report.wording import hours_of, interval, listed, number, of, of_known, percent, rate, sentence, span


def month_ledger(review: Review) -> Grid:
    """From all jobs of the log to those with a first boot in the month."""
    return ledger_grid(review.month_ledger, f"first boots of {month_name(review.month)}, log {review.log.hash[:12]}")


def _interval_row(each: Rate) -> figures.Interval:
    p = each.proportion
    return figures.Interval(each.label, p.rate, p.low, p.high, of(p))


def first_boot_picture(review: Review) -> Picture | Prose:
    """First-boot rates of the month, the year and the log."""
    rows = [each for each in review.first_boot if each.proportion.n]
    if not rows:
        return Prose(["No first boot has been recorded yet, so that there is no rate to show."])
    year = review.first_boot[1].proportion
    heading = f"First boot: {year.x} of {plural(year.n, 'job')} in twelve months" if year.n else "First boot so far"
    alt = "First-boot rates with 95 % intervals. " + "; ".join(f"{r.label}: {rate(r.proportion)}" for r in rows) + "."
    return Picture(
        figures.rates([_interval_row(each) for each in rows], heading),
        alt,
        "Dot: rate; bar: 95 % Wilson interval",
        review.first_boot[2].proportion.n,
    )


def bounds_words(review: Review) -> Prose:
    """First boot with the jobs stopped untested after work began counted either way."""
    count = review.first_boot_count
    if not count.stopped_untested or not count.n:
        return Prose([""])
    low, high = (percent(share) for share in count.bounds)
    total = count.n + count.stopped_untested
    return Prose(
        [
            f"{plural(count.stopped_untested, 'job')} stopped by the client after work began, before any test,"
            f" could have gone either way: over the whole log first boot lies {f'at {low}' if low == high else f'between {low} and {high}'}"
            f" of {total} jobs."
        ]
    )


def damage_picture(review: Review) -> Picture | Prose:
    """First-boot rates by damage class over twelve months."""
    least = review.log.settings.minimum_class_n
    shown = [each for each in review.by_damage if each.proportion.n >= least]
    few = [each for each in review.by_damage if each.proportion.n < least]
    aside = "; ".join(f"{each.label}: {plural(each.proportion.n, 'job')}" for each in few)
    if not shown:
        text = f"No damage class has {least} first boots in twelve months yet"
        return Prose([f"{text} ({aside})." if aside else f"{text}."])
    year = review.first_boot[1].proportion
    heading = f"First boot by damage at intake: {year.x} of {plural(year.n, 'job')} in twelve months"
    rows = [_interval_row(each) for each in shown]
    alt = "First-boot rates by damage at intake over twelve months. " + "; ".join(
        f"{r.label}: {rate(r.proportion)}" for r in shown
    )
    caption = f"95 % intervals of each class alone. Under {least} jobs, not shown: {aside or 'none'}"
    figure = figures.rates(rows, heading, year.rate, f"all: {percent(year.rate)}")
    return Picture(figure, f"{alt}.", caption, sum(each.proportion.n for each in shown))


def months_picture(review: Review) -> Picture | Prose:
    """Twelve months against their expectation."""
    year = [each for each in review.year if each.n]
    if len(year) < 2:
        return Prose(["There are not yet two months with an expected number, so that months cannot be compared."])
    unusual = [each for each in year if not each.low <= each.observed <= each.high]
    names = ", ".join(month_name(each.month) for each in unusual)
    heading = (
        f"Outside its own 95 % range: {names}" if unusual else f"No month of {len(year)} is outside its own 95 % range"
    )
    # A range from none to all holds whatever happens: such a month says nothing.
    mute = sum(each.low == 0 and each.high == each.n for each in year)
    figure = figures.months(
        [each.month for each in year],
        [each.observed for each in year],
        [each.low for each in year],
        [each.expected for each in year],
        [each.high for each in year],
        [each.n for each in year],
        heading,
    )
    alt = "First-boot successes by month against expectation. " + "; ".join(
        f"{month_name(e.month)}: {e.observed} of {e.n}, expected {number(e.expected, 1)}, chance allows {span(e.low, e.high)}"
        for e in year
    )
    caption = (
        "Dot: first-boot successes seen; line: expected from the mix of boards; bar: 95 % range of chance and of the"
        " model's own uncertainty. About one such range in twenty is missed by chance alone"
    )
    caption += f"; with too few boards to leave it, a range goes from none to all: {mute} here" if mute else ""
    return Picture(figure, f"{alt}.", caption, sum(each.n for each in year))


def recovery_words(review: Review) -> Prose:
    """Recovered of accepted closed jobs, with and without the stopped ones."""
    r = review.recovered
    if not r.with_stopped.n:
        return Prose(["No accepted job has been closed yet, so that there is no recovery rate."])
    return Prose(
        [
            f"Recovered: {rate(r.with_stopped)} of all accepted closed jobs"
            + (
                f"; without the {plural(r.stopped, 'job')} stopped by the client {rate(r.without_stopped)}."
                if r.stopped
                else "; none was stopped by the client."
            ),
            f"Counted apart: {plural(r.partial, 'job')} with part of the data read (not recovered),"
            f" {plural(r.locked, 'job')} that boot but stay locked (neither), {plural(r.open, 'job')} still open.",
        ]
    )


def received_grid(review: Review) -> Grid | Prose:
    """Recovery by month received; a month is shown once enough of it is closed."""
    share = review.log.settings.month_complete_share
    rows = []
    # Months before the first job of a young log say nothing.
    months = list(dropwhile(lambda each: not each.accepted, review.received))
    if not months:
        return Prose(["No job was accepted in twelve months, so that there is no recovery by month."])
    for each in months:
        if each.rate is not None:
            shown = [percent(each.rate.rate), of(each.rate), interval(each.rate.low, each.rate.high)]
        elif each.estimate is not None:
            day, value, low, high = each.estimate
            shown = ["not yet", f"about {percent(value)} by day {day:.0f}", interval(low, high)]
        else:
            shown = ["not yet", "–", "–"]
        rows.append([month_name(each.month), str(each.accepted), str(each.closed), *shown])
    under = (
        f"A month counts once {percent(share)} of its accepted jobs are closed, so that quick successes do not flatter it."
        " Before that, 'about' is an estimate in which open jobs count as long as they are known; it"
        " stops at the last day to which three jobs were followed."
    )
    heads = ["received in", "accepted", "closed", "recovered", "of those closed", "95 % interval"]
    return Grid("Recovered, by the month the job came in", heads, rows, numbers=(1, 2, 3, 4, 5), under=under)


def causes_picture(review: Review) -> Picture | Prose:
    """Causes of twelve months by the quality of their evidence."""
    year = review.causes_year
    if not year.n:
        return Prose(
            ["Among the jobs used, no failed one was closed in the twelve months: there are no causes to count."]
        )
    rows = year.rows
    named = year.biggest
    heading = (
        f"{_most_frequent(year)} of {plural(year.n, 'failure')} in twelve months"
        if named
        else f"No cause is known for {plural(year.n, 'failure')} in twelve months"
    )
    figure = figures.cause_bars([r.label for r in rows], [r.by_evidence for r in rows], EVIDENCE, heading)
    alt = "Causes of failure over twelve months. " + "; ".join(
        f"{r.label}: {r.n} ({', '.join(f'{k} {e}' for e, k in zip(EVIDENCE, r.by_evidence, strict=True) if k)})"
        for r in rows
    )
    caption = "Solid: confirmed; hatched: probable; open: suspected; dotted: evidence not stated"
    return Picture(figure, f"{alt}.", caption, year.n)


def _most_frequent(year: Causes) -> str:
    """The most frequent known cause and its count, or those that tie."""
    biggest = year.biggest
    if biggest is None:
        return ""
    tied = [row.label for row in year.known if row.n == biggest.n]
    if len(tied) == 1:
        return f"{sentence(biggest.label)}: {biggest.n}"
    names = f"{listed(tied)} tie" if len(tied) <= 3 else f"{len(tied)} causes tie"
    return f"{sentence(names)}, each {biggest.n}"


def _row_hours(row: CauseRow) -> str:
    if not row.hours_known:
        return "–"
    total = number(row.hours, 1)
    return total if row.hours_known == row.n else f"{total} ({row.hours_known} of {row.n})"


def causes_grid(review: Review) -> Grid | Prose:
    """Causes of the month with evidence, hours and reversibility."""
    month, year = review.causes_month, review.causes_year
    if not month.n:
        return Prose([f"Among the jobs used, no failed one was closed in {month_name(review.month)}."])
    before = {row.code: row.n for row in year.rows}
    rows = [
        [
            row.label,
            str(row.n),
            ", ".join(f"{k} {kind}" for kind, k in zip(EVIDENCE, row.by_evidence, strict=True) if k),
            _row_hours(row),
            of_known(row.irreversible, row.irreversible_known),
            f"{before.get(row.code, 0)} of {year.n}",
        ]
        for row in month.rows
    ]
    heads = ["cause", "jobs", "evidence", "bench hours", "lost for good", "in twelve months"]
    spent = hours_of(month.hours, month.hours_known, month.n)
    under = (
        f"{plural(month.n, 'failed job')} closed in {month_name(review.month)}, {spent} in all, every attempt on their boards included. One month's"
        f" causes are too few to show a change by themselves.{_locked(review)}"
    )
    return Grid(f"Causes of failure, {month_name(review.month)}", heads, rows, numbers=(1, 3, 4, 5), under=under)


def _locked(review: Review) -> str:
    """Jobs that are no failure of the bench, so that whoever counts the log's rows finds the same."""
    if not review.locked_year:
        return ""
    return (
        f" Jobs that boot but stay locked are no failures of the bench and not among them: {review.locked_month} closed this"
        f" month, {review.locked_year} in twelve months."
    )


def pads_grid(review: Review) -> Grid | Prose:
    """Where pads were lost in twelve months."""
    pads = review.pads
    if not pads.sides:
        return Prose(
            [
                "No side with a count of lost pads or a grade left in twelve months: it cannot be said where pads are lost."
            ]
        )
    unseen = (
        f" Not in the table: {plural(pads.not_seen, 'side')} with neither a count of lost pads nor a grade left."
        if pads.not_seen
        else ""
    )
    steps = [name for name in pads.table.columns if name not in ("chip_role", "side", "with loss", "sides")]
    rows = [
        [
            f"{row['chip_role']}, {row['side']}",
            *(str(int(row[step])) for step in steps),
            f"{int(row['with loss'])} of {int(row['sides'])}",
        ]
        for row in pads.table.to_dict("records")
    ]
    heads = ["side", *steps, "with loss, of seen"]
    found = f"; on {pads.found_so} more they were gone when first seen" if pads.found_so else ""
    later = (
        f" {plural(pads.later, 'side')} without loss until then lost some in work for a later test."
        if pads.later
        else ""
    )
    under = (
        f"Work before the first boot test: {pads.with_loss} of {plural(pads.sides, 'side')} lost pads on the bench{found}."
        f" A side counts once, at the step in which most of them went.{later}{unseen}"
    )
    return Grid(
        "Sides that lost pads before the first boot test, twelve months, by step",
        heads,
        rows,
        numbers=tuple(range(1, len(heads))),
        under=under,
    )


def presets_words(log: Log) -> list[str]:
    """How many heat steps are unchanged presets; where nobody wrote how they were entered, that is not known."""
    steps = log.tables["heat_steps"]
    how, used = entered(steps, log)
    preset, unknown = int(how.eq(PRESET).sum()), how.eq(HOW_UNKNOWN) & steps["set_temp_c"].notna()
    words = []
    if preset or not unknown.any():
        words.append(
            f"{preset} of {len(steps)} heat steps were left at the form's preset; they say nothing about temperature and"
            " are kept out of it."
        )
    if unknown.any():
        so = ": presets left unchanged may be among them" if used[unknown].any() else "; they are kept out of it, too"
        words.append(
            f"How the temperature was entered is not written for {int(unknown.sum())} of {len(steps)} heat steps"
            f" (entry_kind){so}."
        )
    return words


def lacks(review: Review) -> Bullets:
    """What the log lacks and what that costs."""
    items = []
    steps = review.log.tables["heat_steps"]
    if len(steps):
        items += presets_words(review.log)
    else:
        items.append("No heat steps are recorded, so that nothing can be said about temperature.")
    for name, what in (
        ("chip_sides", "passes and pads"),
        ("boot_tests", "later boot tests and hours"),
        ("donors", "donors"),
    ):
        if not len(review.log.tables[name]):
            items.append(f"{name}.csv is empty or not there, so that nothing can be said about {what}.")
    # Measured only now and then, or blank by nature: their blanks say nothing.
    seldom = {"measured_peak_c", "above_liquidus_s", "preheat_c", "pads_lost_at", "donor_age_band", "donor_model_year"}
    worst = [b for b in review.blanks if b.filled < 0.9 * b.rows and b.column not in seldom][:6]
    items += [
        f"{sentence(blank.title)} ({blank.table}.csv): filled in {blank.filled} of {blank.rows} rows."
        for blank in worst
    ]
    by_closing = int(review.cohort.first_boots["dated_by_closing"].sum())
    if by_closing:
        items.append(
            f"{plural(by_closing, 'first boot')} without a test date (boot_tests.csv) counted in the month of closing."
        )
    items += blank_preheat_words(review.cohort.blank_preheats(review.cohort.first_boots))
    undated = review.cohort.undated
    if undated.sides or undated.steps:
        items.append(
            f"{plural(undated.sides, 'side')} and {plural(undated.steps, 'heat step')} carry no boot test on jobs with"
            " several; they are left out of the first-boot model."
        )
    warnings = [problem for problem in review.log.problems if problem.severity == "warning"]
    items.append(
        f"The check of the log gave {plural(len(warnings), 'warning')} and set {plural(review.log.jobs_set_aside, 'job')} aside."
    )
    return Bullets(items)
