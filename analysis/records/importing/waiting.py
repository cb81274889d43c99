"""What a sheet holds and the log cannot take yet: until it is settled, nothing is taken out of the log for it."""

from __future__ import annotations

from dataclasses import dataclass, field

from analysis.records.dictionary import BY_NAME
from analysis.records.importing.mapping import ColumnMap
from analysis.records.importing.rows import Key

ANY = ""  # every row, every table or every column


@dataclass
class Waiting:
    """Places of the log that cells kept aside may be meant for, by the first part of their rows' keys.

    Parameters
    ----------
    spots : set of tuple of str
        Job, donor or technician; table; column. ``ANY`` stands for every one; a cell of which it is not known where it
        goes waits for ``ANY`` table.
    reached : set of tuple of str
        "table.column" that other columns of the sheets are said to be, with chip or test, and side or step number:
        a cell of unknown meaning is not meant for those.
    """

    spots: set[tuple[str, str, str]] = field(default_factory=set)
    reached: set[tuple[str, str, str]] = field(default_factory=set)

    def add(self, code: str, table: str = ANY, column: str = ANY) -> None:
        """Note a place that a cell waits for."""
        self.spots.add((code, table, column))

    def reach(self, column: ColumnMap) -> None:
        """Note where a column of known meaning goes."""
        if column.taken and not column.is_open:
            first, second = column.chip or str(column.test or ANY), column.side or str(column.step_no or ANY)
            self.reached.add((column.to, first, second))

    def for_cell(self, table: str, key: Key, column: str) -> bool:
        """Whether cells of the sheet for this very place could not be taken."""
        places = ((table, column), (table, ANY))
        return any((code, *place) in self.spots for code in (key[0], ANY) for place in places)

    def may_be(self, table: str, key: Key, column: str) -> bool:
        """Whether cells of the sheet could not be taken that may be meant for this place."""
        if self.for_cell(table, key, column):
            return True
        unknown = any((code, ANY, ANY) in self.spots for code in (key[0], ANY))
        first, second, *_ = (*key[1:], ANY, ANY)
        known = ((ANY, ANY), (first, ANY), (first, second))
        return unknown and not any((f"{table}.{column}", *way) in self.reached for way in known)

    def may_be_row(self, table: str, key: Key, row: dict[str, str]) -> bool:
        """Whether this row, which the sheet no longer gives, may be one that waits."""
        names = [name for name in row if name not in BY_NAME[table].key]
        return any(self.may_be(table, key, name) for name in names or [ANY])

    @property
    def any_job(self) -> bool:
        """Whether it is not even known of which jobs some rows are."""
        return any((ANY, table, ANY) in self.spots for table in ("jobs", ANY))
