"""Sections of the review on watching: pictures and tables of the charts."""

from __future__ import annotations

import numpy as np

from analysis.models.resampled_limits import MINIMUM_DIFFERING
from analysis.questions.period import month_name
from analysis.questions.process_measures import MINIMUM_EARLIER, MINIMUM_MONTH
from analysis.questions.review import Review
from analysis.questions.watch import Chart
from analysis.records.problems import plural
from analysis.report import watch_figures
from analysis.report.page import Grid, Picture, Prose
from analysis.report.watch_words import measured, usual_range
from analysis.report.wording import number, percent, sentence, span

NOTHING = Prose([""])


def climb_picture(review: Review) -> Picture | Prose:
    """The main watch over all its jobs."""
    chart = review.watching.charts.primary
    if chart is None or chart.points.empty:
        return NOTHING
    points = chart.points
    told = [f"{signal.day:%Y-%m-%d}" for signal in chart.signals]
    heading = (
        f"First boots getting worse: {'last ' if len(told) > 1 else ''}alarm on {told[-1]}, none since"
        if told
        else "First boots getting worse: no alarm so far"
    )
    last = points.iloc[-1]
    stands = f"It now stands at {number(last['value'], 1)}, its limit is {number(last['limit'], 1)}"
    alt = f"Evidence that first boots are getting worse, after each of {len(points)} jobs. {heading}. {stands}."
    earlier = f". Alarms before: {', '.join(told[:-1])}" if len(told) > 1 else ""
    caption = (
        "Each failure of a board that should have booted lifts the line, each success lowers it; at the limit it gives an"
        f" alarm and starts again. {stands}{earlier}"
    )
    drawn = watch_figures.climb(points["day"], points["value"], points["limit"], points["signal"], heading)
    return Picture(drawn, alt, caption, len(points))


def rate_picture(review: Review) -> Picture | Prose:
    """Plain first-boot rate by month with exact limits."""
    rate = review.watching.rate
    if rate is None:
        return NOTHING
    chart = rate.chart
    out = [month_name(month) for month, flag in zip(rate.months, chart.outside, strict=True) if flag]
    heading = (
        f"Plain first-boot rate outside its limits: {', '.join(out)}"
        if out
        else f"Plain first-boot rate: {plural(len(rate.months), 'month')}, each by itself within wide limits"
    )
    alt = f"First-boot rate by month with exact limits. {heading}. " + "; ".join(
        f"{month_name(m)}: {x} of {n}, limits {span(low, high)}"
        for m, x, n, low, high in zip(rate.months, chart.x, chart.n, chart.low, chart.high, strict=True)
    )
    caption = (
        f"Dot: share that booted; bar: exact limits around the mean of these months ({percent(chart.centre)}), which a"
        " single month leaves by chance less than once in"
        f" {int(1 / chart.rate)}. It knows nothing of how hard the boards were and judges each month alone: it can miss what the"
        " watch above adds up"
    )
    drawn = watch_figures.rate_chart(rate.months, chart.x, chart.n, chart.low, chart.high, chart.centre, heading)
    return Picture(drawn, f"{alt}.", caption, int(chart.n.sum()))


def others_grid(review: Review) -> Grid | Prose:
    """Where the other watches of first boots stand."""
    charts = review.watching.charts
    if not charts.others:
        return NOTHING
    rows = [_chart_row(chart, review) for chart in charts.others]
    heads = ["watch", "watched since", "jobs", "booted", "expected", "stands at", "limit", "alarms"]
    under = (
        "Booted, expected and alarms: of the twelve months, or since the watch began where that is later."
        " These watches share one stated chance of a false alarm; the more there are, the higher each limit. A damage class is"
        " watched on its own once it has enough jobs a year."
    )
    return Grid("The other watches of first boots", heads, rows, numbers=(1, 2, 3, 4, 5, 6, 7), under=under)


def _chart_row(chart: Chart, review: Review) -> list[str]:
    points = chart.points
    start = (review.month - 11).start_time
    year = points[points["day"].ge(start)]
    alarms = sum(signal.day >= start for signal in chart.signals)
    stands = number(float(points["value"].iloc[-1]), 1) if len(points) else "–"
    seen = f"{int(year['success'].sum())} of {len(year)}"
    expected = number(float(year["chance"].sum()), 1) if len(year) else "–"
    return [
        sentence(chart.name),
        f"{chart.limits[0][0]:%Y-%m-%d}",
        str(len(points)),
        seen,
        expected,
        stands,
        number(chart.limits[-1][1].value, 1),
        str(alarms),
    ]


