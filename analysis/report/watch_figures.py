"""Figures of what is watched: a chart that climbs to its limit, a rate with limits, measures of the work by month."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator
from numpy.typing import ArrayLike

from analysis.report.figures import PERCENT
from analysis.report.style import COLOURS, MARKS, QUIET, RULE, SMALL, WIDTH_IN, canvas, look, title, title_height

ALARM = COLOURS[1]


def climb(days: ArrayLike, value: ArrayLike, limit: ArrayLike, signal: ArrayLike, heading: str) -> Figure:
    """Where a chart stands after each job, its limit, and its alarms as squares."""
    with look():
        figure, axes = canvas(2.5 + title_height(heading))
        when, at, alarms = np.asarray(days), np.asarray(value, dtype=float), np.asarray(signal, dtype=bool)
        axes.plot(when, limit, color=QUIET, linewidth=1.2, linestyle=(0, (4, 3)), drawstyle="steps-post", label="limit")
        axes.plot(when, at, color=COLOURS[0], linewidth=1.5, drawstyle="steps-post", label="after each job")
        if alarms.any():
            axes.plot(
                when[alarms],
                at[alarms],
                MARKS[1],
                color=ALARM,
                markersize=7,
                clip_on=False,
                label="alarm",
                linestyle="none",
            )
        axes.set_ylim(0, None)
        axes.set_ylabel("evidence of a change")
        axes.set_xlabel("day of the first boot test")
        axes.set_xticks(*_month_ticks(when))
        figure.legend(loc="outside lower center", ncols=3, frameon=False, fontsize=SMALL, handlelength=1.6)
        title(figure, heading)
    return figure


def _month_ticks(days: ArrayLike) -> tuple[list[np.datetime64], list[str]]:
    """First days of at most six months spread evenly over the axis, the last one included."""
    months = np.asarray(days, dtype="datetime64[M]")
    every = np.arange(months.min(), months.max() + 1)
    step = max(1, -(-len(every) // 6))
    picked = every[::-step][::-1]
    return [month.astype("datetime64[D]") for month in picked], [month.item().strftime("%b\n%Y") for month in picked]


def rate_chart(
    labels: Sequence[str], x: ArrayLike, n: ArrayLike, low: ArrayLike, high: ArrayLike, centre: float, heading: str
) -> Figure:
    """Share of each month as a dot between its exact limits."""
    with look():
        figure, axes = canvas(2.6 + title_height(heading))
        at = np.arange(len(labels))
        size = np.asarray(n, dtype=float)
        axes.vlines(at, np.asarray(low) / size, np.asarray(high) / size, color=RULE, linewidth=7, label="limits")
        axes.axhline(centre, color=QUIET, linewidth=1, linestyle=(0, (4, 3)), label="mean")
        axes.plot(
            at, np.asarray(x) / size, MARKS[0], color=COLOURS[0], markersize=5, clip_on=False, label="seen", zorder=3
        )
        axes.set(ylim=(0, 1), xlim=(-0.6, max(len(labels), 6) - 0.4))
        step = max(1, -(-len(labels) // 8))
        axes.set_xticks(at[::-step][::-1])
        axes.set_xticklabels(list(labels)[::-step][::-1])
        axes.yaxis.set_major_formatter(PERCENT)
        axes.set_ylabel("booted at the first test")
        figure.legend(loc="outside lower center", ncols=3, frameon=False, fontsize=SMALL, handlelength=1.6)
        title(figure, heading)
    return figure


@dataclass(frozen=True)
class Small:
    """One measure by month: means with the ends of their usual range, NaN where there is none."""

    name: str
    mean: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]
    outside: Sequence[bool]


def measures(labels: Sequence[str], rows: Sequence[Small], heading: str) -> Figure:
    """Small panels under one another, one a measure, on the same months."""
    with look():
        height = 1.0 * len(rows) + 0.7 + title_height(heading)
        figure = Figure(figsize=(WIDTH_IN, height), layout="constrained")
        FigureCanvasAgg(figure)
        panels = figure.subplots(len(rows), 1, sharex=True, squeeze=False)[:, 0]
        for axes, row in zip(panels, rows, strict=True):
            _small(axes, row)
        panels[-1].set_xticks(np.arange(len(labels)))
        panels[-1].set_xticklabels(labels)
        panels[-1].set_xlim(-0.6, max(len(labels), 6) - 0.4)
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
    sns.despine(ax=axes)
