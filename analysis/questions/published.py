"""Sheets published before, and whether a new one beside them would show what became of a handful of jobs.

``seals/published.private.jsonl`` of a log holds, for every sheet, which jobs stand behind each of its rates, under
salted names. It is private, as the log is.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from analysis.errors import LogError
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


def shown_by(rows: pd.DataFrame, span: Span, groups: Groups, salt: bytes) -> tuple[Shown, ...]:
    """The denominators that a sheet shows."""
    mine = in_months(rows, "received_month", (span.first, span.last))
    parts = [(TOTAL, mine), *(("+".join(codes), mine[mine["intake_damage"].isin(codes)]) for codes in groups)]
    if not span.half:
        parts.append((WHOLE, rows))
    out = []
    for kind, part in parts:
        for measure, mask in (("recovered", part["closed"]), ("first_boot", part["first_boot"].notna())):
            out.append(Shown(measure, kind, frozenset(salted_id(salt, job) for job in part.loc[mask, "job_id"])))
    return tuple(out)


def _apart(one: frozenset[str], other: frozenset[str], minimum: int) -> bool:
    """Whether two overlapping sets are the same, or differ by enough jobs on one side at least."""
    if one == other or not one & other:
        return True
    return len(one - other) >= minimum or len(other - one) >= minimum


def _parts(whole: Shown, shown: Sequence[Shown]) -> Iterator[frozenset[str]]:
    """What several published rates of one kind within another cover together, such as two half-years of a year."""
    kinds = {each.kind for each in shown}
    for kind in kinds:
        inside = [each.ids for each in shown if each.kind == kind and each.ids < whole.ids]
        if inside:
            yield frozenset().union(*inside)


def gives_away(new: Iterable[Shown], old: Iterable[Shown], minimum: int) -> bool:
    """Whether new rates beside old ones let the result of fewer than ``minimum`` jobs be worked out by subtraction."""
    every = {"recovered": ([], []), "first_boot": ([], [])}  # type: dict[str, tuple[list[Shown], list[Shown]]]
    for at, source in enumerate((new, old)):
        for each in source:
            every[each.measure][at].append(each)
    for fresh, before in every.values():
        if any(not _apart(a.ids, b.ids, minimum) for a, b in itertools.product(fresh, before)):
            return True
        both = [*fresh, *before] if before else []
        for whole in both:
            if any(0 < len(whole.ids - part) < minimum for part in _parts(whole, both)):
                return True
    return False


def read_published(folder: Path) -> list[Shown]:
    """Every rate published before.

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
            Shown(entry["measure"], entry["kind"], frozenset(entry["ids"])) for line in lines for entry in line["rates"]
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


def guard(folder: Path, span: Span, salt: bytes, minimum: int) -> Callable[[pd.DataFrame, Groups], bool]:
    """What :func:`analysis.questions.evidence.build_evidence` asks of each way of grouping the classes."""
    old = read_published(folder)
    return lambda rows, groups: gives_away(shown_by(rows, span, groups, salt), old, minimum)
