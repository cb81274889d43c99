"""The same entry by flags, for scripts: no questions, the same rules."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.records.entering.cells import AnswerError, find_cell
from analysis.records.entering.day import NEXT
from analysis.records.entering.desk import Desk, Row, numbered
from analysis.records.entering.entry import Entry
from analysis.records.entering.work import change, preset_rows


def entry_of(desk: Desk, job: str, settings: Sequence[str], presets: Sequence[str]) -> Entry:
    """Make an entry.

    Parameters
    ----------
    desk : Desk
        What the log knows.
    job : str
        A code that is there (its row is continued) or not (it is added); ``next`` for the next free one.
    settings : sequence of str
        ``table.column=value`` or ``table.row.column=value``; rows are counted within this entry, a preset's first.
    presets : sequence of str
        Names of presets.

    Raises
    ------
    AnswerError
        If a name or a value cannot be taken.
    """
    proposed = job == NEXT
    job = desk.next_job if proposed else job
    new = not desk.has_job(job)
    rows: dict[str, list[Row]] = {}
    for table, row in preset_rows([desk.presets.named(name) for name in presets]):
        rows.setdefault(table, []).append(row)
    cells: Row = {}
    for setting in settings:
        path, equals, text = setting.partition("=")
        if not equals:
            raise AnswerError(f"'{setting}' has no =.", todo="Write --set jobs.intake_damage=liquid", where="--set")
        table, number, column = find_cell(path)
        if column.name == "job_id":
            raise AnswerError(f"'{setting}' names the job.", todo="Name it with --job.", where="--set")
        value = desk.rules.read(column, text)
        if table == "jobs":
            cells[column.name] = value
        else:
            _put(rows.setdefault(table, []), table, number, column.name, value)
    seen = {name: desk.written(job).get(name, "") for name in cells}
    return Entry(job, new, proposed, cells, seen, numbered(desk, job, rows))


def _put(rows: list[Row], table: str, number: int, name: str, value: str) -> None:
    if number > len(rows) + 1:
        todo = f"The next row of this entry is {table}.{len(rows) + 1}."
        raise AnswerError(f"{table} has {len(rows)} rows here, so none is number {number}.", todo=todo, where="--set")
    if number == len(rows) + 1:
        rows.append({})
    rows[number - 1] = (
        {**rows[number - 1], name: value} if name == "entry_kind" else change(table, rows[number - 1], name, value)
    )
