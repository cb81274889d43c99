"""Read sheets to the tables of the log, cell by cell; nothing is lost on the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from analysis.records.dictionary import BY_NAME, TABLES
from analysis.records.importing.accounting import Accounting, NotPlaced, not_placed
from analysis.records.importing.claims import Claims, Said
from analysis.records.importing.grid import Row
from analysis.records.importing.headings_guess import guess_heading
from analysis.records.importing.mapping import IGNORED, OPEN, PERSONAL, ColumnMap
from analysis.records.importing.proposal import Proposal
from analysis.records.importing.reading import Aside, Blank, Taken
from analysis.records.importing.rows import UNDATED, Key, ReadSheet
from analysis.records.importing.waiting import ANY, Waiting

Records = dict[str, dict[Key, dict[str, str]]]
_NAMING = ("jobs.technician_id", "technicians.technician_id")  # columns in which shops write names


@dataclass
class Placement:
    """What the sheets give.

    Parameters
    ----------
    records : dict
        Table to key to column to text, in the form of the log.
    aside : list of NotPlaced
        Every cell that is not in ``records``, or only in part, with the reason.
    jobs_seen : set of str
        Job codes that stand in the sheets, those kept aside included.
    accounting : Accounting
        Where every cell went.
    waiting : Waiting
        What cells kept aside may be meant for.
    """

    records: Records
    aside: list[NotPlaced]
    jobs_seen: set[str]
    accounting: Accounting
    waiting: Waiting


@dataclass
class _Work:
    """Claims collected so far."""

    claims: Claims = field(default_factory=Claims)
    constants: dict[tuple[str, Key], dict[str, str]] = field(default_factory=dict)
    fixed: dict[Key, dict[str, str]] = field(default_factory=dict)
    aside: list[NotPlaced] = field(default_factory=list)
    headings: int = 0
    blank: int = 0
    jobs_seen: set[str] = field(default_factory=set)
    waiting: Waiting = field(default_factory=Waiting)


def _target(
    read: ReadSheet, column: ColumnMap, key: Key, codes: dict[str, str]
) -> tuple[str, Key, dict[str, str]] | str:
    """Table, key and constants of the place that a cell goes to, or why there is none."""
    table = column.table.name
    if read.sheet.row == "heat_steps":
        return table, key, {"before_test_no": read.sheet.before_test(column)}
    if read.sheet.row != "jobs" or table == "jobs":
        return table, key, {}
    if table == "boot_tests":
        return table, (*key, str(column.test)), {}
    if table in ("chip_sides", "heat_steps"):
        return _work_target(read, column, key)
    if code := codes.get(table, ""):
        return table, (code,), {}
    if table == "donors" and read.sheet.own_donor == OPEN:
        return "whether each job has a donor of its own is still a question"
    taken = " and is not known to be accepted" if table == "donors" and read.sheet.own_donor == "yes" else ""
    return f"the row has no code for its row of {table}{taken}"


def _work_target(read: ReadSheet, column: ColumnMap, key: Key) -> tuple[str, Key, dict[str, str]] | str:
    """The same for work at the bench."""
    before = read.sheet.before_test(column)
    if before == OPEN:
        return UNDATED
    if column.table.name == "heat_steps":
        constants = {"step_type": column.step, "before_test_no": before}
        return "heat_steps", (*key, column.chip, str(column.step_no)), constants
    side = read.sheet.side_of(column)
    if side == OPEN:
        return "which side of the chip is meant is still a question"
    return "chip_sides", (*key, column.chip, side, before), {}


def _row_says(read: ReadSheet, row: Row, to: str) -> set[str]:
    """What the cells of a job's row say of a column of jobs; else what holds for every row."""
    outcomes = [read.outcomes[at][cell] for at, cell in row.items() if at in read.outcomes]
    places = [place for outcome in outcomes if isinstance(outcome, Taken) for place in outcome.places]
    fixed = read.sheet.fixed.get(to, OPEN)
    return {text for name, text in places if name == to} or ({fixed} - {OPEN})


