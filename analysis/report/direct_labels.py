"""Words beside what they name, in place of legends: nobody has to look up a colour or a dash."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes

from analysis.report.style import QUIET, RULE, SMALL

GAP = 0.09  # of the axis, so that labels beside curves stay apart


class End(NamedTuple):
    """Where a line, bar or dot ends at the right, and what it is called."""

    x: float
    y: float
    words: str
    colour: str = QUIET


def label_ends(axes: Axes, ends: Sequence[End]) -> None:
    """Write each name right of the axes, pushed apart where names would overlap, with a thin line to what it names."""
    bottom, top = axes.get_ylim()
    order = sorted(ends, key=lambda end: end.y)
    rank = GAP * np.arange(len(order))
    wanted = np.array([(end.y - bottom) / (top - bottom) for end in order]) - rank
    # Halfway between pushing all upwards and pushing all downwards; within the axis as far as they fit.
    apart = (np.maximum.accumulate(wanted) + np.minimum.accumulate(wanted[::-1])[::-1]) / 2
    places = np.clip(apart, 0, max(0.0, 1 - float(rank[-1]))) + rank
    for place, end in zip(places, order, strict=True):
        axes.annotate(
            end.words,
            (end.x, end.y),
            xytext=(1.04, float(place)),
            textcoords="axes fraction",
            fontsize=SMALL,
            color=end.colour,
            va="center",
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": RULE, "linewidth": 0.6, "shrinkA": 1, "shrinkB": 2},
        )


def label_point(axes: Axes, x: Any, y: float, words: str, *, dx: float = 0, dy: float = 0, colour: str = QUIET) -> None:
    """Write a name beside a mark, ``dx`` and ``dy`` points away, on white where a line runs below it."""
    axes.annotate(
        words,
        (x, y),
        xytext=(dx, dy),
        textcoords="offset points",
        fontsize=SMALL,
        color=colour,
        ha="left" if dx > 0 else "right" if dx < 0 else "center",
        va="bottom" if dy > 0 else "top" if dy < 0 else "center",
        annotation_clip=False,
        zorder=4,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
    )
