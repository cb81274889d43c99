"""What a sheet carries for machines, and the file for a named auditor."""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis.cohort.outcomes import Ending, FirstBoot
from analysis.errors import ReworkError
from analysis.questions.evidence import COUNTED, Evidence
from analysis.questions.evidence_classes import CLASSES, Groups
from analysis.questions.evidence_span import Span, chosen, half_year
from analysis.records.sealing.hashes import salted_id
from analysis.records.sealing.ledger import Seal

FORM = "rework evidence sheet, form 1"
RECOUNT_HEADS = (
    "id",
    "month",
    "in_period",
    "damage_class",
    "class_on_sheet",
    "outcome",
    "first_boot",
    "lost_for_good",
    "fee_basis",
    "days",
)


@dataclass(frozen=True)
class Mark:
    """Where a sheet comes from.

    Parameters
    ----------
    seal : int
        Number of the seal; 0 for a draft from a log that is not sealed.
    fingerprint : str
        Of the seal's line in the ledger; empty for a draft.
    definitions, code : str
        Versions.
    sealed_on : str
        Day on which the seal was made; empty for a draft.
    corrected : int
        Sealed rows that had been added, changed or removed by a later seal, over all seals up to this one.
    """

    seal: int
    fingerprint: str
    definitions: str
    code: str
    sealed_on: str = ""
    corrected: int = 0


def mark_of(seals: Sequence[Seal], definitions: str, code: str) -> Mark:
    """Mark of a sheet from the last of these seals; of a draft when there is none."""
    if not seals:
        return Mark(0, "", definitions, code)
    last = seals[-1]
    corrected = sum(sum(each.since_previous.values()) for each in seals)
    return Mark(last.seal, last.fingerprint, definitions, code, last.sealed_on, corrected)


def totals(evidence: Evidence) -> dict[str, int]:
    """Every count of the sheet by name; a recount compares these."""
    e = evidence
    out = dict(e.counts)
    out |= {"closed": e.recovered.n, "closed_not_stopped": e.without_stopped.n}
    out |= {"first_boot": e.first_boot.x, "first_boot_n": e.first_boot.n, "stopped_untested": e.stopped_untested}
    out |= {"lost_for_good": e.lost, "lost_for_good_on_arrival": e.lost_found}
    out |= {"lost_for_good_not_recorded": e.lost_unknown}
    for row in e.classes:
        name = "+".join(row.codes)
        out |= {f"{name}: recovered": row.recovered.x, f"{name}: closed": row.recovered.n}
        out |= {f"{name}: first_boot": row.first_boot.x, f"{name}: first_boot_n": row.first_boot.n}
    out |= {f"fee {'+'.join(codes)}": n for codes, n in e.fees}
    if e.whole is not None:
        out |= {"whole log: recovered": e.whole.recovered.x, "whole log: closed": e.whole.recovered.n}
        out |= {"whole log: first_boot": e.whole.first_boot.x, "whole log: first_boot_n": e.whole.first_boot.n}
    return out


def facts(evidence: Evidence, mark: Mark, language: str, device: Mapping[str, str]) -> dict[str, Any]:
    """What stands in the sheet for machines; ``device`` holds the facts of a client's own device."""
    span = evidence.span
    return {
        "form": FORM,
        "language": language,
        "half": span.half,
        "first_month": str(span.first),
        "last_month": str(span.last),
        "until": f"{evidence.until:%Y-%m-%d}",
        "minimum_class_n": evidence.minimum,
        "device": dict(device),
        "classes": [list(row.codes) for row in evidence.classes],
        "seal": mark.seal,
        "seal_fingerprint": mark.fingerprint,
        "sealed_on": mark.sealed_on,
        "corrected": mark.corrected,
        "definitions": mark.definitions,
        "code": mark.code,
        "totals": totals(evidence),
    }


@dataclass(frozen=True)
class SheetFacts:
    """Facts read back from a sheet."""

    span: Span
    until: pd.Timestamp
    language: str
    minimum: int
    device: Mapping[str, str]
    groups: Groups
    mark: Mark
    totals: Mapping[str, int]


def read_facts(found: Mapping[str, Any]) -> SheetFacts:
    """Facts of a sheet, checked.

    Raises
    ------
    ReworkError
        If they are not what a sheet carries.
    """
    try:
        if found["form"] != FORM:
            raise ValueError
        half = str(found["half"])
        span = half_year(half) if half else chosen(str(found["first_month"]), str(found["last_month"]))
        groups = tuple(tuple(str(code) for code in group) for group in found["classes"])
        if not {code for group in groups for code in group} <= set(CLASSES):
            raise ValueError
        finger, definitions, code, day = (
            str(found[name]) for name in ("seal_fingerprint", "definitions", "code", "sealed_on")
        )
        mark = Mark(int(found["seal"]), finger, definitions, code, day, int(found["corrected"]))
        if mark.seal:
            dt.date.fromisoformat(mark.sealed_on)
        counts = {str(name): int(n) for name, n in found["totals"].items()}
        until = pd.Timestamp(dt.date.fromisoformat(str(found["until"])))
        device = {str(name): str(value) for name, value in found["device"].items()}
        minimum = int(found["minimum_class_n"])
        return SheetFacts(span, until, str(found["language"]), minimum, device, groups, mark, counts)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError, ReworkError):
        todo = "Name a page made by 'rework evidence', unchanged."
        raise ReworkError("the facts that a sheet carries for machines are damaged or missing.", todo=todo) from None


_OUTCOMES = {str(ending): name for name, ending in COUNTED.items()} | {str(Ending.REPEAT): "repeat"}


def _line(row: Any, salt: bytes, evidence: Evidence, shown: Mapping[str, str]) -> list[str]:
    inside = evidence.span.first <= row.received_month <= evidence.span.last
    accepted = bool(row.accepted)
    tested = {1.0: "yes", 0.0: "no"}.get(row.first_boot, "")
    return [
        salted_id(salt, row.job_id),
        str(row.received_month),
        "yes" if inside else "no",
        str(row.intake_damage),
        shown.get(str(row.intake_damage), "") if inside else "",
        "repeat_after_recovery" if row.after_recovery else _OUTCOMES.get(str(row.ending), str(row.decision)),
        "stopped_untested" if row.first_boot_status == FirstBoot.STOPPED_AFTER else tested,
        str(row.lost),
        str(row.fee) if accepted else "",
        f"{row.days:.0f}" if accepted and pd.notna(row.days) else "",
    ]


def recount_csv(evidence: Evidence, salt: bytes) -> str:
    """The redacted recount file: one line a job, in the order of the salted names, which says nothing.

    Chosen months carry the whole log, since its rate stands on the sheet, too.
    """
    rows = evidence.rows
    if evidence.whole is None:
        span = evidence.span
        rows = rows[rows["received_month"].ge(span.first) & rows["received_month"].le(span.last)]
    shown = {code: "+".join(row.codes) for row in evidence.classes for code in row.codes}
    lines = sorted(_line(row, salt, evidence, shown) for row in rows.itertuples(index=False))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(RECOUNT_HEADS)
    writer.writerows(lines)
    return out.getvalue()
