"""A sheet counted again from its sealed log: whether it matches, and where not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.errors import LogError, ReworkError
from analysis.questions.evidence import Evidence, build_evidence, grouped
from analysis.questions.evidence_facts import SheetFacts, totals
from analysis.questions.evidence_intake import Alike, alike
from analysis.questions.evidence_rows import counted_log
from analysis.questions.published import Shown, guard, published_sheets
from analysis.questions.versions import code_version, definitions_version
from analysis.records.log import Log, read_log
from analysis.records.sealing.hashes import RowChanges
from analysis.records.sealing.ledger import Seal, id_salt, read_ledger
from analysis.records.sealing.seal import changes_since, sealed_and_faulty


@dataclass(frozen=True)
class Differing:
    """One count that is not the same: None where a side does not have it."""

    name: str
    sheet: int | None
    log: int | None


@dataclass(frozen=True)
class Recount:
    """What counting again found.

    Parameters
    ----------
    seal : Seal or None
        The seal the sheet was made from; None when the log's ledger does not hold it.
    rows : RowChanges
        Sealed rows added, changed, removed.
    totals : tuple of Differing
        Counts that differ.
    definitions : tuple of str
        Versions of the sheet and of this program, where they differ; else empty.
    code, minimum : tuple of str
        The same of the code, and of the fewest jobs of a group by the log's settings; told, but no fault by itself.
    grouping : tuple of str
        How the sheet puts damage classes together and how the rule does, where neither few jobs nor the sheets
        published before explain the sheet's way; else empty.
    refused : str
        Why the log could not be counted again; empty when it could.
    evidence : Evidence or None
        The new count.
    alike : Alike or None
        The client's own device looked up again.
    """

    seal: Seal | None
    rows: RowChanges
    totals: tuple[Differing, ...]
    definitions: tuple[str, ...]
    code: tuple[str, ...]
    minimum: tuple[str, ...]
    grouping: tuple[str, ...]
    refused: str
    evidence: Evidence | None
    alike: Alike | None


def differing(sheet: Mapping[str, int], log: Mapping[str, int]) -> tuple[Differing, ...]:
    """Counts that differ, in the sheet's order."""
    names = [*sheet, *(name for name in log if name not in sheet)]
    return tuple(Differing(name, sheet.get(name), log.get(name)) for name in names if sheet.get(name) != log.get(name))


def _counted(log: Log, sheet: SheetFacts, seal: Seal | None) -> tuple[Evidence | None, Alike | None, str]:
    """The count under the settings that the sheet was made with."""
    try:
        settings = replace(log.settings, minimum_class_n=sheet.minimum)
        log = counted_log(replace(log, settings=settings))
        faulty = sealed_and_faulty(log, log.folder, seal) if seal is not None else ()
        # Faults of jobs that came after the seal are none of the sheet's.
        log = replace(log, jobs_set_aside=len(faulty))
        counted = build_evidence(log, sheet.span, sheet.until, groups=sheet.groups)
        return counted, alike(log, counted, sheet.device) if sheet.device else None, ""
    except ReworkError as error:
        return None, None, str(error)


def _apart(sheet: object, log: object) -> tuple[str, ...]:
    """What each side says, where they differ."""
    return () if sheet == log else (str(sheet), str(log))


def _grouping(sheet: SheetFacts, evidence: Evidence, folder: Path) -> tuple[str, ...]:
    """Hold the sheet's classes against the rule: put together for few jobs, or for sheets published before it."""
    rule = grouped(evidence.rows, sheet.span, sheet.minimum) or ()
    if sheet.groups == rule:
        return ()
    salt = id_salt(folder)
    before: list[Shown] = []
    for published in ([], *published_sheets(folder)):
        before += published
        asked = guard(before, sheet.span, salt, sheet.minimum)
        if sheet.groups == grouped(evidence.rows, sheet.span, sheet.minimum, asked):
            return ()
    return tuple("; ".join("+".join(codes) for codes in groups) or "none" for groups in (sheet.groups, rule))


def recount(sheet: SheetFacts, folder: Path) -> Recount:
    """Count a sheet again.

    Parameters
    ----------
    sheet : SheetFacts
        What the sheet carries.
    folder : Path
        The log with its ledger of seals.

    Raises
    ------
    LogError
        If the log or its ledger cannot be read, or the log has never been sealed.
    """
    log = read_log(folder)
    seals = read_ledger(folder)
    if not seals:
        todo = "Name the folder that holds the sealed log with its folder 'seals'."
        raise LogError("the log has never been sealed, so that there is nothing to compare with.", todo=todo)
    named = next((s for s in seals if s.fingerprint == sheet.mark.fingerprint and s.seal == sheet.mark.seal), None)
    seal = named if named is not None and named.until == f"{sheet.until:%Y-%m-%d}" else None
    evidence, device, refused = _counted(log, sheet, seal)
    rows = RowChanges((), (), ()) if seal is None else changes_since(log, folder, seal)
    # With rows changed, other sizes of classes are a consequence and no finding of their own.
    own = evidence is not None and seal is not None and not rows.any
    grouping = _grouping(sheet, evidence, folder) if own and evidence is not None else ()
    return Recount(
        seal=seal,
        rows=rows,
        totals=differing(sheet.totals, totals(evidence)) if evidence is not None else (),
        definitions=_apart(sheet.mark.definitions, definitions_version()),
        code=_apart(sheet.mark.code, code_version()),
        minimum=_apart(sheet.minimum, log.settings.minimum_class_n),
        grouping=grouping,
        refused=refused,
        evidence=evidence,
        alike=device,
    )
