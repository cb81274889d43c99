"""Pictures of the technicians' page: raw beside adjusted, and the funnel; one colour, since none is good or bad."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from analysis.report.direct_labels import End, label_ends, label_point
from analysis.report.figures import PERCENT, beside
from analysis.report.style import COLOURS, QUIET, RULE, SMALL, canvas, look, title, title_height, wrapped

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
SIGNED = FuncFormatter(lambda value, _: f"{value:+.0f}".replace("-", "−") if round(value) else "0")


@dataclass(frozen=True)
class Pair:
    """A person's raw rate, and the rate on the bench's own mix with its interval; words printed at the right."""

    label: str
    raw: float
    adjusted: float
    low: float
    high: float
    words: str


def raw_and_adjusted(pairs: Sequence[Pair], average: float, heading: str) -> Figure:
    """Open squares for raw rates, dots with intervals for the same boards; the bench's average as a line."""
    with look():
        figure, axes = canvas(1.0 + 0.4 * len(pairs) + title_height(heading))
        y = np.arange(len(pairs))[::-1]
        axes.axvline(average, color=QUIET, linewidth=0.9, linestyle=(0, (4, 3)))
        for at, pair in zip(y, pairs, strict=True):
            axes.plot([pair.low, pair.high], [at, at], color=COLOURS[0], linewidth=2, solid_capstyle="butt")
            axes.plot(pair.adjusted, at, "o", color=COLOURS[0], markersize=6)
            axes.plot(pair.raw, at + 0.24, "s", color=QUIET, markerfacecolor="white", markersize=5.5, clip_on=False)
            beside(axes, at, pair.words)
        label_point(axes, pairs[0].raw, float(y[0]) + 0.24, "raw rate", dy=5)
        end, aside = (pairs[0].low, -5) if pairs[0].low > 1 - pairs[0].high else (pairs[0].high, 5)
        label_point(axes, end, float(y[0]), "same boards", dx=aside, colour=COLOURS[0])
        label_point(axes, average, -0.72, "bench's average", dx=5 if average < 0.6 else -5)
        axes.set(xlim=(0, 1), ylim=(-1, len(pairs) - 0.1), yticks=y)
        axes.set_yticklabels([wrapped(pair.label, 14) for pair in pairs])
        axes.xaxis.set_major_formatter(PERCENT)
        axes.xaxis.set_major_locator(FixedLocator([0, 0.25, 0.5, 0.75, 1]))
        sns.despine(ax=axes, left=True)
        title(figure, heading)
    return figure


@dataclass(frozen=True)
class FunnelPoint:
    """A person in the funnel: jobs, points more or fewer than expected, exact limits on the own jobs."""

    label: str
    jobs: int
    points: float
    warning: tuple[float, float]
    action: tuple[float, float]


def funnel(points: Sequence[FunnelPoint], sizes: Floats, bands: Sequence[Floats], heading: str) -> Figure:
    """Points more or fewer than expected over the number of jobs, within exact limits.

    Parameters
    ----------
    points : sequence of FunnelPoint
    sizes : ndarray, shape (s,)
        Numbers of jobs of the drawn bands.
    bands : sequence of ndarray, shape (s, 2)
        Warning and action limits of so many jobs of the bench's mix.
    heading : str
    """
    with look():
        figure, axes = canvas(3.4 + title_height(heading))
        axes.axhline(0, color=QUIET, linewidth=0.9)
        for band, dashes in zip(bands, ("-", (0, (4, 3))), strict=True):
            for side in (0, 1):
                axes.plot(sizes, band[:, side], color=RULE, linewidth=1.4, linestyle=dashes)
        for point in points:
            axes.plot([point.jobs] * 2, point.action, color=QUIET, linewidth=0.8)
            axes.plot([point.jobs] * 2, point.warning, color=QUIET, linewidth=2.4, solid_capstyle="butt")
            axes.plot(point.jobs, point.points, "o", color=COLOURS[0], markersize=6, clip_on=False)
        _label(axes, points)
        axes.set_xlim(0, max(float(sizes.max()), max(p.jobs for p in points)) * 1.05)
        axes.yaxis.set_major_formatter(SIGNED)
        axes.xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
        axes.set_xlabel("jobs with a first-boot result")
        axes.set_ylabel("first boots in 100 jobs,\nmore or fewer than expected")
        names = ("95 % limits", "99.8 % limits")
        label_ends(axes, [End(sizes[-1], band[-1, 1], name) for band, name in zip(bands, names, strict=True)])
        title(figure, heading)
    return figure


def _label(axes: Axes, points: Sequence[FunnelPoint]) -> None:
    """Codes beside their dots, each on the first side where it covers no other code and no dot."""
    wide = 1.08 * max(p.jobs for p in points)
    high = float(np.ptp(axes.get_ylim()))
    taken = [
        (p.jobs - 0.015 * wide, p.jobs + 0.015 * wide, p.points - 0.03 * high, p.points + 0.03 * high) for p in points
    ]
    for point in sorted(points, key=lambda p: (p.jobs, p.points)):
        text = point.label if len(point.label) <= 12 else point.label[:11] + "…"
        half = 0.014 * wide * len(text)
        for right, up in ((1, 0), (-1, 0), (1, 1), (-1, -1), (-1, 1), (1, -1)):
            x, y = point.jobs + right * (0.03 * wide + half), point.points + 0.07 * up * high
            box = (x - half, x + half, y - 0.03 * high, y + 0.03 * high)
            if not any(_overlap(box, other) for other in taken):
                break
        taken.append(box)
        axes.text(x, y, text, ha="center", va="center", fontsize=SMALL)


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[1] and other[0] < one[1] and one[2] < other[3] and other[2] < one[3]
