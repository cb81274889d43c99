"""Figures: no word clipped, covered or too small for a phone, whatever the numbers; no word taken for a formula."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.font_manager import FontProperties
from matplotlib.text import Text
from matplotlib.textpath import TextPath

from analysis.models.intervals import wilson
from analysis.questions.counter import Bin
from analysis.report import counter_figures, figures, technician_figures, technique_figures, watch_figures
from analysis.report.page import Picture
from analysis.report.style import PALETTE, TITLE, WIDTH_IN, _drawn_width, look, title_height

Row = figures.Interval
LONG = "A title that is long enough to be broken twice, because it states the finding in plain words: 0 of 18 jobs"
KINDS = ["confirmed", "probable", "suspected", "not stated"]
TICKS = [0, 2, 4, 6, 8, 10, 12]
MONTHS = list(pd.period_range("2023-10", "2024-09", freq="M"))
PHONE_PX = 328  # 360 px less the margins of the page


def step(label, speed, end, level=0.7):
    t = np.linspace(0, 12, 40)
    t = t[t <= end]
    chance = level * (1 - np.exp(-speed * t))
    return figures.Curve(label, t, chance, chance - 0.05, chance + 0.05, [1200, 150, 90, 40, 12, 3, 0])


def curves(speeds=(0.3, 0.31, 0.32, 0.33, 0.1, 0.5)):
    names = ["drop", "liquid", "bend or snap", "power fault", "heat", "none seen"]
    return [step(name, speed, 12 - i) for i, (name, speed) in enumerate(zip(names, speeds, strict=True))]


def months(k, high=20):
    one = np.ones(k)
    return figures.months(MONTHS[:k], 0 * one, 0 * one, 0.5 * high * one, high * one, [118] * k, LONG)


def temperature():
    x = np.linspace(300, 360, 50)
    typed = np.random.default_rng(1).normal(332, 8, 300)
    return figures.curve(x, 0.002 * (x - 60), 0 * x, 1 + 0 * x, typed, LONG, "install set temperature, °C", "chance")


def climbing(signal_at):
    days = np.arange("2023-01-01", "2024-09-01", dtype="datetime64[D]")[::3]
    value = 3 + 3 * np.sin(np.arange(len(days)) / 20)
    return watch_figures.climb(
        days, value, np.full(len(days), 5.5), np.arange(len(days)) == signal_at * (len(days) - 1), LONG
    )


def rate_chart(share, k=24):
    n = np.full(k, 20)
    months = list(pd.period_range("2022-10", periods=k, freq="M"))
    return watch_figures.rate_chart(months, share * n, n, 0.3 * n, n, 0.68, LONG)


def measures():
    some = [math.nan, *np.linspace(0, 1, 11)]
    rows = [
        watch_figures.Small("pads lost a job, mean", some, 12 * [0.0], some, 12 * [False]),
        watch_figures.Small(
            "share at the preset", 12 * [0.4], 12 * [0.2], 12 * [0.6], 11 * [False] + [True], share=True
        ),
    ]
    return watch_figures.measures(MONTHS, rows, LONG)


def pairs(raw, low):
    rows = [technician_figures.Pair(f"T{i}", raw, low + 0.05, low, low + 0.1, "117 of 179") for i in range(3)]
    return technician_figures.raw_and_adjusted(rows, low + 0.06, LONG)


def funnel(jobs):
    sizes = np.linspace(5, 1.1 * max(jobs), 40)
    bands = [np.stack([-width / sizes**0.5, width / sizes**0.5], axis=1) for width in (90, 140)]
    points = [technician_figures.FunnelPoint(f"T{n}", n, n % 7 - 3.0, (-9, 9), (-14, 14)) for n in jobs]
    return technician_figures.funnel(points, sizes, bands, LONG)


def calibration():
    bins = [Bin(told, wilson(k, 40)) for told, k in ((0.5, 18), (0.6, 24), (0.9, 35))]
    return counter_figures.calibration(bins, LONG)


FIGURES = {
    "a chart that climbs": lambda: climbing(-1),
    "an early alarm": lambda: climbing(0),
    "an alarm today": lambda: climbing(1),
    "rates by month": lambda: rate_chart(0.71),
    "rates by month at the limit": lambda: rate_chart(1.0),
    "rates of two months": lambda: rate_chart(0.68, 2),
    "measures": measures,
    "raw and adjusted": lambda: pairs(0.65, 0.64),
    "raw and adjusted, low": lambda: pairs(0.1, 0.05),
    "raw and adjusted, high": lambda: pairs(1.0, 0.88),
    "funnel": lambda: funnel([40, 41, 60, 179]),
    "funnel of two": lambda: funnel([20, 400]),
    "calibration": calibration,
    "differences": lambda: technique_figures.differences(
        [Row("one cleaning pass on the processor's lower side", -10, -36, 17, "cannot tell\nn = 11093")],
        LONG,
        "worse",
        "better",
    ),
    "pads by step": lambda: technique_figures.pads_by_step(["cleaning", "step not noted"], [1177, 0], [978, 0], LONG),
    "rates": lambda: figures.rates(
        [
            Row("this month", 0.66, 0.43, 0.84, "12 of 18"),
            Row("a class with quite a long name of its own", 0, 0, 0.2, "0 of 18"),
            Row("whole log", 1, 0.9, 1, "13687 of 25370"),
        ],
        LONG,
        0.97,
        "all: 97 %",
    ),
    "one rate, wide letters": lambda: figures.rates(
        [Row("only row", 0.5, 0.1, 0.9, "1 of 2")], f"{'W' * 30} {'W' * 30} {'W' * 80}", 0.01, "all: 1 %"
    ),
    "forest": lambda: figures.forest(
        [
            Row("each cleaning pass a side", 1.1, 0.7, 1.8, "+2 points, n 498"),
            Row("each earlier install on the donor board", 0.01, 0.0001, 400, "−11 points, n 11554"),
            Row("past the end", 30, 9, math.inf, "+41 points, n 53"),
        ],
        LONG,
        "worse",
        "better",
    ),
    "temperature": temperature,
    "one curve": lambda: figures.incidence([step("", 0.3, 12)], TICKS, LONG, "bench hours spent", "booted by then"),
    "six curves": lambda: figures.incidence(curves(), TICKS, LONG, "bench hours spent", "booted by then"),
    "curves at nought": lambda: figures.incidence(curves([0] * 6), TICKS, LONG, "bench hours spent", "booted by then"),
    "curves at one": lambda: figures.incidence(
        [step(name, 50, 12, 1.0) for name in ("drop", "liquid", "heat")], TICKS, LONG, "bench hours", "booted by then"
    ),
    "causes": lambda: figures.cause_bars(
        ["pads lost", "donor faulty or wrong", "short after install"],
        [(5, 7, 2, 0), (1, 3, 3, 0), (0, 0, 0, 999)],
        KINDS,
        LONG,
    ),
    "kinds of one cause": lambda: figures.cause_bars(["pads lost"], [(1, 1, 1, 1)], KINDS, LONG),
    "one cause": lambda: figures.cause_bars(["pads lost"], [(0, 0, 1, 0)], KINDS, LONG),
    "two months without a job": lambda: months(2, 0),
    "twelve months": lambda: months(12),
}


def words_of(figure):
    """Every text that is drawn, with its box in pixels."""
    FigureCanvasAgg(figure).draw()
    renderer = figure.canvas.get_renderer()
    unseen = set()
    for axis in (axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)):
        low, high = sorted(axis.get_view_interval())
        for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
            if not (axis.get_visible() and axis.axes.axison) or not low <= tick.get_loc() <= high:
                unseen |= {tick.label1, tick.label2}
    texts = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
    return [(text, Text.get_window_extent(text, renderer)) for text in texts if text not in unseen]


@pytest.fixture(params=FIGURES, scope="module")
def figure(request):
    return FIGURES[request.param]()


def test_no_word_is_clipped(figure):
    page = figure.bbox
    for text, box in words_of(figure):
        inside = box.x0 >= -0.5 and box.y0 >= -0.5 and box.x1 <= page.x1 + 0.5 and box.y1 <= page.y1 + 0.5
        assert inside, f"'{text.get_text()}' runs out of the picture"


def test_no_word_covers_another(figure):
    for (a, one), (b, other) in itertools.combinations(words_of(figure), 2):
        across = min(one.x1, other.x1) - max(one.x0, other.x0)
        down = min(one.y1, other.y1) - max(one.y0, other.y0)
        assert across < 1 or down < 2, f"'{a.get_text()}' and '{b.get_text()}' overlap"


def test_every_word_can_be_read_on_a_phone(figure):
    assert figure.get_size_inches()[0] == WIDTH_IN
    for text, _ in words_of(figure):
        assert text.get_fontsize() / 72 / WIDTH_IN * PHONE_PX >= 9.5, f"'{text.get_text()}' is too small"


@pytest.mark.parametrize("words", ["paid $5 of $9", r"$\frac{$", "a_b^c", "%s {x} \\"])
def test_words_of_a_log_are_no_formula(words):
    figure = figures.rates([Row(words, 0.5, 0.1, 0.9, words)], words)
    assert {words} <= {text.get_text() for text, _ in words_of(figure)}
    assert "data:image/png" in Picture(figure, "A picture of odd words", words, 2)._repr_html_()


def test_drawing_leaves_the_readers_own_settings_alone():
    import matplotlib as mpl

    before = dict(mpl.rcParams)
    for make in FIGURES.values():
        make()
    assert dict(mpl.rcParams) == before


def test_an_interval_that_leaves_the_scale_gets_an_arrow_and_no_false_dot():
    shown = figures.forest([Row("x", 0.01, 0.0001, 400, "")], "t", "worse", "better")
    marks = [line.get_marker() for line in shown.axes[0].lines if line.get_marker() not in ("", "None", None)]
    assert marks == ["<", ">"]


def test_a_longer_title_is_given_more_room():
    with look():
        assert title_height("W" * 50) > title_height("i" * 50) == title_height("short")


@pytest.mark.parametrize(
    "text", [chr(i) for i in (*range(33, 127), *range(0xC0, 0x180), 0x2212, 0x2013, 0x20AC, 0x2019)]
)
def test_the_width_of_a_title_is_that_of_its_curves(text):
    font = FontProperties(family="DejaVu Sans", weight="bold", size=TITLE)
    for line in (text, f"12 {text} of"):
        assert _drawn_width(line) == pytest.approx(TextPath((0, 0), line, prop=font).get_extents().width, abs=1e-9)


def test_a_blank_title_takes_no_width():
    assert _drawn_width("  ") == 0.0


def test_no_figure_needs_a_legend_or_colours_beyond_the_palette(figure):
    assert not figure.legends
    assert not any(axes.get_legend() for axes in figure.axes)
    known = {to_hex(colour) for colour in PALETTE}
    used = {to_hex(text.get_color()) for text, _ in words_of(figure)}
    used |= {to_hex(line.get_color()) for axes in figure.axes for line in axes.lines}
    assert used <= known
