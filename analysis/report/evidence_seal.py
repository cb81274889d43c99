"""The command that seals, and what it says."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

from analysis.questions.versions import code_version, definitions_version
from analysis.records.problems import plural
from analysis.records.sealing.ledger import FOLDER, LEDGER
from analysis.records.sealing.seal import parse_day, seal_log


def run_seal(folder: Path, until: str, say: Callable[[str], None]) -> None:
    """Seal a log until a day and say what may be shown to whom.

    Raises
    ------
    ReworkError
        If the day is no day or not over, the log has faults, or the seal cannot be written.
    """
    day = parse_day(until)
    versions = {"definitions": definitions_version(), "code": code_version()}
    seal = seal_log(Path(folder), day, today=dt.date.today(), **versions)
    rows = sum(seal.rows.values())
    say(
        f"Seal {seal.seal}: {plural(rows, 'row')} of {plural(seal.rows['jobs'], 'job')} as they stand, until {seal.until}."
    )
    if seal.seal > 1:
        changes = ", ".join(f"{n} {kind}" for kind, n in seal.since_previous.items())
        say(f"Sealed rows since the seal before: {changes}; the ledger keeps these numbers.")
    say(f"Fingerprint: {seal.fingerprint}")
    say("Hand the fingerprint to somebody else, today: it is what shows later that the ledger was not written anew.")
    say(f"{FOLDER}/{LEDGER} may be shown; what is called private beside it is secret: keep a copy, never publish it.")
