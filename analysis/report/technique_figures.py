"""Figures of the techniques' page."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import seaborn as sns
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from analysis.report.figures import Interval, beside
from analysis.report.style import COLOURS, QUIET, canvas, look, title, title_height, wrapped


def differences(rows: Sequence[Interval], heading: str, left: str, right: str) -> Figure:
    """Differences in percentage points with intervals, one row each, words at the right."""
    with look():
        figure, axes = canvas(0.8 + 0.42 * len(rows) + title_height(heading))
        y = np.arange(len(rows))[::-1]
        axes.axvline(0, color=QUIET, linewidth=0.9)
        for at, row in zip(y, rows, strict=True):
            axes.plot([row.low, row.high], [at, at], color=COLOURS[0], linewidth=2, solid_capstyle="butt")
            axes.plot(row.estimate, at, "o", color=COLOURS[0], markersize=6)
            beside(axes, at, row.words)
        reach = max(10.0, *(abs(end) for row in rows for end in (row.low, row.high)))
        axes.set(xlim=(-1.04 * reach, 1.04 * reach), ylim=(-0.6, len(rows) - 0.4), yticks=y)
        axes.set_yticklabels([wrapped(row.label, 20) for row in rows])
        axes.xaxis.set_major_locator(MaxNLocator(nbins=5, integer=True))
        axes.set_xlabel(f"← {left}   points   {right} →")
        sns.despine(ax=axes, left=True)
        title(figure, heading)
    return figure


def pads_by_step(labels: Sequence[str], pads: Sequence[int], sides: Sequence[int], heading: str) -> Figure:
    """Pads lost in each step; on how many sides is written beside each bar."""
    with look():
        figure, axes = canvas(0.7 + 0.34 * len(labels) + title_height(heading))
        y = np.arange(len(labels))[::-1]
        axes.barh(y, pads, height=0.62, color=COLOURS[0])
        most = max(*pads, 1)
        for at, count, rows in zip(y, pads, sides, strict=True):
            axes.text(count + 0.02 * most, at, f"{count} on {rows}", va="center")
        axes.set(yticks=y, xlim=(0, most * 1.25))
        axes.set_yticklabels([wrapped(label, 22) for label in labels])
        axes.set_xlabel("pads lost, and on how many sides")
        axes.xaxis.set_major_locator(MaxNLocator(nbins=5, integer=True))
        sns.despine(ax=axes, left=True)
        title(figure, heading)
    return figure
