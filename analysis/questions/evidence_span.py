"""Which months a sheet for clients covers: a fixed half-year, or chosen months with the whole log beside them."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from analysis.errors import ReworkError
from analysis.questions.period import parse_month


@dataclass(frozen=True)
class Span:
    """Months of receipt, both ends included.

    Parameters
    ----------
    first, last : Period
        Months.
    half : str
        "2024H1" for a fixed half-year; empty for chosen months.
    """

    first: pd.Period
    last: pd.Period
    half: str = ""

    @property
    def start(self) -> pd.Timestamp:
        """First day."""
        return self.first.start_time.normalize()

    @property
    def end(self) -> pd.Timestamp:
        """Last day."""
        return self.last.end_time.normalize()

    @property
    def name(self) -> str:
        """For file names and the ledger of published sheets."""
        return self.half or f"{self.first}-to-{self.last}"


YEARS = (1990, 2199)


def _refuse_far(text: str, span: Span) -> Span:
    if not (YEARS[0] <= span.first.year and span.last.year <= YEARS[1]):
        raise ReworkError(
            f"'{text}' lies out of all logs.", rule=f"years {YEARS[0]} to {YEARS[1]}", todo="Look at the year."
        )
    return span


def half_year(text: str) -> Span:
    """Read a half-year written 2024H1.

    Raises
    ------
    ReworkError
        If it is written otherwise, or far out.
    """
    found = re.fullmatch(r"(\d{4})H([12])", text.strip().upper())
    if not found:
        rule = "A half-year is written 2024H1 (January to June) or 2024H2 (July to December)."
        raise ReworkError(f"'{text}' is not a half-year.", rule=rule, todo="Write for example --half 2024H1.")
    first = pd.Period(f"{found[1]}-{'01' if found[2] == '1' else '07'}", freq="M")
    return _refuse_far(text, Span(first, first + 5, text.strip().upper()))


def chosen(first: str, last: str) -> Span:
    """Read chosen months.

    Raises
    ------
    ReworkError
        If one is no month, far out, or they are the wrong way round.
    """
    span = Span(parse_month(first), parse_month(last))
    if span.last < span.first:
        raise ReworkError(f"{first} comes after {last}.", todo="Name the earlier month with --from.")
    return _refuse_far(f"{first} to {last}", span)


def latest_half(until: pd.Timestamp) -> Span:
    """The latest half-year that had ended by a day."""
    after = until + pd.Timedelta(days=1)
    return half_year(f"{after.year}H1" if after.month > 6 else f"{after.year - 1}H2")


def span_for(half: str, first: str, last: str, until: pd.Timestamp) -> Span:
    """The span asked for; without any, the latest half-year that had ended.

    Raises
    ------
    ReworkError
        If a half-year and months are both named, only one of two months is, or the span had not ended by ``until``.
    """
    if half and (first or last):
        raise ReworkError("A half-year and chosen months are both named.", todo="Use --half, or --from and --until.")
    if bool(first) != bool(last):
        raise ReworkError("Only one end of the chosen months is named.", todo="Name both --from and --until.")
    span = half_year(half) if half else chosen(first, last) if first else latest_half(until)
    if span.end > until:
        raise ReworkError(
            f"{span.name} ends on {span.end:%Y-%m-%d}, and the log is counted as it stood on {until:%Y-%m-%d}.",
            rule="A sheet covers months that were over by the day of the seal.",
            todo="Seal until a later day with 'rework seal', or choose an earlier period.",
        )
    return span
