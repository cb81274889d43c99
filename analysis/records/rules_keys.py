"""Rules about keys: every row has its own, and what a row points to exists."""

from __future__ import annotations

import string
from collections.abc import Container, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.records.dictionary import TABLES, Table
from analysis.records.problems import Problem, quoted
from analysis.records.rulebook import Book, plain

_CODE_LETTERS = string.ascii_letters + string.digits + "-_./#"
_MOST_HINTED = 200  # unknown codes of a column; with more, the column as a whole is another one's
_FEW = 3  # codes worth naming; with more of them a hint says nothing


def unique_keys(book: Book) -> list[Problem]:
    """Each row's key stands once; the message names the first line that has it."""
    out: list[Problem] = []
    for table in TABLES:
        frame = book.tables[table.name]
        if not len(frame):
            continue
        numbers = book.key_numbers(table.name, table.key)
        if numbers[0] >= 0 and (numbers[1:] > numbers[:-1]).all():
            continue
        ordered = np.sort(numbers[numbers >= 0], kind="stable")  # quick where they nearly lie so
        if (ordered[1:] != ordered[:-1]).all():
            continue
        keys = pd.Series(numbers, index=frame.index)
        complete = keys.ge(0)
        first_line = frame["_line"].where(complete).groupby(keys).transform("first")
        again = complete & frame["_line"].ne(first_line)

        def found(row: pd.Series, table: Table = table, first_line: pd.Series = first_line) -> str:
            name = " ".join(plain(row[part]) for part in table.key if not pd.isna(row[part]))
            return f"{quoted(name)} again; first on line {int(first_line[row.name])}"

        rule = f"each {', '.join(table.key)} once"
        todo = "Give this row a key of its own, or delete it if it was entered twice."
        if len(table.key) == 1:
            todo += (
                " Other faults of this code, or of the code that is missing for it, may follow from it: mend it first."
            )
        reads = tuple(table.key)
        out += book.say(table.name, again, table.key[-1], rule, todo, "duplicate-key", reads=reads, found=found)
    return out


def existing_keys(book: Book) -> list[Problem]:
    """What a key points to exists, where the table it points to is part of the log."""
    out: list[Problem] = []
    for table in TABLES:
        for column in table.columns:
            if not column.references:
                continue
            target, name = column.references.split(".")
            there, written = book.coded[target][name], book.coded[table.name][column.name]
            if target != "jobs" and not there.words.any():
                continue  # a log may do without donors.csv and technicians.csv
            allowed = book.unread_jobs if target == "jobs" else frozenset()
            met = book.met(table.name, column.name, target, name)
            missing = np.flatnonzero((met < 0) & written.words.any(axis=0))
            unknown = [at for at in missing.tolist() if written.values[at] not in allowed]
            if not unknown:
                continue
            rule = f"a {name} that stands in {target}.csv"
            todo = f"Correct the code, or add the row to {target}.csv."
            told = book.say(table.name, np.isin(written.codes, unknown), column.name, rule, todo, "unknown-key")
            hints = _hints([written.values[at] for at in unknown], set(there.values) - {None})
            out += [replace(p, todo=f"{hints[p.found]}{todo}") if p.found in hints else p for p in told]
    return out


def _hints(unknown: Sequence[str], known: Container[str]) -> dict[str, str]:
    """For each unknown code, as found, the known ones that it may be a slip of the finger for, where they are few."""
    out = {}
    for code in unknown[:_MOST_HINTED]:
        near = sorted(other for other in _one_slip_away(code) if other in known)
        if 0 < len(near) <= _FEW:
            out[quoted(code)] = f"Did you mean {' or '.join(near)}? "
    return out


def _one_slip_away(code: str) -> set[str]:
    """Every text with one letter of a code replaced, dropped, added, or swapped with the next."""
    # Made and looked up: a log may hold millions of codes, and comparing with each would take minutes.
    cuts = [(code[:at], code[at:]) for at in range(len(code) + 1)]
    out = {a + b[1:] for a, b in cuts if b} | {a + b[1] + b[0] + b[2:] for a, b in cuts if len(b) > 1}
    for letter in _CODE_LETTERS:
        out |= {a + letter + b[1:] for a, b in cuts if b} | {a + letter + b for a, b in cuts}
    return out - {code}


def earlier_jobs(book: Book) -> list[Problem]:
    """A chain names its earlier job, which came in before; no job is its own predecessor."""
    jobs = book.tables["jobs"]
    here = jobs["prior_rework"].eq("here")
    previous = jobs["previous_job_id"]
    rule = "the earlier job's code where prior_rework is 'here'"
    todo = "Fill in previous_job_id, or write 'unknown' for prior_rework."
    reads = ("prior_rework",)
    out = book.say("jobs", here & previous.isna(), "previous_job_id", rule, todo, "earlier-job-missing", reads=reads)
    rule, todo = "blank unless prior_rework is 'here'", "Write 'here' for prior_rework, or clear the cell."
    out += book.say("jobs", ~here & previous.notna(), "previous_job_id", rule, todo, "earlier-job-unasked", reads=reads)
    named = book.job_rows("jobs", "previous_job_id")
    before = pd.Series(jobs["received_date"].array.take(named, allow_fill=True), index=jobs.index)
    late = before.gt(jobs["received_date"]) | ((named >= 0) & (named == book.job_rows("jobs")))
    rule, todo = "an earlier job, received no later than this one", "Correct previous_job_id or the dates."
    return out + book.say("jobs", here & late, "previous_job_id", rule, todo, "earlier-job-later", reads=reads)


def chains_come_to_an_end(book: Book) -> list[Problem]:
    """No job is, over its earlier jobs, its own predecessor (jobs received on one day can name each other)."""
    jobs = book.tables["jobs"]
    named = jobs[jobs["previous_job_id"].notna() & jobs["job_id"].notna()].drop_duplicates("job_id")
    earlier = dict(zip(named["job_id"], named["previous_job_id"], strict=True))
    ended: set[str] = set()
    circling: set[str] = set()
    for job in earlier:
        path: dict[str, int] = {}
        at = job
        while at in earlier and at not in ended and at not in path:
            path[at] = len(path)
            at = earlier[at]
        if at in path:
            circling |= {name for name, place in path.items() if place >= path[at]}
        ended |= set(path)
    circling -= {job for job in circling if earlier[job] == job}  # told of by the rule above
    rule, todo = "an earlier job; these jobs name each other in a circle", "Clear previous_job_id of the first of them."
    mask = jobs["job_id"].isin(list(circling))
    return book.say("jobs", mask, "previous_job_id", rule, todo, "earlier-job-circle", reads=("job_id",))