def measures_picture(review: Review) -> Picture | Prose:
    """Measures of the work by month."""
    charts = [chart for chart in review.watching.measures if any(month.n for month in chart.months)]
    if not charts:
        return Prose(
            ["No passes, pads, reball tries, presets or hours before a first boot test are written in the log."]
        )
    rows = []
    for chart in charts:
        limits = [month.limits for month in chart.months]
        rows.append(
            watch_figures.Small(
                f"{chart.measure.name}, mean",
                [month.mean for month in chart.months],
                [np.nan if each is None else each.low for each in limits],
                [np.nan if each is None else each.high for each in limits],
                [month.outside for month in chart.months],
                share=chart.measure.unit == "%",
            )
        )
    out = [
        f"{chart.measure.name} ({month.month.strftime('%b %Y')})"
        for chart in charts
        for month in chart.months
        if month.outside
    ]
    judged = any(month.limits for chart in charts for month in chart.months)
    within = "Work within its usual range in every month" if judged else "How the work went, month by month"
    heading = f"Outside the usual range: {', '.join(out)}" if out else within
    months = charts[0].months
    alt = (
        f"Measures of the work before the first boot test over {plural(len(months), 'month')}. {heading}. "
        + "; ".join(
            f"{chart.measure.name}, {month_name(chart.months[-1].month)}: {measured(chart.measure, chart.months[-1].mean)}"
            for chart in charts
        )
    )
    caption = "Dot: mean of the month's jobs; bar: usual range for so many jobs; square: outside it"
    drawn = watch_figures.measures([month.month for month in months], rows, heading)
    return Picture(drawn, f"{alt}.", caption, sum(month.n + month.blank for month in months))


def measures_grid(review: Review) -> Grid | Prose:
    """Measures of the work in the month reviewed, beside their usual range."""
    rows = []
    for chart in review.watching.measures:
        month = chart.months[-1]
        if not month.n:
            continue
        usual = usual_range(chart.measure, month)
        earlier = "–" if month.limits is None else str(month.limits.earlier)
        blank = str(month.blank)
        rows.append(
            [sentence(chart.measure.name), measured(chart.measure, month.mean), str(month.n), blank, usual, earlier]
        )
    if not rows:
        return NOTHING
    heads = ["measure", "mean", "jobs", "not recorded", "usual for so many jobs", "from earlier jobs"]
    under = (
        f"A usual range takes {MINIMUM_MONTH} jobs with the number in the month and {MINIMUM_EARLIER} before the month's year,"
        f" {MINIMUM_DIFFERING} of which differ from the commonest number: what is seldom seen has no usual range (–)."
    )
    return Grid(f"How the work went, {month_name(review.month)}", heads, rows, numbers=(1, 2, 3, 4, 5), under=under)


def recovery_grid(review: Review) -> Grid | Prose:
    """Recovery by month received against what its jobs should have given."""
    months = review.watching.recovery
    if not months:
        return Prose(
            [
                "Recovered against expected by month received: no month can be judged yet. It takes a year's model of ten"
                " recovered and ten not recovered jobs, in months of which nearly all jobs were closed."
            ]
        )
    rows = [
        [
            month_name(each.month),
            f"{each.recovered} of {each.n}",
            number(each.expected, 1),
            span(each.low, each.high),
            "outside" if each.outside else "within its wide limits",
        ]
        for each in months
    ]
    heads = ["received in", "recovered, of closed", "expected", "limits", "against them"]
    under = (
        "Only jobs closed by the day on which enough of the month was closed count. A board that comes back later counts by"
        " its last job, not yet closed on that day, so that its month is then judged again without it."
        f" The limits are wide: a month leaves them by chance less than once in {int(1 / months[-1].rate)}, so that a bad one"
        " can lie within them; what adds up over months shows in the watch above."
    )
    return Grid("Recovered against expected, by the month the job came in", heads, rows, numbers=(1, 2, 3), under=under)
