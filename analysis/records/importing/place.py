"""Read sheets to the tables of the log, cell by cell; nothing is lost on the way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from analysis.records.dictionary import BY_NAME, TABLES
from analysis.records.importing.accounting import Accounting, NotPlaced, not_placed
from analysis.records.importing.grid import Cell, HeadedSheet, Row
from analysis.records.importing.mapping import IGNORED, OPEN, PERSONAL, ColumnMap
from analysis.records.importing.propose import Proposal
from analysis.records.importing.reading import Aside, Blank, Taken
from analysis.records.importing.rows import Key, ReadSheet
from analysis.records.problems import quoted

Records = dict[str, dict[Key, dict[str, str]]]


@dataclass(frozen=True)
class _Said:
    """One cell's claim on a place of the log."""

    value: str
    note: str
    headed: HeadedSheet
    row: int
    at: int
    cell: Cell


@dataclass
class Placement:
    """What the sheets give.

    Parameters
    ----------
    records : dict
        Table to key to column to text, in the form of the log.
    aside : list of NotPlaced
        Every cell that is not in ``records``, with the reason.
    jobs_seen : set of str
        Job codes that stand in the sheets, those kept aside included.
    accounting : Accounting
        Where every cell went.
    """

    records: Records
    aside: list[NotPlaced]
    jobs_seen: set[str]
    accounting: Accounting


@dataclass
class _Work:
    """Claims collected so far."""

    said: dict[tuple[str, Key], dict[str, list[_Said]]] = field(default_factory=dict)
    constants: dict[tuple[str, Key], dict[str, str]] = field(default_factory=dict)
    fixed: dict[Key, dict[str, str]] = field(default_factory=dict)
    aside: list[NotPlaced] = field(default_factory=list)
    headings: int = 0
    blank: int = 0
    jobs_seen: set[str] = field(default_factory=set)


def _target(
    read: ReadSheet, column: ColumnMap, key: Key, codes: dict[str, str]
) -> tuple[str, Key, dict[str, str]] | str:
    """Table, key and constants of the place that a cell goes to, or why there is none."""
    table = column.table.name
    before = str(column.before_test or "")
    if read.sheet.row != "jobs" or table == "jobs":
        return table, key, {}
    if table == "boot_tests":
        return table, (*key, str(column.test)), {}
    if table == "chip_sides":
        side = read.sheet.side_of(column)
        if side == OPEN:
            return "which side of the chip is meant is still a question"
        return table, (*key, column.chip, side, before), {}
    if table == "heat_steps":
        constants = {"step_type": column.step, "before_test_no": before}
        return table, (*key, column.chip, str(column.step_no)), constants
    code = codes.get(table, "")
    return (table, (code,), {}) if code else f"the row has no code for its row of {table}"


def _row_codes(read: ReadSheet, row: Row, key: Key) -> dict[str, str]:
    """Donor and technician code of a job's row."""
    out: dict[str, str] = {}
    for at, column in read.columns.items():
        for table, to in (("donors", "jobs.donor_id"), ("technicians", "jobs.technician_id")):
            if column.to == to and at in row and at in read.outcomes:
                outcome = read.outcomes[at][row[at]]
                out |= {table: outcome.text} if isinstance(outcome, Taken) else {}
    if read.sheet.own_donor == "yes" and "donors" not in out:
        out["donors"] = f"D-{key[0]}"
    return out


def _why_not(column: ColumnMap | None) -> str:
    if column is None or column.to == OPEN or column.is_open:
        return "what this column is, is still a question"
    return "client data never enter a log" if column.to == PERSONAL else "the column is ignored"


def _claims(read: ReadSheet, number: int, row: Row, key: Key, work: _Work) -> Iterator[tuple[str, Key, str, _Said]]:
    """Where each cell of a row goes; what goes nowhere is kept aside."""
    codes = _row_codes(read, row, key) if read.sheet.row == "jobs" else {}
    for at, cell in row.items():
        column = read.columns.get(at)
        if column is None or at not in read.outcomes:
            personal = column is not None and column.to == PERSONAL
            work.aside.append(not_placed(read.headed, number, at, cell, _why_not(column), personal))
            continue
        outcome = read.outcomes[at][cell]
        target = _target(read, column, key, codes)
        if isinstance(outcome, Aside) or isinstance(target, str):
            why = outcome.why if isinstance(outcome, Aside) else str(target)
            work.aside.append(not_placed(read.headed, number, at, cell, why))
        elif isinstance(outcome, Blank) or (
            outcome.to == "jobs.first_boot_result" and column.to != outcome.to and target[1][1:] not in ((), ("1",))
        ):
            work.blank += 1  # "not tested" under a later test says that there was none
        else:
            table, place, constants = target
            said = _Said(outcome.text, outcome.note, read.headed, number, at, cell)
            if outcome.to != column.to:
                table, place, constants = "jobs", key[:1], {}
            work.constants.setdefault((table, place), constants)
            yield table, place, outcome.to.split(".")[1], said
    if "donors" in codes and any(c.taken and c.to.startswith("donors.") for c in read.columns.values()):
        work.constants.setdefault(("donors", (codes["donors"],)), {})
        work.said.setdefault(("donors", (codes["donors"],)), {})
        work.fixed.setdefault(key, {}).setdefault("donor_id", codes["donors"])


