"""Sealing a log until a day, and holding a log against a seal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from analysis.errors import LogError
from analysis.records.log import Log, read_log
from analysis.records.problems import plural
from analysis.records.sealing.hashes import RowChanges, compare_rows, root_hash, row_hashes
from analysis.records.sealing.ledger import FIRST, Seal, Secret, append_seal, new_salt, read_ledger, read_secret


def parse_day(text: str) -> dt.date:
    """Read a day written YYYY-MM-DD.

    Raises
    ------
    LogError
        If it is written otherwise.
    """
    try:
        day = dt.date.fromisoformat(text.strip())
    except ValueError:
        day = None
    if day is None or text.strip() != day.isoformat():
        raise LogError(f"'{text}' is not a day.", rule="A day is written YYYY-MM-DD.", todo="For example 2024-09-30.")
    return day


def _refuse_faults(log: Log) -> None:
    """A seal over a log with faults would leave out, without a word, the jobs that the faults set aside."""
    if not log.faults:
        return
    shown = "\n  ".join(problem.line_text() for problem in log.faults[:3])
    raise LogError(
        f"the log has {plural(len(log.faults), 'fault')} and is not sealed:\n  {shown}",
        rule="A seal covers every job. A job with a fault would be set aside and missing from every sheet; mended"
        " later, it would look like one that was tampered with.",
        todo="Mend the faults that 'rework check' lists, then seal.",
        where=str(log.folder),
    )


def _refuse_backwards(seals: Sequence[Seal], until: dt.date) -> None:
    if seals and until.isoformat() < seals[-1].until:
        raise LogError(
            f"{until} is before {seals[-1].until}, the day of the seal before.",
            rule="Seals go forward: else the day on which jobs are counted could be chosen once results are known.",
            todo=f"Seal until {seals[-1].until} or a later day.",
        )


def changes_since(log: Log, folder: Path, seal: Seal) -> RowChanges:
    """Sealed rows added, changed and removed in a log since a seal.

    Raises
    ------
    LogError
        If the private file of the seal is missing or not the one sealed.
    """
    secret = read_secret(folder, seal)
    return compare_rows(secret.rows, row_hashes(log, pd.Timestamp(seal.until), secret.salt))


def sealed_and_faulty(kept: Log, folder: Path, seal: Seal) -> tuple[str, ...]:
    """Sealed jobs that a log's report sets aside, because rows that came later put them at fault."""
    return tuple(sorted(set(read_secret(folder, seal).rows["jobs"]) & set(kept.set_aside)))


def seal_log(folder: Path, until: dt.date, *, today: dt.date, definitions: str, code: str) -> Seal:
    """Seal every row of a log that must not change any more after a day.

    Parameters
    ----------
    folder : Path
        The log. Its tables are only read; a folder ``seals`` is added to.
    until : date
        Last day of the seal; over by now.
    today : date
    definitions, code : str
        Versions written into the ledger.

    Raises
    ------
    LogError
        If the log has faults, the day is not over or before that of the last seal, there is nothing to seal, or the
        ledger is broken.
    """
    from analysis.records.entering.storing import locked

    folder = Path(folder)
    if until >= today:
        todo = "Name an earlier day."
        raise LogError(f"{until} is not over yet.", rule="Only days that are over are sealed.", todo=todo)
    with locked(folder):
        log = read_log(folder)
        _refuse_faults(log)
        seals = read_ledger(folder)
        _refuse_backwards(seals, until)
        salt = new_salt()
        rows = row_hashes(log, pd.Timestamp(until), salt)
        if not rows["jobs"]:
            raise LogError(f"no job had come in by {until}.", todo="Name a later day.", where=str(folder))
        changed = changes_since(log, folder, seals[-1]) if seals else RowChanges((), (), ())
        seal = Seal(
            seal=len(seals) + 1,
            until=until.isoformat(),
            sealed_on=today.isoformat(),
            rows={name: len(of_table) for name, of_table in rows.items()},
            root=root_hash(rows),
            since_previous={kind: len(getattr(changed, kind)) for kind in ("added", "changed", "removed")},
            definitions=definitions,
            code=code,
            previous=seals[-1].fingerprint if seals else FIRST,
        )
        append_seal(folder, seal, Secret(salt, rows))
    return seal
