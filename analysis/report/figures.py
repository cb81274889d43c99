"""Figures from plain arrays; every title states the finding, every figure shows n."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator
from numpy.typing import ArrayLike, NDArray

from analysis.report.direct_labels import End, label_ends
from analysis.report.style import (
    COLOURS,
    DASHES,
    MARKS,
    QUIET,
    RULE,
    SMALL,
    canvas,
    look,
    title,
    title_height,
    two_panels,
    wrapped,
)

PERCENT = FuncFormatter(lambda share, _: f"{100 * share:.0f} %")
ODDS_TICKS = (0.05, 0.2, 0.5, 1, 2, 5, 20)
WIDE_ODDS_TICKS = (0.05, 0.2, 1, 5, 20)  # over the whole scale there is no room for all of them


@dataclass(frozen=True)
class Interval:
    """A row of a figure: label, estimate, interval, and words printed at its right."""

    label: str
    estimate: float
    low: float
    high: float
    words: str = ""
    heading: str = ""


def rates(rows: Sequence[Interval], heading: str, reference: float | None = None, reference_label: str = "") -> Figure:
    """Dots with intervals on a percentage scale; "x of n" is printed beside each."""
    with look():
        figure, axes = canvas(0.6 + 0.3 * len(rows) + title_height(heading))
        y = np.arange(len(rows))[::-1]
        if reference is not None:
            axes.axvline(reference, color=QUIET, linewidth=0.9, linestyle=(0, (4, 3)))
            axes.text(
                reference, len(rows) - 0.42, reference_label, ha="center", va="bottom", fontsize=SMALL, color=QUIET
            )
        for at, row in zip(y, rows, strict=True):
            axes.plot([row.low, row.high], [at, at], color=COLOURS[0], linewidth=2, solid_capstyle="butt")
            axes.plot(row.estimate, at, "o", color=COLOURS[0], markersize=6, clip_on=False)
            beside(axes, at, row.words)
        axes.set(xlim=(0, 1), ylim=(-0.6, len(rows) - 0.4), yticks=y)
        axes.set_yticklabels([wrapped(row.label, 20) for row in rows])
        axes.xaxis.set_major_formatter(PERCENT)
        axes.xaxis.set_major_locator(FixedLocator([0, 0.25, 0.5, 0.75, 1]))
        sns.despine(ax=axes, left=True)
        title(figure, heading)
    return figure


def beside(axes: Axes, at: float, words: str) -> None:
    """Words at the right of a row, clear of an arrow or dot at the edge."""
    axes.annotate(
        words,
        (1, at),
        xycoords=axes.get_yaxis_transform(),
        xytext=(8, 0),
        textcoords="offset points",
        va="center",
        fontsize=SMALL,
        annotation_clip=False,
    )


def forest(rows: Sequence[Interval], heading: str, left: str, right: str) -> Figure:
    """Odds ratios with intervals on a log scale from 1/20 to 20; arrows where an interval runs on."""
    with look():
        figure, axes = canvas(0.8 + 0.36 * len(rows) + title_height(heading))
        low_end, high_end = _forest_range(rows)
        y = np.arange(len(rows))[::-1]
        axes.axvline(1, color=QUIET, linewidth=0.9)
        for at, row in zip(y, rows, strict=True):
            ends = np.clip([row.low, row.high], low_end, high_end)
            axes.plot(ends, [at, at], color=COLOURS[0], linewidth=2, solid_capstyle="butt")
            if row.low < low_end:
                axes.plot(low_end, at, "<", color=COLOURS[0], markersize=6, clip_on=False)
            if row.high > high_end:
                axes.plot(high_end, at, ">", color=COLOURS[0], markersize=6, clip_on=False)
            if low_end <= row.estimate <= high_end:
                axes.plot(row.estimate, at, "o", color=COLOURS[0], markersize=6)
            beside(axes, at, row.words)
        axes.set_xscale("log")
        axes.set(xlim=(low_end, high_end), ylim=(-0.6, len(rows) - 0.4), yticks=y)
        axes.set_yticklabels([wrapped(row.label, 22) for row in rows])
        ticks = WIDE_ODDS_TICKS if high_end / low_end > 200 else ODDS_TICKS
        axes.xaxis.set_major_locator(FixedLocator([tick for tick in ticks if low_end <= tick <= high_end]))
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axes.set_xlabel(f"← {left}   odds ratio   {right} →")
        sns.despine(ax=axes, left=True)
        title(figure, heading)
    return figure


def _forest_range(rows: Sequence[Interval]) -> tuple[float, float]:
    lows, highs = [row.low for row in rows], [row.high for row in rows]
    low = max(ODDS_TICKS[0], max((t for t in ODDS_TICKS if t <= min(lows)), default=ODDS_TICKS[0]))
    high = min(ODDS_TICKS[-1], min((t for t in ODDS_TICKS if t >= max(highs)), default=ODDS_TICKS[-1]))
    return min(low, 0.5), max(high, 2)


def curve(
    x: ArrayLike,
    estimate: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    recorded: ArrayLike,
    heading: str,
    x_label: str,
    y_label: str,
) -> Figure:
    """A chance over a setting with its band, and below it how often each setting was recorded."""
    with look():
        figure, axes = canvas(3.2 + title_height(heading))
        axes.fill_between(np.asarray(x), np.asarray(low), np.asarray(high), color=COLOURS[0], alpha=0.18, linewidth=0)
        axes.plot(x, estimate, color=COLOURS[0], linewidth=2)
        axes.set_ylim(0, 1)
        axes.yaxis.set_major_formatter(PERCENT)
        axes.set_xlabel(x_label)
        axes.set_ylabel(y_label)
        density = axes.twinx()
        sns.histplot(x=np.asarray(recorded), ax=density, binwidth=5, color=QUIET, alpha=0.45, edgecolor="white")
        density.set_ylim(0, density.get_ylim()[1] * 5)
        density.set_ylabel("")
        density.set_yticks([])
        density.set_zorder(axes.get_zorder() - 1)
        axes.patch.set_visible(False)
        sns.despine(ax=density, left=True, right=True)
        sns.despine(ax=axes)
        axes.set_xlim(float(np.min(x)), float(np.max(x)))
        title(figure, heading)
    return figure


@dataclass(frozen=True)
class Curve:
    """A step curve with its interval, already cut where too few remain."""

    label: str
    times: NDArray[np.float64]
    estimate: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    at_risk: Sequence[int]


def incidence(curves: Sequence[Curve], ticks: Sequence[float], heading: str, x_label: str, y_label: str) -> Figure:
    """Step curves with direct labels, and the numbers at risk in rows under the axis."""
    with look():
        row = 0.21
        lower = row * (len(curves) + 1)
        figure, (axes, table) = two_panels(2.7, lower, title_height(heading))
        end = max(float(each.times[-1]) for each in curves)
        for i, each in enumerate(curves):
            colour = COLOURS[i % len(COLOURS)]
            axes.step(each.times, each.estimate, where="post", color=colour, linestyle=DASHES[i % 6], linewidth=1.8)
            if len(curves) == 1:
                axes.fill_between(each.times, each.low, each.high, step="post", color=colour, alpha=0.18, linewidth=0)
        axes.set(ylim=(0, 1), xlim=(0, end))
        axes.set_xticks([tick for tick in ticks if tick <= end])
        axes.yaxis.set_major_formatter(PERCENT)
        axes.set_ylabel(y_label)
        axes.set_xlabel(x_label)
        if len(curves) > 1:
            label_ends(
                axes,
                [
                    End(float(each.times[-1]), float(each.estimate[-1]), each.label, COLOURS[i % len(COLOURS)])
                    for i, each in enumerate(curves)
                ],
            )
        _at_risk_rows(table, curves, ticks, end)
        title(figure, heading)
    return figure


def _at_risk_rows(axes: Axes, curves: Sequence[Curve], ticks: Sequence[float], end: float) -> None:
    axes.set(xlim=(0, end), ylim=(-len(curves) - 0.5, 0.5))
    axes.axis("off")
    axes.text(0, 0, "jobs still in the count", fontsize=SMALL, color=QUIET, va="center")
    for i, each in enumerate(curves):
        for tick, count in zip(ticks, each.at_risk, strict=True):
            if tick <= end:
                axes.text(tick, -i - 1, str(count), ha="center", va="center", fontsize=SMALL)
        if len(curves) > 1:
            axes.annotate(
                each.label,
                (0, -i - 1),
                xycoords=("axes fraction", "data"),
                xytext=(-16, 0),  # clear of a number of four digits centred on the axis
                textcoords="offset points",
                ha="right",
                va="center",
                fontsize=SMALL,
                color=COLOURS[i % len(COLOURS)],
                annotation_clip=False,
            )


def cause_bars(labels: Sequence[str], parts: Sequence[Sequence[int]], kinds: Sequence[str], heading: str) -> Figure:
    """Horizontal bars split by the quality of the evidence: solid, hatched, open."""
    fills: tuple[dict[str, Any], ...] = (
        {"facecolor": COLOURS[0], "edgecolor": COLOURS[0]},
        {"facecolor": "#c5d5da", "edgecolor": COLOURS[0], "hatch": "////"},
        {"facecolor": "white", "edgecolor": COLOURS[0]},
        {"facecolor": "white", "edgecolor": QUIET, "hatch": "...."},
    )
    with look():
        figure, axes = canvas(0.6 + 0.4 * len(labels) + title_height(heading))
        y = np.arange(len(labels))[::-1]
        wide = np.array(parts, dtype=float)
        starts = np.cumsum(wide, axis=1) - wide
        totals = wide.sum(axis=1)
        most = max(float(totals.max()), 1)
        for k in range(len(kinds)):
            if wide[:, k].any():
                axes.barh(y, wide[:, k], left=starts[:, k], height=0.5, linewidth=0.9, **fills[k])
        for at, total in zip(y, totals, strict=True):
            axes.text(total + 0.02 * most, at, f"{total:.0f}", va="center")
        for row, k in _where_named(wide, starts / most):
            axes.text(starts[row, k], y[row] + 0.27, kinds[k], fontsize=SMALL, color=QUIET, va="bottom")
        axes.set(yticks=y, xlim=(0, 1.1 * most), ylim=(-0.5, len(labels) - 0.3))
        axes.set_yticklabels([wrapped(label, 24) for label in labels])
        axes.set_xlabel("failed jobs")
        axes.xaxis.set_major_locator(MaxNLocator(nbins=5, integer=True))
        sns.despine(ax=axes, left=True)
        title(figure, heading)
    return figure


def _where_named(wide: NDArray[np.float64], starts: NDArray[np.float64]) -> list[tuple[int, int]]:
    """The widest part of each kind, in a row where no other kind's name is written close by."""
    room = 0.34  # of the longest bar, which the longest name takes
    taken: list[tuple[int, int]] = []
    for k in range(wide.shape[1]):
        for row in np.argsort(-wide[:, k], kind="stable"):
            near = (abs(starts[row, k] - starts[row, other]) < room for at, other in taken if at == row)
            if wide[row, k] and not any(near):
                taken.append((int(row), k))
                break
    return taken


