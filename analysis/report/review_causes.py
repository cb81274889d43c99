"""Section of the review on causes: what each costs, this month against the year before, causes never found."""

from __future__ import annotations

from analysis.models.design import TooFew
from analysis.questions.cause_trends import MINIMUM_BEFORE, CauseChange, CauseCost
from analysis.questions.period import month_name
from analysis.questions.review import Review
from analysis.questions.verdicts import Verdict
from analysis.records.problems import plural
from analysis.records.settings import FILE, Settings
from analysis.report.page import Grid, Prose
from analysis.report.wording import interval, listed, number, of_known, percent


def costs_grid(review: Review) -> Grid | Prose:
    """What the failures of each cause took over twelve months."""
    costs = review.cause_trends.costs
    if not costs:
        return Prose([""])
    currency = review.log.settings.currency
    rows = [_cost_row(each) for each in costs]
    n = costs[0].share.n
    jobs = sum(each.jobs for each in costs)
    again = f" Further attempts on their boards count with them: {plural(jobs, 'job')} in all." if jobs > n else ""
    under = (
        f"{plural(n, 'failure')} closed in twelve months; each cause with the 95 % interval of its share.{again} Money: bench"
        f" hours at {_hour_cost(review)}, and donors where their cost is written; fees are not set against it. (x of y): so many"
        " of the jobs have their hours, or for money both hours and a donor's cost, written."
    )
    heads = ["cause", "failures", "share", "lost for good", "bench hours", f"money, {currency}"]
    return Grid("What each cause took, twelve months", heads, rows, numbers=(1, 2, 3, 4, 5), under=under)


def _cost_row(each: CauseCost) -> list[str]:
    n = each.share.x
    hours = "–" if not each.hours_known else number(each.hours, 1) + _known(each.hours_known, each.jobs)
    written = min(each.hours_known, each.donors_known)
    money = "–" if not each.money else number(each.money, 0) + _known(written, each.jobs)
    share = f"{percent(each.share.rate)} ({interval(each.share.low, each.share.high)})"
    return [
        each.label,
        f"{n} of {each.share.n}",
        share,
        of_known(each.irreversible, each.irreversible_known),
        hours,
        money,
    ]


def _hour_cost(review: Review) -> str:
    """What an hour costs, and whether the shop ever said so."""
    settings = review.log.settings
    told = f"{settings.bench_hour_cost:g} {settings.currency} an hour"
    if settings.bench_hour_cost != Settings().bench_hour_cost:
        return told
    return f"{told} (the default; set bench_hour_cost in {FILE})"


def _known(known: int, n: int) -> str:
    return "" if known == n else f" ({known} of {n})"


def changes_words(review: Review) -> Prose:
    """Whether this month's causes differ from the year before by more than chance."""
    trends = review.cause_trends
    month = month_name(review.month)
    if not trends.month_n:
        return Prose([""])
    if not trends.changes:
        return Prose(
            [
                f"{plural(trends.month_n, 'failure')} closed in {month} cannot be compared with the twelve months before:"
                f" they hold {plural(trends.before_n, 'failure')}, and it takes {MINIMUM_BEFORE}."
            ]
        )
    told = [each for each in trends.changes if each.verdict is not Verdict.CANNOT_TELL]
    about = (
        f"{plural(trends.month_n, 'failure')} of {month} against {trends.before_n} of the twelve months before, cause by cause"
        f" ({plural(len(trends.changes), 'cause')}):"
    )
    if not told:
        return Prose([f"{about} no difference that chance could not make."])
    return Prose([f"{about} {listed([_change(each, trends.month_n, trends.before_n) for each in told])}."])


def _change(each: CauseChange, n: int, before: int) -> str:
    way = "more" if each.more else "less"
    return f"{each.label} {way} often ({each.verdict}): {each.now} of {n} against {each.before} of {before}"


def unexplained_grid(review: Review) -> Grid | Prose:
    """Failures without a known cause, by half-year, with the trend in words."""
    trends = review.cause_trends
    if not trends.halves:
        return Prose([""])
    rows = [
        [
            each.name,
            str(each.n),
            str(each.not_found),
            str(each.not_written),
            percent(each.share.rate),
            interval(each.share.low, each.share.high),
        ]
        for each in trends.halves
    ]
    heads = ["closed in", "failures", "cause not found", "no cause written", "without a cause", "95 % interval"]
    return Grid("Failures without a known cause", heads, rows, numbers=(1, 2, 3, 4, 5), under=_trend(review))


def _trend(review: Review) -> str:
    trend = review.cause_trends.trend
    if isinstance(trend, TooFew):
        n = trend.successes + trend.failures
        return (
            f"Too few for a trend: {trend.successes} of {plural(n, 'failure')} without a known cause; it takes ten with one and"
            " ten without, over more than half a year."
        )
    if trend is Verdict.CANNOT_TELL:
        return "Whether the share without a known cause rises or falls cannot be told from chance."
    return f"{str(trend).capitalize()}: the share without a known cause is {'rising' if review.cause_trends.rising else 'falling'}."
