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
        figure, axes = canvas(1.0 + 0.36 * len(pairs) + title_height(heading))
        y = np.arange(len(pairs))[::-1]
        axes.axvline(average, color=QUIET, linewidth=0.9, linestyle=(0, (4, 3)), label="bench's average")
        for at, pair in zip(y, pairs, strict=True):
            first = bool(at == y[0])
            axes.plot([pair.low, pair.high], [at, at], color=COLOURS[0], linewidth=2, solid_capstyle="butt")
            axes.plot(
                pair.adjusted, at, "o", color=COLOURS[0], markersize=6, label="on the same boards" if first else None
            )
            axes.plot(
                pair.raw,
                at + 0.24,
                "s",
                markerfacecolor="white",
                markeredgecolor=QUIET,
                markersize=5.5,
                clip_on=False,
                label="raw rate" if first else None,
            )
            beside(axes, at, pair.words)
        axes.set(xlim=(0, 1), ylim=(-0.6, len(pairs) - 0.35), yticks=y)
        axes.set_yticklabels([wrapped(pair.label, 14) for pair in pairs])
        axes.xaxis.set_major_formatter(PERCENT)
        axes.xaxis.set_major_locator(FixedLocator([0, 0.25, 0.5, 0.75, 1]))
        sns.despine(ax=axes, left=True)
        figure.legend(
            loc="outside lower center", ncols=3, frameon=False, fontsize=SMALL, handlelength=1.4, columnspacing=1
        )
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
        for band, dashes, label in zip(bands, ("-", (0, (4, 3))), ("95 % limits", "99.8 % limits"), strict=True):
            for side in (0, 1):
                axes.plot(
                    sizes, band[:, side], color=RULE, linewidth=1.4, linestyle=dashes, label=None if side else label
                )
        for point in points:
            axes.plot([point.jobs] * 2, point.action, color=QUIET, linewidth=0.8)
            axes.plot([point.jobs] * 2, point.warning, color=QUIET, linewidth=2.4, solid_capstyle="butt")
            axes.plot(point.jobs, point.points, "o", color=COLOURS[0], markersize=6, clip_on=False)
        _label(axes, points)
        axes.set_xlim(0, max(float(sizes.max()), max(p.jobs for p in points)) * 1.08)
        axes.yaxis.set_major_formatter(SIGNED)
        axes.xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))
        axes.set_xlabel("jobs with a first-boot result")
        axes.set_ylabel("first boots in 100 jobs,\nmore or fewer than expected")
        figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=SMALL, handlelength=2)
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