def _row_codes(read: ReadSheet, row: Row, key: Key) -> dict[str, str]:
    """Donor and technician code of a job's row."""
    out: dict[str, str] = {}
    for table, to in (("donors", "jobs.donor_id"), ("technicians", "jobs.technician_id")):
        if said := _row_says(read, row, to):
            out[table] = sorted(said)[0]
    taken = _row_says(read, row, "jobs.decision") == {"accepted"}
    if read.sheet.own_donor == "yes" and taken and "donors" not in out:
        out["donors"] = f"D-{key[0]}"
    return out


def _not_the_jobs_cause(read: ReadSheet, column: ColumnMap, row: Row) -> str:
    """Why the cause of a failed boot test is not the job's cause of failure; blank where it is."""
    if column.to != "jobs.failure_cause" or not column.test:
        return ""
    others = [(at, c) for at, c in read.columns.items() if at in row and at in read.outcomes and c is not column]
    if any(c.to == "boot_tests.boot_result" and int(c.test) > int(column.test) for _, c in others):
        return "says why a boot test failed that another one followed: not why the job failed"
    if _row_says(read, row, "jobs.outcome") != {"not_recovered"}:
        return "says why a boot test failed, and the job is not said to have failed"
    elsewhere = {at: cell for at, cell in row.items() if at in dict(others)}
    own = _row_says(read, elsewhere, column.to)
    return "says why a boot test failed; the row says in another cell why the job did" if own else ""


def _why_not(column: ColumnMap | None) -> str:
    if column is None or column.to == OPEN or column.is_open:
        return "what this column is, is still a question"
    return "client data never enter a log" if column.to == PERSONAL else "the column is ignored"


def _of_a_person(column: ColumnMap | None, heading: str) -> bool:
    """Whether the cells of a column may be names of persons; these are not copied to the list of cells kept aside."""
    if column is None or column.to == OPEN:
        guess, _ = guess_heading(heading, "jobs")
        return guess is not None and guess.column.to in (PERSONAL, *_NAMING)
    return column.to in (PERSONAL, *_NAMING)


def _claim(read: ReadSheet, number: int, row: Row, key: Key, work: _Work) -> None:
    """Note where each cell of a row goes; what goes nowhere is kept aside."""
    codes = _row_codes(read, row, key) if read.sheet.row == "jobs" else {}
    for at, cell in row.items():
        column = read.columns.get(at)
        personal = _of_a_person(column, read.headed.headings[at])
        if column is None or at not in read.outcomes:
            work.aside.append(not_placed(read.headed, number, at, cell, _why_not(column), personal))
            _wait_for_unknown(column, key, work.waiting)
            continue
        outcome = read.outcomes[at][cell]
        target = _not_the_jobs_cause(read, column, row) or _target(read, column, key, codes)
        if isinstance(outcome, Aside) or isinstance(target, str):
            why = outcome.why if isinstance(outcome, Aside) else str(target)
            work.aside.append(not_placed(read.headed, number, at, cell, why, personal))
            _wait_for_cell(column, target, key, work.waiting)
        elif isinstance(outcome, Blank) or _no_later_test(column, outcome, target[1]):
            work.blank += 1
        else:
            _claim_places(
                column, outcome, target, Said(outcome.text, outcome.note, read.headed, number, at, cell), work
            )
    if "donors" in codes and any(c.taken and c.to.startswith("donors.") for c in read.columns.values()):
        place = ("donors", (codes["donors"],))
        work.constants.setdefault(place, {})
        work.claims.row(place)
        work.fixed.setdefault(key, {}).setdefault("donor_id", codes["donors"])


def _wait_for_unknown(column: ColumnMap | None, key: Key, waiting: Waiting) -> None:
    """A cell of a column of which it is not known, or not all is known, where it goes."""
    if column is None or column.to == OPEN:
        waiting.add(key[0])
    elif column.is_open:
        waiting.add(key[0], column.table.name)


