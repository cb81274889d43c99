"""What one person wants to write down about one job, and how it changes the files of the log."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from analysis.errors import LogError
from analysis.records.dictionary import BY_NAME, JOBS
from analysis.records.entering.table_text import TableText

Rows = Mapping[str, tuple[Mapping[str, str], ...]]

# The order of writing: whatever a row points to is there before it.
ORDER = ("donors", "technicians", "jobs", "chip_sides", "heat_steps", "boot_tests")


@dataclass(frozen=True)
class Entry:
    """One entry.

    Parameters
    ----------
    job : str
        The job's code.
    new : bool
        Whether its row is to be added to jobs.csv; otherwise the row is there and is continued.
    proposed : bool
        Whether a new job's code was only proposed, so that the next free one may stand for it.
    cells : mapping of str to str
        Cells of the job's row.
    seen : mapping of str to str
        What stood in these cells when they were asked for.
    rows : mapping of str to tuple of mapping
        Rows to add to the other tables, without the job's code.
    """

    job: str
    new: bool
    proposed: bool = False
    cells: Mapping[str, str] = field(default_factory=dict)
    seen: Mapping[str, str] = field(default_factory=dict)
    rows: Rows = field(default_factory=dict)

    @property
    def touches(self) -> tuple[str, ...]:
        """Tables that change, in the order of writing."""
        return tuple(name for name in ORDER if self.rows.get(name) or (name == "jobs" and (self.new or self.cells)))

    def as_json(self) -> str:
        """Text from which the entry can be made again; its code counts as chosen, so that it is not entered twice."""
        return json.dumps(asdict(replace(self, proposed=False)), indent=1, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str, where: str) -> Entry:
        """Make an entry from a saved one.

        Raises
        ------
        LogError
            If it is not one.
        """
        todo = "Use a file that 'rework enter' has saved."
        try:
            given = json.loads(text)
            entry = cls(**given)
            rows = {name: tuple(_texts(row, name) for row in rows) for name, rows in entry.rows.items()}
            jobs = {"job_id": entry.job}
            cells, seen = _texts({**jobs, **entry.cells}, "jobs"), _texts({**jobs, **entry.seen}, "jobs")
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise LogError(f"not a saved entry ({error}).", todo=todo, where=where) from None
        job = cells.pop("job_id")
        seen.pop("job_id")
        return cls(job, bool(entry.new), False, cells, seen, rows)


def _texts(row: Mapping[str, Any], table: str) -> dict[str, str]:
    for name, text in row.items():
        if name not in BY_NAME[table].by_name or not isinstance(text, str) or re.search(r"[\r\n\"]", text):
            raise ValueError(f"{table}.{name} cannot be used")
    return dict(row)


class CodeTakenError(LogError):
    """A new job's code was given to another job meanwhile."""


def next_code(codes: list[str], otherwise: str) -> str:
    """The next code in the shop's own pattern: that of the last code that holds a number, counted on from the highest.

    Parameters
    ----------
    codes : list of str
        In the order of the file.
    otherwise : str
        First code of a log that has none.
    """
    pattern = re.compile(r"(.*?)([0-9]{1,12})([^0-9]*)")
    met = next((m for code in reversed(codes) if (m := pattern.fullmatch(code))), None)
    if met is None:
        return otherwise
    alike = [m for code in codes if (m := pattern.fullmatch(code)) and (m[1], m[3]) == (met[1], met[3])]
    number = max(int(m[2]) for m in alike) + 1
    return f"{met[1]}{number:0{len(met[2])}d}{met[3]}"


def texts_of(files: Mapping[str, bytes]) -> dict[str, TableText]:
    """Every file of the log as text.

    Raises
    ------
    LogError
        If one of them cannot be read to its end: then nothing can be checked against it.
    """
    return {name: TableText.read(data, BY_NAME[name]) for name, data in files.items()}


def job_codes(jobs: TableText) -> list[str]:
    """All job codes in the order of the file."""
    return [row.cells[jobs.headings["job_id"]].strip() for row in jobs.rows]


def renumbered(entry: Entry, jobs: TableText) -> Entry:
    """Give a proposed code up for the next free one if it was taken meanwhile.

    Raises
    ------
    CodeTakenError
        If the code was chosen, not proposed, and stands in the log already.
    """
    codes = job_codes(jobs)
    if not entry.new or entry.job not in codes:
        return entry
    free = next_code([*codes, entry.job], entry.job)  # in the pattern of this code, whatever was entered last
    if entry.proposed:
        return replace(entry, job=free)
    todo = f"Choose another code with --job; the next free one is {free}."
    raise CodeTakenError(f"job {entry.job} stands in jobs.csv already.", rule="each job_id once", todo=todo)


def applied(entry: Entry, texts: Mapping[str, TableText]) -> dict[str, bytes]:
    """The files that the entry changes, as they would be with it.

    Raises
    ------
    LogError
        If a cell of the job was changed by someone else since it was asked for.
    """
    out: dict[str, TableText] = {}
    for name in entry.touches:
        text = texts.get(name) or TableText.with_headings(BY_NAME[name], texts["jobs"])
        if name == "jobs":
            out[name] = _with_job(entry, text)
            continue
        of_a_job = "job_id" in BY_NAME[name].by_name
        rows = [{"job_id": entry.job, **row} if of_a_job else dict(row) for row in entry.rows[name]]
        out[name] = text.with_rows(rows)
    return {name: text.to_bytes() for name, text in out.items()}


def _with_job(entry: Entry, text: TableText) -> TableText:
    if entry.new:
        return text.with_rows([{"job_id": entry.job, **entry.cells}])
    row = text.row_of("job_id", entry.job)
    if row is None:
        raise LogError(f"no job {entry.job}.", rule="a job that is there", where=JOBS.file)
    now = text.texts(row)
    for name in entry.cells:
        if now.get(name, "") not in (entry.seen.get(name, ""), entry.cells[name]):
            found = f"{name} of job {entry.job} is '{now[name]}' now; someone wrote it since it was asked for."
            raise LogError(found, todo="Start again; it is shown as known then.", where=JOBS.file)
    return text.with_cells("job_id", entry.job, entry.cells)
