"""Hashes of the rows of a log that stay as they are after a day, each under a secret salt.

A row is hashed with HMAC-SHA-256 (RFC 2104; SHA-256: FIPS 180-4) under a salt of 32 random bytes. Without the salt a
published hash tells nothing, not even to somebody who guesses the row: a job has few possible rows, so that plain
hashes could be found by trial.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis.records.dictionary import BY_NAME, TABLES, WORD_OF, Column, Kind, KnownAt
from analysis.records.log import Log

INTAKE_ONLY = tuple(c.name for c in BY_NAME["jobs"].columns if c.known_at is KnownAt.INTAKE or c.name == "decision")

RowHashes = Mapping[str, Mapping[str, str]]  # table -> key of the row as a text -> salted hash


def sha256_hex(text: str) -> str:
    """SHA-256 of a text in UTF-8, as hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def salted_hex(salt: bytes, text: str) -> str:
    """HMAC-SHA-256 of a text in UTF-8 under a salt, as hexadecimal digits."""
    return hmac.new(salt, text.encode(), hashlib.sha256).hexdigest()


def cell_text(value: Any, column: Column) -> str | None:
    """The one way a typed value is written for a hash; None for a blank."""
    if value is None or pd.isna(value):
        return None
    if column.kind is Kind.NUMBER:
        return repr(float(value))
    if column.kind is Kind.INTEGER:
        return str(int(value))
    if column.kind is Kind.YES_NO:
        return WORD_OF[bool(value)]
    return str(value)[:10] if column.kind is Kind.DATE else str(value)


def _texts(frame: pd.DataFrame, column: Column) -> list[str | None]:
    """Cells of a column as texts; each different value is written once."""
    codes, values = pd.factorize(frame[column.name])
    texts = [cell_text(value, column) for value in values]
    return [None if code < 0 else texts[code] for code in codes]


def _hashed(frame: pd.DataFrame, table: str, names: tuple[str, ...], salt: bytes) -> dict[str, str]:
    """Salted hash of each row of a table over the named columns, by the row's key."""
    declared = BY_NAME[table]
    columns = {name: _texts(frame, declared[name]) for name in names}
    keys = [_texts(frame, declared[name]) for name in declared.key]
    out: dict[str, str] = {}
    for at in range(len(frame)):
        # JSON parts cells beyond doubt: no two different rows are written alike. Blanks stay out, so that a column that
        # a later version of the program adds leaves the hashes of old rows as they are.
        filled = {name: texts[at] for name, texts in sorted(columns.items()) if texts[at] is not None}
        content = json.dumps([table, filled], ensure_ascii=False)
        key = " ".join("–" if part[at] is None else str(part[at]) for part in keys)
        while key in out:  # a fault of the log; the row is counted all the same
            key += " again"
        out[key] = salted_hex(salt, content)
    return out


@dataclass(frozen=True)
class _Reach:
    """Which jobs a day settles, and which rows of the other tables go with them."""

    settled: pd.Series
    unsettled: pd.Series
    tests: pd.Series


def _reach(log: Log, until: pd.Timestamp) -> _Reach:
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    came_in = jobs["received_date"].le(until)
    done = jobs["decision"].ne("accepted").fillna(True) | jobs["closed_date"].le(until)
    settled = (came_in & done).fillna(False).astype(bool)
    unsettled = came_in.fillna(False).astype(bool) & ~settled
    of_settled = tests["job_id"].isin(jobs.loc[settled, "job_id"])
    of_unsettled = tests["job_id"].isin(jobs.loc[unsettled, "job_id"]) & tests["test_date"].le(until)
    return _Reach(settled, unsettled, of_settled | of_unsettled)


def _named(log: Log, reach: _Reach, column: str) -> set[str]:
    """Donors or technicians that sealed jobs and boot tests name."""
    jobs, tests = log.tables["jobs"], log.tables["boot_tests"]
    named = set(jobs.loc[reach.settled, column].dropna())
    return named | (set(tests.loc[reach.tests, column].dropna()) if column in tests else set())


def row_hashes(log: Log, until: pd.Timestamp, salt: bytes) -> dict[str, dict[str, str]]:
    """Hash every row that must not change any more after a day.

    Of a job that was declined, withdrawn or closed by the day: its row and all its sides, heat steps and boot tests,
    whole; the donors and technicians they name. Of a job still open then: what was known at intake, the decision, and
    the boot tests up to the day, since work on it goes on. Neither the order of rows nor of columns matters.

    Parameters
    ----------
    log : Log
        A log without faults.
    until : Timestamp
        Last day of the seal.
    salt : bytes
        Secret.

    Returns
    -------
    dict
        Table to key of the row to hash.
    """
    reach = _reach(log, until)
    jobs = log.tables["jobs"]
    settled = set(jobs.loc[reach.settled, "job_id"])
    out: dict[str, dict[str, str]] = {}
    for table in TABLES:
        frame, key = log.tables[table.name], table.key[0]
        if table.name == "jobs":
            mask = reach.settled
        elif table.name == "boot_tests":
            mask = reach.tests
        elif "job_id" in table.names:
            mask = frame["job_id"].isin(settled)
        else:
            mask = frame[key].isin(_named(log, reach, key))
        out[table.name] = _hashed(frame[mask.to_numpy(bool)], table.name, table.names, salt)
    out["jobs"] |= _hashed(jobs[reach.unsettled.to_numpy(bool)], "jobs", INTAKE_ONLY, salt)
    return out


def root_hash(rows: RowHashes) -> str:
    """One SHA-256 for all row hashes; their order does not matter."""
    return sha256_hex("\n".join(sorted(value for of_table in rows.values() for value in of_table.values())))


def salted_id(salt: bytes, job_id: str) -> str:
    """A name for a job that leads back to it only with the salt (64 of the hash's 256 bits)."""
    return salted_hex(salt, json.dumps(["id", job_id], ensure_ascii=False))[:16]


@dataclass(frozen=True)
class RowChanges:
    """What became of sealed rows.

    Parameters
    ----------
    added, changed, removed : tuple of (str, str)
        File and key of each row, in file order.
    """

    added: tuple[tuple[str, str], ...]
    changed: tuple[tuple[str, str], ...]
    removed: tuple[tuple[str, str], ...]

    @property
    def any(self) -> bool:
        """Whether anything differs."""
        return bool(self.added or self.changed or self.removed)


def compare_rows(sealed: RowHashes, now: RowHashes) -> RowChanges:
    """Rows added, changed and removed since a seal."""
    added, changed, removed = [], [], []
    for table in TABLES:
        before, after = sealed.get(table.name, {}), now.get(table.name, {})
        added += [(table.file, key) for key in after if key not in before]
        changed += [(table.file, key) for key in after if key in before and before[key] != after[key]]
        removed += [(table.file, key) for key in before if key not in after]
    return RowChanges(tuple(added), tuple(changed), tuple(removed))
