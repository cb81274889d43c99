"""The ledger of seals: one line a seal, each holding the hash of the line before; lines are only ever added.

In the folder ``seals`` of a log stand ``ledger.jsonl``, which may be shown to anyone, and for each seal a file
``seal-N.private.json`` with the secret salt and the rows' hashes by their key. Whoever has the private file can try out
guesses about single rows, so that it must never be published.
"""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from analysis.errors import LogError
from analysis.records.sealing.hashes import RowHashes, root_hash, sha256_hex

FOLDER, LEDGER = "seals", "ledger.jsonl"
SALT_BYTES = 32
FIRST = "0" * 64


@dataclass(frozen=True)
class Seal:
    """One line of the ledger.

    Parameters
    ----------
    seal : int
        1, 2, 3 …
    until : str
        Last day of the seal, YYYY-MM-DD.
    sealed_on : str
        Day on which it was made.
    rows : mapping of str to int
        Sealed rows of each table.
    root : str
        Hash of all row hashes.
    since_previous : mapping of str to int
        Rows of the seal before that had been added, changed or removed by then: corrections stay visible.
    definitions, code : str
        Versions that were in force.
    previous : str
        Hash of the line before; zeros in the first.
    """

    seal: int
    until: str
    sealed_on: str
    rows: Mapping[str, int]
    root: str
    since_previous: Mapping[str, int]
    definitions: str
    code: str
    previous: str

    @property
    def line(self) -> str:
        """The line as it stands in the ledger."""
        return json.dumps(asdict(self), ensure_ascii=True, separators=(",", ":"))

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the line; it stands on every sheet made from the seal."""
        return sha256_hex(self.line)


def _broken(path: Path, found: str) -> LogError:
    rule = "Lines of the ledger are only ever added; each holds the hash of the line before."
    todo = "Restore the ledger from a copy. If there is none, nothing made from these seals can be confirmed any more."
    return LogError(found, rule=rule, todo=todo, where=str(path))


def _seal(line: str) -> Seal | None:
    try:
        seal = Seal(**json.loads(line))
        return seal if seal.line == line else None
    except (ValueError, TypeError):
        return None


def read_ledger(folder: Path) -> list[Seal]:
    """All seals of a log, oldest first.

    Raises
    ------
    LogError
        If a line is no seal, or does not follow from the line before.
    """
    path = Path(folder) / FOLDER / LEDGER
    if not path.exists():
        return []
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise _broken(path, f"the ledger of seals cannot be read: {error}.") from None
    out: list[Seal] = []
    previous = FIRST
    for number, line in enumerate(text.splitlines(), start=1):
        seal = _seal(line)
        if seal is None or seal.seal != number or seal.previous != previous:
            raise _broken(path, f"line {number} of the ledger of seals is not what was written there.")
        out.append(seal)
        previous = seal.fingerprint
    return out


@dataclass(frozen=True)
class Secret:
    """The private side of a seal: its salt and the hash of each row by the row's key."""

    salt: bytes
    rows: RowHashes


def _private_file(folder: Path, number: int) -> Path:
    return Path(folder) / FOLDER / f"seal-{number}.private.json"


def read_secret(folder: Path, seal: Seal) -> Secret:
    """The private side of a seal, held against the ledger.

    Raises
    ------
    LogError
        If the file is not there, or is not the one that was sealed.
    """
    path = _private_file(folder, seal.seal)
    try:
        found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        secret = Secret(bytes.fromhex(found["salt"]), found["rows"])
    except (OSError, ValueError, KeyError, TypeError):
        todo = (
            "Restore it from a copy; without it the seal cannot be compared with the log. If there is none, put the"
            f" folder '{FOLDER}' away (do not delete it) and seal anew: what was made before can then not be confirmed."
        )
        raise LogError("the private file of the seal is missing or damaged.", todo=todo, where=str(path)) from None
    if root_hash(secret.rows) != seal.root:
        raise _broken(path, "the private file of the seal is not the one that was sealed.")
    return secret


def id_salt(folder: Path) -> bytes:
    """Salt of the salted names of jobs: that of the first seal, so that a job keeps its name on all sheets.

    Raises
    ------
    LogError
        If the log was never sealed, or the private file of its first seal is missing or not the one sealed.
    """
    seals = read_ledger(folder)
    if not seals:
        raise LogError("the log has never been sealed.", todo="Seal it with 'rework seal'.", where=str(folder))
    return read_secret(folder, seals[0]).salt


def new_salt() -> bytes:
    """Random bytes from the system's own source; a salt that could be made again would be no secret."""
    return secrets.token_bytes(SALT_BYTES)


def append_seal(folder: Path, seal: Seal, secret: Secret) -> None:
    """Write a seal's private file, then its line of the ledger.

    The caller holds the log's lock. A private file without a line is left over from an interrupted run and replaced.

    Raises
    ------
    LogError
        If the folder cannot be written; the ledger is as before then.
    """
    path = _private_file(folder, seal.seal)
    try:
        path.parent.mkdir(exist_ok=True)
        path.unlink(missing_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as out:
            json.dump({"never publish this file": True, "salt": secret.salt.hex(), "rows": secret.rows}, out, indent=0)
            out.flush()
            os.fsync(out.fileno())
        with (path.parent / LEDGER).open("a", encoding="utf-8", newline="\n") as out:
            out.write(seal.line + "\n")
            out.flush()
            os.fsync(out.fileno())
    except OSError as error:
        todo = "Look at the folder's permissions and free space."
        raise LogError(f"the seal cannot be written: {error.strerror}.", todo=todo, where=str(path.parent)) from None
