"""Figures of what is watched: a chart that climbs to its limit, a rate with limits, measures of the work by month."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator
from numpy.typing import ArrayLike

from analysis.report.direct_labels import End, label_ends, label_point
from analysis.report.figures import PERCENT
from analysis.report.style import (
    COLOURS,
    MARKS,
    QUIET,
    RULE,
    SMALL,
    WIDTH_IN,
    canvas,
    look,
    month_labels,
    title,
    title_height,
)

ALARM = COLOURS[1]


def climb(days: ArrayLike, value: ArrayLike, limit: ArrayLike, signal: ArrayLike, heading: str) -> Figure:
    """Where a chart stands after each job, its limit, and its alarms as squares."""
    with look():
        figure, axes = canvas(2.3 + title_height(heading))
        when, at, alarms = np.asarray(days), np.asarray(value, dtype=float), np.asarray(signal, dtype=bool)
        top = np.asarray(limit, dtype=float)
        axes.plot(when, top, color=QUIET, linewidth=1.2, linestyle=(0, (4, 3)), drawstyle="steps-post")
        axes.plot(when, at, color=COLOURS[0], linewidth=1.5, drawstyle="steps-post")
        axes.set_ylim(0, 1.12 * max(float(at.max()), float(top.max())))
        if alarms.any():
            axes.plot(when[alarms], at[alarms], MARKS[1], color=ALARM, markersize=7, clip_on=False, linestyle="none")
            last = int(np.flatnonzero(alarms)[-1])
            late = when[last] - when[0] > (when[-1] - when[0]) / 2
            label_point(axes, when[last], at[last], "alarm", dx=-8 if late else 8, colour=ALARM)
        axes.set_ylabel("evidence of a change")
        axes.set_xlabel("day of the first boot test")
        axes.set_xticks(*_month_ticks(when))
        label_ends(axes, [End(when[-1], top[-1], "limit"), End(when[-1], at[-1], "after\neach job", COLOURS[0])])
        title(figure, heading)
    return figure


def _month_ticks(days: ArrayLike) -> tuple[list[np.datetime64], list[str]]:
    """First days of at most six months spread evenly over the axis, the last one included."""
    months = np.asarray(days, dtype="datetime64[M]")
    every = np.arange(months.min(), months.max() + 1)
    step = max(1, -(-len(every) // 6))
    picked = every[::-step][::-1]
    return [month.astype("datetime64[D]") for month in picked], month_labels([month.item() for month in picked])


def rate_chart(
    months: Sequence[Any], x: ArrayLike, n: ArrayLike, low: ArrayLike, high: ArrayLike, centre: float, heading: str
) -> Figure:
    """Share of each month as a dot between its exact limits."""
    with look():
        figure, axes = canvas(2.4 + title_height(heading))
        at = np.arange(len(months))
        size = np.asarray(n, dtype=float)
        share, bottom, top = (np.asarray(ends, dtype=float) / size for ends in (x, low, high))
        axes.vlines(at, bottom, top, color=RULE, linewidth=7)
        axes.axhline(centre, color=QUIET, linewidth=1, linestyle=(0, (4, 3)))
        axes.plot(at, share, MARKS[0], color=COLOURS[0], markersize=5, clip_on=False, zorder=3, linestyle="none")
        axes.set(ylim=(0, 1), xlim=(-0.6, max(len(months), 6) - 0.4))
        step = max(1, -(-len(months) // 8))
        axes.set_xticks(at[::-step][::-1])
        axes.set_xticklabels(month_labels(list(months)[::-step][::-1]))
        axes.yaxis.set_major_formatter(PERCENT)
        axes.set_ylabel("booted at the first test")
        last = len(months) - 1
        label_ends(
            axes,
            [
                End(last, top[-1], "limits"),
                End(axes.get_xlim()[1], centre, "mean"),
                End(last, share[-1], "month", COLOURS[0]),
            ],
        )
        title(figure, heading)
    return figure


@dataclass(frozen=True)
class Small:
    """One measure by month: means with the ends of their usual range, NaN where there is none; a share is in percent."""

    name: str
    mean: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    outside: Sequence[bool]
    share: bool = False


def measures(months: Sequence[Any], rows: Sequence[Small], heading: str) -> Figure:
    """Small panels under one another, one a measure, on the same months."""
    with look():
        height = 1.0 * len(rows) + 0.7 + title_height(heading)
        figure = Figure(figsize=(WIDTH_IN, height), layout="constrained")
        FigureCanvasAgg(figure)
        panels = figure.subplots(len(rows), 1, sharex=True, squeeze=False)[:, 0]
        for axes, row in zip(panels, rows, strict=True):
            _small(axes, row)
        panels[-1].set_xticks(np.arange(len(months)))
        panels[-1].set_xticklabels(month_labels(months))
        panels[-1].set_xlim(-0.6, max(len(months), 6) - 0.4)
        title(figure, heading)
    return figure


def half_steps(top: float) -> list[float]:
    """Ticks from 0 to at most ``top``, two to four of them: whole numbers, or halves where it is small."""
    steps = (0.5, *(base * 10**k for k in range(7) for base in (1.0, 2.0, 5.0)))
    step = next(each for each in steps if top < 4 * each)
    return [step * k for k in range(int(top / step) + 1)]


def _small(axes: Axes, row: Small) -> None:
    at, mean = np.arange(len(row.mean)), np.asarray(row.mean, dtype=float)
    low, high = np.asarray(row.low, dtype=float), np.asarray(row.high, dtype=float)
    known = ~np.isnan(high)
    if known.any():  # an empty set of lines would spoil the layout
        axes.vlines(at[known], low[known], high[known], color=RULE, linewidth=7)
    seen = ~np.isnan(mean)  # a dot without a value would spoil the layout
    # In front of the axis, which would cut dots at zero.
    axes.plot(at[seen], mean[seen], MARKS[0], color=COLOURS[0], markersize=5, clip_on=False, zorder=3)
    out = np.asarray(row.outside, dtype=bool)
    if out.any():  # nor may it hold an empty set of points
        axes.plot(at[out], mean[out], MARKS[1], color=ALARM, markersize=7, clip_on=False, zorder=3)
    axes.set_title(row.name, fontsize=SMALL, fontweight="normal", pad=3)
    top = float(np.nanmax([*mean, *high, 0.5]))
    axes.yaxis.set_major_locator(FixedLocator(half_steps(top)))
    axes.set_ylim(0, 1.1 * top)
    if row.share:
        axes.yaxis.set_major_formatter(PERCENT)
    sns.despine(ax=axes)