def _take_sheet(read: ReadSheet, work: _Work) -> None:
    headed = read.headed
    for number, row in headed.sheet.rows.items():
        if number in (headed.heading_row, headed.group_row):
            work.headings += len(row)
            continue
        why = "above the headings" if number < headed.heading_row else read.refused.get(number, "")
        if why:
            for at, cell in row.items():
                column = read.columns.get(at)
                personal = number > headed.heading_row and column is not None and column.to == PERSONAL
                work.aside.append(not_placed(headed, number, at, cell, why, personal))
            continue
        key = read.keys[number]
        for table, place, name, said in _claims(read, number, row, key, work):
            work.said.setdefault((table, place), {}).setdefault(name, []).append(said)
        if read.sheet.row == "jobs":
            fixed = {name.split(".")[1]: said for name, said in read.sheet.fixed.items() if said != OPEN}
            work.fixed.setdefault(key, {}).update({k: v for k, v in fixed.items() if k not in work.fixed.get(key, {})})


def _leave_sheet(proposal: Proposal, work: _Work) -> None:
    """Keep a whole sheet aside."""
    ignored = proposal.sheet.row == IGNORED
    why = "the sheet is ignored" if ignored else "what the rows of this sheet are is still a question"
    for number, row in proposal.headed.sheet.rows.items():
        work.aside += [not_placed(proposal.headed, number, at, cell, why) for at, cell in row.items()]


def _agreed(claims: list[_Said], work: _Work, notes: Counter[str]) -> tuple[str | None, int, int]:
    """The one value that all cells give, and how many were placed as written or converted; else all are kept aside."""
    if len({said.value for said in claims}) > 1:
        listed = " and ".join(f"{quoted(s.value, 30)} ({s.headed.sheet.name}, row {s.row})" for s in claims[:2])
        for s in claims:
            work.aside.append(
                not_placed(s.headed, s.row, s.at, s.cell, f"cells disagree: {listed}; either could be meant")
            )
        return None, 0, 0
    notes.update(said.note for said in claims if said.note)
    converted = sum(bool(said.note) for said in claims)
    return claims[0].value, len(claims) - converted, converted


def _job_codes_refused(read: ReadSheet) -> set[str]:
    """Codes of jobs whose rows are kept aside: they are still in the sheet."""
    at = next((at for at, column in read.columns.items() if column.to == f"{read.sheet.row}.job_id"), None)
    if at is None:
        return set()
    rows = [read.headed.data[number] for number in read.refused if number in read.headed.data]
    found = [read.outcomes[at][row[at]] for row in rows if at in read.outcomes and at in row]
    return {outcome.text for outcome in found if isinstance(outcome, Taken)}


def place(reads: Sequence[ReadSheet], left: Sequence[Proposal]) -> Placement:
    """Put every cell into the log's tables or aside.

    Parameters
    ----------
    reads : sequence of ReadSheet
        Sheets whose rows are known.
    left : sequence of Proposal
        Sheets kept aside whole.

    Raises
    ------
    AssertionError
        If a cell got lost.
    """
    work, notes = _Work(), Counter[str]()
    for read in reads:
        _take_sheet(read, work)
        work.jobs_seen |= _job_codes_refused(read)
    for proposal in left:
        _leave_sheet(proposal, work)
    records: Records = {table.name: {} for table in TABLES}
    placed = converted = 0
    for (table, key), columns in work.said.items():
        record = dict(zip(BY_NAME[table].key, key, strict=True))
        for name, claims in columns.items():
            value, plain, changed = _agreed(claims, work, notes)
            placed, converted = placed + plain, converted + changed
            if value is not None:
                record[name] = value
        own = set(record) - set(BY_NAME[table].key)
        if own or table in ("jobs", "donors", "technicians"):
            records[table][key] = record | {k: v for k, v in work.constants[table, key].items() if v}
    for key, fixed in work.fixed.items():
        if key in records["jobs"]:
            records["jobs"][key] = fixed | records["jobs"][key]
    work.jobs_seen |= {key[0] for key in records["jobs"]}
    cells_in = sum(r.headed.sheet.cells_n for r in reads) + sum(p.headed.sheet.cells_n for p in left)
    accounting = Accounting(cells_in, work.headings, placed, converted, work.blank, len(work.aside), notes)
    return Placement(records, work.aside, work.jobs_seen, accounting)