def _wait_for_cell(
    column: ColumnMap, target: tuple[str, Key, dict[str, str]] | str, key: Key, waiting: Waiting
) -> None:
    """A cell that its place cannot take; a word could also settle other columns of the job."""
    if isinstance(target, str):
        waiting.add(key[0], column.table.name, column.column.name if column.table.name == "jobs" else ANY)
    else:
        waiting.add(target[1][0], target[0], column.column.name)
    if column.coded:
        waiting.add(key[0])


def _no_later_test(column: ColumnMap, outcome: Taken, place: Key) -> bool:
    """Whether a cell says "not tested" under a later boot test: there was none."""
    return outcome.to == "jobs.first_boot_result" and column.to != outcome.to and place[1:] not in ((), ("1",))


def _claim_places(
    column: ColumnMap, outcome: Taken, target: tuple[str, Key, dict[str, str]], said: Said, work: _Work
) -> None:
    """Note every place that one cell claims; other columns than its own are columns of the job."""
    for to, text in outcome.places:
        table, key, constants = target if to == column.to else ("jobs", target[1][:1], {})
        work.constants.setdefault((table, key), constants)
        work.claims.add((table, key), to.split(".")[1], replace(said, value=text))


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
                personal = number > headed.heading_row and _of_a_person(column, headed.headings.get(at, ""))
                work.aside.append(not_placed(headed, number, at, cell, why, personal))
            continue
        key = read.keys[number]
        _claim(read, number, row, key, work)
        if read.sheet.row == "jobs":
            fixed = {name.split(".")[1]: said for name, said in read.sheet.fixed.items() if said != OPEN}
            work.fixed.setdefault(key, {}).update({k: v for k, v in fixed.items() if k not in work.fixed.get(key, {})})
    _wait_for_sheet(read, work.waiting)


def _wait_for_sheet(read: ReadSheet, waiting: Waiting) -> None:
    """Rows kept aside, and what is asked of a sheet as a whole."""
    for column in read.columns.values():
        waiting.reach(column)
    for name in (name for name, said in read.sheet.fixed.items() if said == OPEN):
        waiting.add(ANY, *name.split("."))
    if read.sheet.own_donor == OPEN:
        waiting.add(ANY, "jobs", "donor_id")
    codes = _job_codes_refused(read)
    for code in codes or ({ANY} if read.refused and not read.keys else set()):
        waiting.add(code, read.sheet.row)


def _leave_sheet(proposal: Proposal, work: _Work) -> None:
    """Keep a whole sheet aside."""
    ignored = proposal.sheet.row == IGNORED
    if not ignored:
        work.waiting.add(ANY)
    why = "the sheet is ignored" if ignored else "what the rows of this sheet are is still a question"
    headed = proposal.headed
    personal = {at: _of_a_person(None, heading) for at, heading in headed.headings.items()}
    for number, row in headed.sheet.rows.items():
        below = number > headed.heading_row
        work.aside += [not_placed(headed, number, at, c, why, below and personal[at]) for at, c in row.items()]


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
    work = _Work()
    for read in reads:
        _take_sheet(read, work)
        work.jobs_seen |= _job_codes_refused(read)
    for proposal in left:
        _leave_sheet(proposal, work)
    settled = work.claims.settle()
    work.aside += settled.aside
    records: Records = {table.name: {} for table in TABLES}
    for (table, key), values in settled.values.items():
        record = dict(zip(BY_NAME[table].key, key, strict=True)) | values
        if values or table in ("jobs", "donors", "technicians"):
            records[table][key] = record | {k: v for k, v in work.constants[table, key].items() if v}
    for key, fixed in work.fixed.items():
        if key in records["jobs"]:
            held = {name: said for name, said in fixed.items() if not work.waiting.for_cell("jobs", key, name)}
            records["jobs"][key] = held | records["jobs"][key]
    work.jobs_seen |= {key[0] for key in records["jobs"]}
    cells_in = sum(r.headed.sheet.cells_n for r in reads) + sum(p.headed.sheet.cells_n for p in left)
    counted = (settled.placed, settled.converted, work.blank, len(work.aside))
    accounting = Accounting(cells_in, work.headings, *counted, settled.notes, len(settled.partly))
    return Placement(records, [*work.aside, *settled.partly], work.jobs_seen, accounting, work.waiting)
