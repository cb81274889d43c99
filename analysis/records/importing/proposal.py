"""A sheet's mapping as proposed, with a remark on everything that was said anew or is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.records.importing.grid import HeadedSheet
from analysis.records.importing.mapping import SheetMap


@dataclass(frozen=True)
class Remark:
    """Why something was said or is asked.

    Parameters
    ----------
    confidence : str
        "sure" or "asked".
    text : str
        In words.
    """

    confidence: str
    text: str


Remarks = Mapping[tuple[str, str], Remark]  # (heading, key); heading "" is the sheet itself


@dataclass(frozen=True)
class Proposal:
    """A sheet's mapping, complete, with remarks on what was said anew and on every question."""

    headed: HeadedSheet
    sheet: SheetMap
    remarks: Remarks
