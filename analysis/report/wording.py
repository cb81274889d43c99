"""Numbers and small phrases, written the same way on every page."""

from __future__ import annotations

import math

from analysis.models.intervals import Proportion
from analysis.records.problems import plural

MINUS = "−"


def _whole(share: float) -> int:
    """Whole percents, halves up, as on the sheet for clients and in spreadsheets."""
    return math.floor(100 * share + 0.5 + 1e-9)


def percent(share: float) -> str:
    """A share as a whole percentage; "–" where there is none."""
    return "–" if math.isnan(share) else f"{_whole(share)} %"


def interval(low: float, high: float) -> str:
    """An interval of shares: "61–70 %"."""
    return "–" if math.isnan(low) or math.isnan(high) else f"{_whole(low)}–{_whole(high)} %"


def span(low: float, high: float, digits: int = 0) -> str:
    """An interval of numbers: "7–13"; "−3 to 13" where an end has a sign, which a dash would hide."""
    if math.isnan(low) or math.isnan(high):
        return "–"
    ends = number(low, digits), number(high, digits)
    return (" to " if MINUS in "".join(ends) else "–").join(ends)


def rounded(a: float, b: float, difference: float) -> str:
    """What is said before the difference of two shares, where the three whole numbers would contradict one another."""
    return "" if _whole(a) - _whole(b) == round(100 * difference) else ", rounded"


def of(p: Proportion) -> str:
    """A proportion with its denominator: "9 of 11"."""
    return f"{p.x} of {p.n}"


def rate(p: Proportion) -> str:
    """A rate with denominator and interval: "82 % (9 of 11; 52–95 %)"."""
    return f"{percent(p.rate)} ({of(p)}; {interval(p.low, p.high)})" if p.n else "no jobs"


def number(value: float, digits: int = 0) -> str:
    """A number with a real minus sign; "–" where there is none."""
    if math.isnan(value):
        return "–"
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.removeprefix("-")  # nothing is not less than nothing
    return text.replace("-", MINUS)


def points(value: float) -> str:
    """Percentage points with their sign."""
    return "0" if round(value) == 0 else f"{value:+.0f}".replace("-", MINUS)


def points_range(low: float, high: float) -> str:
    """An interval of percentage points."""
    return f"{points(low)} to {points(high)}"


def odds(value: float) -> str:
    """An odds or rate ratio to two figures."""
    if value >= 100:
        return ">100"
    digits = 0 if value >= 10 else 1 if value >= 1 else 2 if value >= 0.1 else 3
    return f"{value:.{digits}f}"


def odds_range(low: float, high: float) -> str:
    """An interval of ratios."""
    return f"{odds(low)}–{odds(high)}"


def p_value(p: float) -> str:
    """A P value to the digits that mean something."""
    if math.isnan(p):
        return "–"
    return "<0.001" if p < 0.001 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"


def hours(value: float) -> str:
    """Bench hours."""
    return (
        "–" if math.isnan(value) else plural(round(value), "bench hour") if value >= 1 else f"{value:.1f} bench hours"
    )


def hours_of(value: float, known: int, n: int) -> str:
    """Bench hours summed over jobs, with how many of them have hours recorded where not all have."""
    if not known:
        return "bench hours not recorded"
    return hours(value) if known == n else f"{hours(value)} (recorded for {known} of {n})"


def of_known(count: int, known: int) -> str:
    """A count of those where it is written: "3 of 9"; "–" where it never is, which is not zero."""
    return f"{count} of {known}" if known else "–"


def listed(items: list[str]) -> str:
    """Words in a list: "a, b and c"."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else ""


def sentence(text: str) -> str:
    """Start with a capital letter."""
    return text[:1].upper() + text[1:]
