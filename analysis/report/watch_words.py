"""What the charts of first boots say, in words: signals, when they began, what they hold, what is not watched yet."""

from __future__ import annotations

from analysis.models.resampled_limits import MINIMUM_DIFFERING
from analysis.questions.period import month_name
from analysis.questions.process_measures import Measure, MeasuredMonth
from analysis.questions.review import Review
from analysis.questions.watch import MINIMUM_JOBS, PRIMARY, PRIMARY_RATE, SHARED_RATE, Signal
from analysis.records.problems import plural
from analysis.report.page import Bullets, Prose
from analysis.report.wording import interval, number, percent, span


def watch_words(review: Review) -> Prose | Bullets:
    """Signals of the twelve months, or that there was none, or why nothing is watched yet."""
    watching = review.watching
    charts = watching.charts
    if charts.primary is None:
        return Prose([waiting_words(review)])
    n = len(charts.primary.points)
    since = charts.primary.limits[0][0]
    about = (
        f"{plural(n, 'first boot')} since {since:%Y-%m-%d} were watched one after the other. The main watch (first boots"
        f" getting worse) gives a false alarm in about {_in_years(PRIMARY_RATE)}; all other watches together in about"
        f" {_in_years(SHARED_RATE)}."
    )
    if charts.unseen:
        about += f" {plural(charts.unseen, 'job')} of a kind not seen before could not be watched."
    if not watching.signals:
        return Prose([about, "No alarm in the twelve months."])
    return Bullets([about, *(signal_words(signal) for signal in watching.signals)])


def _in_years(rate: float) -> str:
    return f"one year of {round(1 / rate)} without any change"


def waiting_words(review: Review) -> str:
    """Why nothing is watched yet, and how many jobs it takes."""
    rows = review.cohort.first_boots["first_boot"]
    n, won = len(rows), int(rows.sum())
    failed = n - won
    return (
        f"First boots are watched from the first month that has {MINIMUM_JOBS} of them before it, ten booted and ten failed"
        f" among them; the log has {n} up to {month_name(review.month)} ({won} booted, {failed} failed)."
        " With fewer it cannot be told what to expect well enough to call a run of failures more than bad luck."
    )


def signal_words(signal: Signal) -> str:
    """One alarm: when, since when, and what it holds."""
    main = "The main watch" if signal.chart == PRIMARY else f"The watch '{signal.chart}'"
    if signal.going_on_since is not None:
        return (
            f"{main} gave another alarm on {signal.day:%Y-%m-%d}: the change is still going on since the alarm of"
            f" {signal.going_on_since:%Y-%m-%d}. From {signal.began:%Y-%m-%d}, after the alarm before, to this one"
            f" {number(signal.observed)} of {plural(signal.n, 'job')} booted at the first test;"
            f" {number(signal.expected, 1)} were to be expected."
        )
    return (
        f"{main} gave an alarm on {signal.day:%Y-%m-%d}. The change most likely began about {signal.began:%Y-%m-%d}"
        f" ({100 * signal.level:.0f} % range: {signal.earliest:%Y-%m-%d} to {signal.latest:%Y-%m-%d}). From then to the"
        f" alarm {number(signal.observed)} of {plural(signal.n, 'job')} booted at the first test;"
        f" {number(signal.expected, 1)} were to be expected. This stretch was picked because it stood out, so that the"
        " change looks larger in it than it is."
    )


def watched_words(signal: Signal) -> str:
    """What the chart of an alarm watches: "first boots", "first boots after liquid"."""
    return signal.chart.removesuffix(", worse").removesuffix(", better").replace("first boot", "first boots", 1)


def measured(measure: Measure, mean: float) -> str:
    """A month's mean: of a share as percent, else with two decimals."""
    return percent(mean) if measure.unit == "%" else number(mean, 2)


def usual_range(measure: Measure, month: MeasuredMonth) -> str:
    """The usual range for a month's jobs, written like the mean; "–" where there is none."""
    if month.limits is None:
        return "–"
    low, high = month.limits.low, month.limits.high
    return interval(low, high) if measure.unit == "%" else span(low, high, 2)


def measure_words(review: Review) -> Prose:
    """Whether a measure of the work left its usual range this month."""
    now = [(chart.measure, chart.months[-1]) for chart in review.watching.measures]
    judged = [(measure, month) for measure, month in now if month.limits is not None]
    if not judged:
        n = max((month.n for _, month in now), default=0)
        return Prose(
            [
                "No measure of the work has a usual range for this month yet. A range is made in the first month with"
                f" {MINIMUM_JOBS} first boots before it and each January, from earlier jobs of which {MINIMUM_DIFFERING} differ"
                " from the commonest number; it is held against a month with the number written for three jobs (this month"
                f" has it for {n or 'none'}{' at most' if n else ''})."
            ]
        )
    outside = [(measure, month) for measure, month in judged if month.outside]
    if not outside:
        one = f"The one measure of the work that can be judged, {judged[0][0].name}, is within its"
        every = f"All {len(judged)} measures of the work that can be judged are within their"
        return Prose([f"{one if len(judged) == 1 else every} usual range this month."])
    return Prose(
        [
            f"{measure.name.capitalize()}: {measured(measure, month.mean)} on average of {plural(month.n, 'job')},"
            f" usual for so many jobs {usual_range(measure, month)}."
            for measure, month in outside
            if month.limits is not None
        ]
    )