def months(
    months: Sequence[Any],
    observed: Sequence[float],
    low: Sequence[float],
    expected: Sequence[float],
    high: Sequence[float],
    n: Sequence[int],
    heading: str,
) -> Figure:
    """Successes of each month as a dot, what chance allows as a bar around the expected number."""
    with look():
        figure, axes = canvas(2.9 + title_height(heading))
        x = np.arange(len(months))
        axes.vlines(x, low, high, color=RULE, linewidth=8)
        axes.hlines(expected, x - 0.28, x + 0.28, color=QUIET, linewidth=1.4)
        axes.plot(x, observed, MARKS[0], color=COLOURS[0], markersize=6, clip_on=False, linestyle="none")
        axes.set_xticks(x)
        # Every second name of many, the last among them: twelve run into one another.
        step = 2 if len(months) > 8 else 1
        names = [month.strftime("%b") if (len(months) - 1 - at) % step == 0 else "" for at, month in enumerate(months)]
        # Counts of three digits would run into one another: those without a name stand a line lower.
        lower = "\n" if step == 2 and max(n) >= 100 else ""
        axes.set_xticklabels([f"{name}\n{'' if name else lower}{k}" for name, k in zip(names, n, strict=True)])
        axes.set_xlim(-0.6, max(len(months), 6) - 0.4)
        axes.set_ylim(0, max(max(high, default=1), max(observed, default=1)) * 1.08 + 0.5)
        axes.set_ylabel("first-boot successes")
        axes.yaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
        axes.set_xlabel(f"{months[0].strftime('%b %Y')} to {months[-1].strftime('%b %Y')}, and jobs tested")
        axes.spines["bottom"].set_zorder(0)
        last = len(months) - 1
        label_ends(
            axes,
            [
                End(last, high[-1], "range"),
                End(last, expected[-1], "expected"),
                End(last, observed[-1], "booted", COLOURS[0]),
            ],
        )
        title(figure, heading)
    return figure
