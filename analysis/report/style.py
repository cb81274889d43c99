"""One look for all figures: narrow, so that they can be read on a phone; dark on white; no legend boxes."""

from __future__ import annotations

import functools
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import numpy as np
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.path import Path
from matplotlib.textpath import TextPath

# Set so that the smallest words are about 9 px high on a phone of 360 px and 14 px on a desktop.
WIDTH_IN = 4.2
TEXT, SMALL, TITLE = 9.5, 9.0, 10.5  # points
INK, QUIET, RULE = "#1b2126", "#5a646c", "#c9ced2"
# Dark enough for words on white and told apart by all kinds of colour vision, simulated (tests/report/test_palette.py).
COLOURS = ("#1f4e5f", "#b3541e", "#2d69c3", "#5a3c00", "#5a785a", "#2d1e4b")
PALETTE = (*COLOURS, INK, QUIET, RULE, "white")  # everything that is drawn or written
MARKS = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 1)))

_RC: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "text.parse_math": False,  # words of a log may hold a dollar sign and are no formula
    "font.size": TEXT,
    "axes.titlesize": TITLE,
    "axes.titleweight": "bold",
    "axes.labelsize": SMALL,
    "axes.titlelocation": "left",
    "axes.labelcolor": INK,
    "axes.edgecolor": QUIET,
    "axes.linewidth": 0.8,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "figure.dpi": 100,
    "savefig.facecolor": "white",
}


@contextmanager
def look() -> Iterator[None]:
    """Draw with the suite's style and leave the reader's own settings alone."""
    with sns.axes_style("white", rc=_RC), mpl.rc_context(_RC):
        yield


def canvas(height: float) -> tuple[Figure, Axes]:
    """A figure of the usual width with one pair of axes; no pyplot, so that nothing stays in memory."""
    figure = Figure(figsize=(WIDTH_IN, height), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    sns.despine(ax=axes)
    return figure, axes


def two_panels(upper: float, lower: float, extra: float) -> tuple[Figure, tuple[Axes, Axes]]:
    """A plot with a band of text under it; heights in inches."""
    figure = Figure(figsize=(WIDTH_IN, upper + lower + extra), layout="constrained")
    FigureCanvasAgg(figure)
    axes, table = figure.subplots(2, 1, height_ratios=[upper, lower])
    sns.despine(ax=axes)
    return figure, (axes, table)


def title(figure: Figure, text: str) -> None:
    """The finding in words, wrapped so that it is never clipped."""
    figure.suptitle(
        "\n".join(_title_lines(text)),
        x=0.01,
        ha="left",
        fontsize=TITLE,
        fontweight="bold",
        color=INK,
        linespacing=1.25,
    )


def title_height(text: str) -> float:
    """Inches a wrapped title takes."""
    return 0.2 * len(_title_lines(text)) + 0.1


@functools.lru_cache(maxsize=256)
def _title_lines(text: str) -> tuple[str, ...]:
    """Lines of a title, broken by the width of its letters as drawn, not by their number."""
    room = 0.97 * WIDTH_IN * 72
    letters = 52
    while True:
        lines = textwrap.wrap(text, letters)
        widest = max(map(_drawn_width, lines), default=0.0)
        if widest <= room or letters == 1:
            return tuple(lines)
        letters = max(1, min(letters - 1, int(letters * room / widest)))


def _drawn_width(line: str) -> float:
    """Points that a line of a title takes."""
    if not line.strip():
        return 0.0
    outline = TextPath((0, 0), line, prop=FontProperties(family="DejaVu Sans", weight="bold", size=TITLE))
    # The points that hold this font's curves span what the curves span (tested); to follow each takes forty times as long.
    places = outline.vertices[outline.codes != Path.CLOSEPOLY, 0]
    return float(np.ptp(places))


def month_labels(months: Sequence[Any]) -> list[str]:
    """Short names of months; below the first and wherever it changes, the year."""
    years = [None, *(month.year for month in months)]
    return [
        month.strftime("%b") + ("" if month.year == before else f"\n{month.year}")
        for before, month in zip(years, months, strict=False)
    ]


def wrapped(text: str, width: int = 24) -> str:
    """A row label broken into short lines."""
    return textwrap.fill(text, width)
