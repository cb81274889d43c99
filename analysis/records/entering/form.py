"""An entry made of the fields of a form: texts by place in, an entry and what is wrong at which place out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from analysis.records.dictionary import BY_NAME, Column
from analysis.records.entering.cells import AnswerError
from analysis.records.entering.desk import Desk, Row, numbered
from analysis.records.entering.entry import Entry
from analysis.records.entering.storing import tried
from analysis.records.entering.work import with_source
from analysis.records.problems import Problem

# Which columns of a row are fields; the others are filled in by what is known already.
_FILLED_IN = ("job_id", "step_no", "test_no", "entry_kind")
Place = tuple[str, int, str]  # table, row of the form counted from 0, column; the row of jobs.csv is number 0


def fields_of(table: str) -> tuple[Column, ...]:
    """Columns that a form shows of a row."""
    return tuple(column for column in BY_NAME[table].columns if column.name not in _FILLED_IN)


@dataclass(frozen=True)
class Filled:
    """A form as it was filled in.

    Parameters
    ----------
    entry : Entry
        Without what cannot be read.
    rows : mapping of str to tuple of int
        Table to the rows of the form that its rows in the entry come from; a row without any text is left out.
    faults : mapping of Place to str
        What cannot be read, and why.
    """

    entry: Entry
    rows: Mapping[str, tuple[int, ...]]
    faults: Mapping[Place, str]


def fill(desk: Desk, job: str, cells: Row, rows: Mapping[str, Sequence[Row]]) -> Filled:
    """Read the fields of a form as the terminal reads its answers.

    Parameters
    ----------
    desk : Desk
        What the log knows.
    job : str
        The job's code.
    cells : dict of str to str
        Fields of the job's row.
    rows : mapping of str to sequence of dict
        Fields of the rows of the other tables; of donors.csv one row without a code, about the job's donor if new.
    """
    faults: dict[Place, str] = {}

    def read(table: str, number: int, texts: Row) -> Row:
        out = {}
        for name, text in texts.items():
            try:
                out[name] = desk.rules.read(BY_NAME[table][name], text)
            except AnswerError as error:
                faults[(table, number, name)] = f"{error.found} {error.todo}".strip()
        return {name: text for name, text in out.items() if text}

    new = not desk.has_job(job)
    code = read("jobs", 0, {"job_id": job}) if new else {"job_id": job}
    if not code and not faults:
        faults[("jobs", 0, "job_id")] = "A job needs a code."
    done = read("jobs", 0, cells)
    given = {table: [read(table, n, row) for n, row in enumerate(some)] for table, some in rows.items()}
    details = next(iter(given.pop("donors", [])), {})
    lists = _listed(desk, {**desk.known(job), **done} if not new else done, given.get("boot_tests", []), details)
    if details and not any({*details} <= {*row} for row in lists["donors"]):
        faults[("donors", 0, next(iter(details)))] = (
            "Only for a donor that is not in donors.csv yet; else write it there."
        )
    given |= lists
    kept = {table: tuple(n for n, row in enumerate(some) if _says(row)) for table, some in given.items()}
    whole = {table: [_complete(table, given[table][n]) for n in numbers] for table, numbers in kept.items()}
    seen = {name: desk.written(job).get(name, "") for name in done}
    entry = Entry(job.strip(), new, new and job == desk.next_job, done, seen, numbered(desk, job, whole))
    return Filled(entry, kept, faults)


def _says(row: Row) -> bool:
    """Whether anything but a number that the form filled in stands in a row."""
    return bool({*row} - {"before_test_no", "entry_kind"})


def _listed(desk: Desk, cells: Row, tests: Sequence[Row], details: Row) -> dict[str, list[Row]]:
    """Rows for the donors and the technician whom the shop's own lists do not have yet."""
    first = cells.get("donor_id", "")
    codes = {
        "donors": [first, *(row.get("donor_id", "") for row in tests)],
        "technicians": [cells.get("technician_id", "")],
    }
    out: dict[str, list[Row]] = {}
    for table, named in codes.items():
        key = BY_NAME[table].key[0]
        there = ["", *desk.codes(table, key)]
        new = [code for code in dict.fromkeys(named) if code not in there] if desk.lists(table) else []
        out[table] = [{key: code, **(details if table == "donors" and code == first else {})} for code in new]
    return out


def _complete(table: str, row: Row) -> Row:
    return with_source(row) if table == "chip_sides" and {"chip_role", "side"} <= {*row} else row


def tell(desk: Desk, filled: Filled) -> tuple[dict[Place, str], list[Problem]]:
    """What 'rework check' would say of the entry: by place, and what has none of its own.

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    return by_place(desk, filled, tried(desk.folder, filled.entry, desk.rules.today))


def by_place(desk: Desk, filled: Filled, problems: Iterable[Problem]) -> tuple[dict[Place, str], list[Problem]]:
    """Put each problem beside the field it is about."""
    said: dict[Place, str] = {}
    others: list[Problem] = []
    for problem in problems:
        table = problem.file.removesuffix(".csv")
        at = 0 if table == "jobs" else problem.line - desk.first_new_line(table)
        numbers = (0,) if table == "jobs" else filled.rows.get(table, ())
        shown = {"job_id", *(column.name for column in fields_of(table))} if table in BY_NAME else set()
        if problem.job in ("", filled.entry.job) and 0 <= at < len(numbers) and problem.column in shown:
            place = (table, numbers[at], problem.column)
            text = f"{problem.severity}: found {problem.found}; rule: {problem.rule}. {problem.todo}"
            said[place] = f"{said[place]} {text}" if place in said else text
        else:
            others.append(problem)
    return said, others
