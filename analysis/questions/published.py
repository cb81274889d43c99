"""Sheets published before, and whether a new one beside them would show what became of a handful of jobs.

``seals/published.private.jsonl`` of a log holds, for every sheet, which jobs stand behind each of its rates, under
salted names. It is private, as the log is.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.errors import LogError
from analysis.questions.differencing import can_be_worked_out
from analysis.questions.evidence_classes import Groups
from analysis.questions.evidence_span import Span
from analysis.questions.rates import in_months
from analysis.records.sealing.hashes import salted_id
from analysis.records.sealing.ledger import FOLDER

FILE = "published.private.jsonl"
TOTAL, WHOLE = "total", "whole log"


@dataclass(frozen=True)
class Shown:
    """Jobs behind one published rate.

    Parameters
    ----------
    measure : str
        "recovered" or "first_boot".
    kind : str
        "total", "whole log", or the damage classes.
    ids : frozenset of str
        Salted names of the jobs in the denominator.
    """

    measure: str
    kind: str
    ids: frozenset[str]


def shown_by(rows: pd.DataFrame, span: Span, groups: Groups, salt: bytes, minimum: int) -> tuple[Shown, ...]:
    """The denominators that a sheet shows; first boots of fewer than the minimum are not."""
    mine = in_months(rows, "received_month", (span.first, span.last))
    parts = [(TOTAL, mine), *(("+".join(codes), mine[mine["intake_damage"].isin(codes)]) for codes in groups)]
    if not span.half:
        parts.append((WHOLE, rows))
    out = []
    for kind, part in parts:
        for measure, mask in (("recovered", part["closed"]), ("first_boot", part["first_boot"].notna())):
            jobs = part.loc[mask, "job_id"]
            if len(jobs) >= minimum:
                out.append(Shown(measure, kind, frozenset(salted_id(salt, job) for job in jobs)))
    return tuple(out)


def gives_away(new: Sequence[Shown], old: Sequence[Shown], minimum: int) -> bool:
    """Whether new rates, beside one another and old ones, tell the result of fewer than ``minimum`` jobs."""
    return any(
        can_be_worked_out(
            [each.ids for each in new if each.measure == measure],
            [each.ids for each in old if each.measure == measure],
            minimum,
        )
        for measure in {each.measure for each in new}
    )


def read_published(folder: Path) -> list[Shown]:
    """Every rate published before.

    Raises
    ------
    LogError
        If the file cannot be read.
    """
    return [each for sheet in published_sheets(folder) for each in sheet]


def published_sheets(folder: Path) -> list[list[Shown]]:
    """The rates of every sheet published before, in the order of publishing.

    Raises
    ------
    LogError
        If the file cannot be read.
    """
    path = Path(folder) / FOLDER / FILE
    if not path.exists():
        return []
    try:
        lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
        return [
            [Shown(entry["measure"], entry["kind"], frozenset(entry["ids"])) for entry in line["rates"]]
            for line in lines
        ]
    except (OSError, ValueError, KeyError, TypeError):
        todo = "Restore it from a copy: without it sheets could be told apart by a handful of jobs."
        raise LogError("the list of published sheets is damaged.", todo=todo, where=str(path)) from None


def record_published(folder: Path, name: str, shown: Sequence[Shown]) -> None:
    """Add a sheet to the list; one that shows nothing new is not added again.

    Raises
    ------
    LogError
        If the list cannot be written.
    """
    known = set(read_published(folder))
    if all(each in known for each in shown):
        return
    rates = [{"measure": each.measure, "kind": each.kind, "ids": sorted(each.ids)} for each in shown]
    path = Path(folder) / FOLDER / FILE
    try:
        with path.open("a", encoding="utf-8", newline="\n") as out:
            out.write(json.dumps({"sheet": name, "rates": rates}, separators=(",", ":")) + "\n")
    except OSError as error:
        raise LogError(f"the list of published sheets cannot be written: {error.strerror}.", where=str(path)) from None


def guard(old: Sequence[Shown], span: Span, salt: bytes, minimum: int) -> Callable[[pd.DataFrame, Groups], bool]:
    """What :func:`analysis.questions.evidence.build_evidence` asks of each way of grouping the classes."""
    return lambda rows, groups: gives_away(shown_by(rows, span, groups, salt, minimum), old, minimum)
