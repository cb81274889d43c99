"""One look for all figures: narrow, so that they can be read on a phone; dark on white; no legend boxes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

WIDTH_IN = 4.7
INK, QUIET, RULE = "#1b2126", "#5a646c", "#c9ced2"
# From Okabe and Ito's colours for all kinds of colour vision (2008), darkened for contrast on white.
COLOURS = ("#1f4e5f", "#b3541e", "#4a6b2a", "#7a3e78", "#8a6d00", "#30343a")
MARKS = ("o", "s", "^", "D", "v", "P")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 1)))

_RC: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9,
    "axes.titlesize": 10.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelcolor": INK,
    "axes.edgecolor": QUIET,
    "axes.linewidth": 0.8,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 9,
    "ytick.labelsize": 9,
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
        textwrap.fill(text, 52), x=0.01, ha="left", fontsize=10.5, fontweight="bold", color=INK, linespacing=1.25
    )


def title_height(text: str) -> float:
    """Inches a wrapped title takes."""
    return 0.2 * len(textwrap.wrap(text, 52)) + 0.1


def wrapped(text: str, width: int = 24) -> str:
    """A row label broken into short lines."""
    return textwrap.fill(text, width)
