"""Figures of the counter page."""

from __future__ import annotations

from collections.abc import Sequence

import seaborn as sns
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from analysis.questions.counter import Bin
from analysis.report.direct_labels import label_point
from analysis.report.figures import PERCENT
from analysis.report.style import COLOURS, QUIET, canvas, look, title, title_height


def calibration(bins: Sequence[Bin], heading: str) -> Figure:
    """Chance told across, share that came upwards, each with its interval, on the same scale."""
    ends = [each.told for each in bins] + [end for each in bins for end in (each.came.low, each.came.high)]
    low, high = max(0.0, min(ends) - 0.05), min(1.0, max(ends) + 0.05)
    with look():
        figure, axes = canvas(3.4 + title_height(heading))
        axes.plot([low, high], [low, high], color=QUIET, linewidth=0.9, linestyle=(0, (4, 3)))
        for each in bins:
            axes.plot([each.told] * 2, [each.came.low, each.came.high], color=COLOURS[0], linewidth=2)
            axes.plot(each.told, each.came.rate, "o", color=COLOURS[0], markersize=6)
        axes.set(xlim=(low, high), ylim=(low, high))
        label_point(axes, high, high, "as told", dx=-14)
        for axis in (axes.xaxis, axes.yaxis):
            axis.set_major_formatter(PERCENT)
            axis.set_major_locator(MultipleLocator(0.1 if high - low < 0.7 else 0.2))
        axes.set_xlabel("chance of recovery told")
        axes.set_ylabel("recovered")
        sns.despine(ax=axes)
        title(figure, heading)
    return figure
