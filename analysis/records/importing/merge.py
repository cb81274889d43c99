"""What an import brings to a log that is there already: new rows and cells go in, changes are shown first.

Three states are compared: the log now, what the last import wrote (``import_state.json``), and the sheet. So a cell
that a person edited in the log is never quietly written over, and one that the sheet fills for the first time goes in.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from analysis.errors import LogError
from analysis.records.importing.existing import ExistingTable
from analysis.records.importing.place import Placement, Records
from analysis.records.importing.rows import Key
from analysis.records.importing.waiting import Waiting
from analysis.records.problems import quoted, visible

Apply = bool | frozenset[str]
STATE_FILE = "import_state.json"
_VERSION = 1


@dataclass(frozen=True)
class Change:
    """A cell where log and sheet say different things.

    Parameters
    ----------
    table, job, row, column : str
        Where; ``row`` is the rest of the key.
    before, after : str
        In the log and in the sheet.
    why : str
        Who changed it since the last import.
    made : bool
        Whether it was made.
    """

    table: str
    job: str
    row: str
    column: str
    before: str
    after: str
    why: str
    made: bool

    @property
    def text(self) -> str:
        """One line for the terminal."""
        where = f"{self.table} {visible(self.job)}" + (f" {visible(self.row)}" if self.row else "")
        before = quoted(self.before) if self.before else "blank"
        after = quoted(self.after) if self.after else "blank"
        done = "MADE" if self.made else "CHANGED"
        return f"{done} {where} | {self.column} | before {before} | after {after} | {self.why}"


@dataclass
class Merged:
    """The result.

    Parameters
    ----------
    rows_added, cells_added : int
        What is new.
    changes : list of Change
        Shown; done only when asked for.
    vanished : list of str
        Jobs of the last import that are no longer in the sheet. They stay in the log.
    touched : set of str
        Tables whose file changes.
    state : dict
        What this import wrote, for the next.
    waiting : Counter of str
        "table.column" to cells of the log that were left alone, since what the sheet has for them is not settled.
    """

    rows_added: dict[str, int] = field(default_factory=dict)
    cells_added: int = 0
    changes: list[Change] = field(default_factory=list)
    vanished: list[str] = field(default_factory=list)
    touched: set[str] = field(default_factory=set)
    state: Records = field(default_factory=dict)
    waiting: Counter[str] = field(default_factory=Counter)


def state_text(state: Records) -> str:
    """What was imported, as JSON text."""
    tables = {table: [[list(key), row] for key, row in sorted(rows.items())] for table, rows in state.items()}
    return json.dumps({"version": _VERSION, "tables": tables}, ensure_ascii=False, indent=0) + "\n"


def read_state(text: str, where: str) -> Records:
    """Read what the last import wrote.

    Raises
    ------
    LogError
        If the file was damaged.
    """
    try:
        given = json.loads(text)
        if given["version"] != _VERSION:
            raise ValueError("another version")
        return {
            str(table): {tuple(map(str, key)): {str(k): str(v) for k, v in row.items()} for key, row in rows}
            for table, rows in given["tables"].items()
        }
    except (ValueError, KeyError, TypeError, AttributeError):
        todo = "Delete it: the next import then shows every difference between log and sheet as a change."
        raise LogError("is damaged.", rule="It is written by 'rework import' only.", todo=todo, where=where) from None


def _who(log: str, last: str | None, sheet: str) -> str:
    if last is None:
        return "the log has it from elsewhere"
    if sheet == last:
        return "edited in the log since the last import"
    return "changed in the sheet" if log == last else "changed in the sheet, and edited in the log"


def _cells(
    log: Mapping[str, str], last: Mapping[str, str] | None, sheet: Mapping[str, str], names: tuple[str, ...]
) -> Iterator[tuple[str, str, str | None, str]]:
    """Columns on which the three do not agree."""
    for name in names:
        now, new = log.get(name, ""), sheet.get(name, "")
        old = (last or {}).get(name) or None
        if now != new and (new or old is not None):
            yield name, now, old, new


@dataclass
class _Merger:
    existing: ExistingTable
    last: dict[Key, dict[str, str]]
    apply: Apply
    out: Merged
    waiting: Waiting

    def _applies(self, key: Key) -> bool:
        """Whether changes to this row are made."""
        return self.apply if isinstance(self.apply, bool) else key[0] in self.apply

    def _say(self, key: Key, column: str, before: str, after: str, why: str) -> None:
        table = self.existing.table.name
        rest = " ".join(part for part in key[1:] if part)
        self.out.changes.append(Change(table, key[0], rest, column, before, after, why, self._applies(key)))

    def other_date(self, key: Key) -> Key:
        """The key under which the same work may stand: a blank before_test_no may be a 1 elsewhere; it means that."""
        other = {"": "1", "1": ""}.get(key[-1]) if self.existing.table.key[-1] == "before_test_no" else None
        return key if other is None else (*key[:-1], other)

    def _waits(self, key: Key, column: str, new: str) -> bool:
        """Whether a cell is left alone until what the sheet has for it is settled."""
        table = self.existing.table.name
        waits = self.waiting.for_cell(table, key, column) if new else self.waiting.may_be(table, key, column)
        self.out.waiting[f"{table}.{column}"] += waits
        return waits

    def _in_log(self, key: Key) -> dict[str, str] | None:
        """The log's row."""
        return self.existing.by_key.get(key) or self.existing.by_key.get(self.other_date(key))

    def row(self, key: Key, sheet: dict[str, str]) -> dict[str, str]:
        """Merge one row of the sheet; return what of it stands in the log afterwards."""
        table = self.existing.table
        log = self._in_log(key)
        last = self.last.get(key) or self.last.get(self.other_date(key))
        if log is None:
            if last is not None and not self._applies(key):
                self._say(
                    key, "the whole row", "", "the row of the sheet", "deleted from the log since the last import"
                )
                return last
            self.existing.add(dict(sheet))
            self.out.rows_added[table.name] = self.out.rows_added.get(table.name, 0) + 1
            self.out.touched.add(table.name)
            return {name: text for name, text in sheet.items() if text}
        kept = dict(last or {}) | {name: text for name, text in sheet.items() if log.get(name, "") == text}
        for name, now, old, new in _cells(log, last, sheet, table.names):
            fresh = not now and old is None
            if not fresh and self._waits(key, name, new):
                continue
            if not fresh:
                self._say(key, name, now, new, _who(now, old, new))
            if fresh or self._applies(key):
                log[name] = new
                self.out.touched.add(table.name)
                self.out.cells_added += fresh
                kept[name] = new
        return {name: text for name, text in kept.items() if text}

    def gone(self, key: Key) -> dict[str, str] | None:
        """A row that the sheet no longer gives for a job that it still has; return what stays of it."""
        log, last = self.existing.by_key.get(key), self.last[key]
        if log is None:
            return None
        names = [name for name in self.existing.table.names if name not in self.existing.table.key and log.get(name)]
        if self.waiting.may_be_row(self.existing.table.name, key, last):
            self.out.waiting.update(f"{self.existing.table.name}.{name}" for name in names)
            return last
        for name in names:
            self._say(key, name, log[name], "", "no longer in the sheet")
        if self._applies(key):
            self.existing.remove(key)
            self.out.touched.add(self.existing.table.name)
            return None
        return last


