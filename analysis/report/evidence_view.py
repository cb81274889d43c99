"""A counted sheet with its words and its origin."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from analysis.errors import LogError
from analysis.questions.evidence import Evidence, build_evidence
from analysis.questions.evidence_classes import Groups
from analysis.questions.evidence_facts import Mark, mark_of
from analysis.questions.evidence_intake import Alike, alike, read_facts_of
from analysis.questions.evidence_rows import counted_log
from analysis.questions.evidence_span import span_for
from analysis.questions.published import guard, read_published
from analysis.questions.versions import code_version, definitions_version
from analysis.records.log import Log, read_log
from analysis.records.problems import plural
from analysis.records.sealing.hashes import RowChanges
from analysis.records.sealing.ledger import Seal, id_salt, read_ledger
from analysis.records.sealing.seal import changes_since, sealed_and_faulty
from analysis.report.evidence_wording import Words, words_for

TOLD = 20


@dataclass(frozen=True)
class SheetView:
    """Everything that is shown.

    Parameters
    ----------
    evidence : Evidence
    words : Words
    mark : Mark
    shop : str
        Name of the bench.
    invented : bool
        Whether the data are invented.
    alike : Alike or None
        A client's own device against past jobs.
    """

    evidence: Evidence
    words: Words
    mark: Mark
    shop: str
    invented: bool
    alike: Alike | None = None


def rows_told(changes: RowChanges) -> list[str]:
    """A line for each kind of change, with the first few rows."""
    out = []
    for kind in ("added", "changed", "removed"):
        rows = getattr(changes, kind)
        if rows:
            shown = "; ".join(f"{file} {key}" for file, key in rows[:TOLD])
            more = f"; … and {len(rows) - TOLD} more" if len(rows) > TOLD else ""
            out.append(f"{plural(len(rows), 'row')} {kind} since the seal: {shown}{more}")
    return out


def _held(log: Log, folder: Path, seal: Seal) -> None:
    """Refuse a log that is not the sealed one any more."""
    changes = changes_since(log, folder, seal)
    if changes.any:
        told = "\n  ".join(rows_told(changes))
        raise LogError(
            f"the log is not the one that was sealed:\n  {told}",
            rule="A sheet is made from a sealed log, so that it can be recounted.",
            todo="Undo the change; or, if it is a correction, seal again: the ledger keeps both seals and their difference.",
            where=str(folder),
        )


def _refuse_sealed_faults(log: Log, folder: Path, seal: Seal) -> None:
    """Refuse a sheet that would leave out sealed jobs, because rows that came later put them at fault."""
    faulty = sealed_and_faulty(log, folder, seal)
    if faulty:
        shown = ", ".join(faulty[:TOLD]) + (" …" if len(faulty) > TOLD else "")
        raise LogError(
            f"{plural(len(faulty), 'sealed job')} cannot be counted for faults that came since: {shown}.",
            rule="A sheet counts every job that was sealed.",
            todo="Mend the faults that 'rework check' lists.",
            where=str(folder),
        )


def build(
    folder: Path, half: str = "", first: str = "", last: str = "", language: str = "en", intake: Sequence[str] = ()
) -> SheetView:
    """Read a log, hold it against its latest seal and count the sheet; a log without a seal gives a draft.

    Raises
    ------
    ReworkError
        If the log cannot be read, is not the sealed one any more, or the sheet would show too few jobs.
    """
    folder = Path(folder)
    words, device = words_for(language), read_facts_of(intake)
    read = read_log(folder)
    seals = read_ledger(folder)
    seal = seals[-1] if seals else None
    if seal is not None:
        _held(read, folder, seal)
    log = counted_log(read)
    if seal is not None:
        _refuse_sealed_faults(log, folder, seal)
        log = replace(log, jobs_set_aside=0)  # faults of jobs that came after the seal are none of the sheet's
    until = pd.Timestamp(seal.until) if seal else _last_day(log)
    span = span_for(half, first, last, until)
    ask: Callable[[pd.DataFrame, Groups], bool] | None = None
    mark = mark_of(seals, definitions_version(), code_version())
    if seal is not None:
        ask = guard(read_published(folder), span, id_salt(folder), log.settings.minimum_class_n)
    evidence = build_evidence(log, span, until, gives_away=ask)
    found = alike(log, evidence, device) if device else None
    return SheetView(evidence, words, mark, log.settings.shop_name, log.invented, found)


def _last_day(log: Log) -> pd.Timestamp:
    if pd.isna(log.last_date):
        todo = "Enter the first job in jobs.csv and run 'rework check' on the folder."
        raise LogError("the log holds no job with a date yet.", todo=todo, where=str(log.folder))
    return log.last_date.normalize()