def merge(existing: Mapping[str, ExistingTable], last: Records, sheet: Placement, apply: Apply) -> Merged:
    """Bring the sheet's records into the log's tables, in place.

    Parameters
    ----------
    existing : mapping of str to ExistingTable
        The log; altered.
    last : Records
        What the last import wrote.
    sheet : Placement
        What the sheet gives, and what waits for an answer.
    apply : bool or frozenset of str
        Whether changes are made, too, or the codes whose changes are. A job that vanished from the sheet is never
        taken out.
    """
    out = Merged()
    if not sheet.waiting.any_job:
        out.vanished = sorted(key[0] for key in last.get("jobs", {}) if key[0] not in sheet.jobs_seen)
    placed_jobs = {key[0] for key in sheet.records.get("jobs", {})}
    for name, table in existing.items():
        merger = _Merger(table, last.get(name, {}), apply, out, sheet.waiting)
        state = {key: merger.row(key, row) for key, row in sheet.records.get(name, {}).items()}
        for key, old in merger.last.items():
            if key in state or merger.other_date(key) in state:
                continue
            of_a_job = "job_id" in table.table.names and name != "jobs"
            kept = merger.gone(key) if of_a_job and key[0] in placed_jobs else old
            if kept is not None:
                state[key] = kept
        out.state[name] = state
    return out
