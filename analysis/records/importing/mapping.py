"""What a mapping says: which column of the log each heading is, and how its cells are to be read.

A question is a "?" in the place of its answer; as long as it stands there, what it is about is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.records.dictionary import BY_NAME, CHIP_SIDES, HEAT_STEPS, TABLES, Column, Kind, Table

OPEN = "?"
IGNORED = "ignored"
PERSONAL = "personal"
NOT_TAKEN = (IGNORED, PERSONAL)
SWAPPED = "swapped"  # the spreadsheet took day-first dates for month-first ones
SURE, ASKED = "sure", "asked"
DATE_ORDERS = ("day_first", "month_first", SWAPPED)
DECIMALS = ("point", "comma")
CHIPS = CHIP_SIDES["chip_role"].codes
SIDES = CHIP_SIDES["side"].codes
STEPS = HEAT_STEPS["step_type"].codes
ROWS = tuple(table.name for table in TABLES)


@dataclass(frozen=True)
class ColumnMap:
    """What one heading stands for; the fields are the keys of a ``[[sheet.column]]`` in the mapping file.

    Parameters
    ----------
    heading : str
        As it stands in the sheet.
    to : str
        "table.column", "ignored", "personal" or "?".
    chip, side, step : str
        For a heading such as "CPU lower pads lost" or "NAND install temp"; blank elsewhere.
    test, step_no, before_test : int
        Boot test number, running number of the heat step, the test the work came before; 0 is none. With
        "jobs.failure_cause", ``test`` says that the cause is the one of that boot test.
    unit : str
        Unit of the numbers in the sheet; blank is the dictionary's own.
    dates : str
        "day_first" or "month_first", where the column holds dates that could be either.
    decimal : str
        "point" or "comma", where the column holds numbers that could be either.
    tidy : bool
        Spaces in codes become hyphens, and "#" in front goes.
    values : mapping of str to str
        Text in the sheet to code, "blank" or "?"; a text that settles several columns to a code and
        "jobs.column=code", parted by commas.
    """

    heading: str
    to: str
    chip: str = ""
    side: str = ""
    step: str = ""
    test: int | str = 0
    step_no: int = 0
    before_test: int = 0
    unit: str = ""
    dates: str = ""
    decimal: str = ""
    tidy: bool = False
    values: Mapping[str, str] = field(default_factory=dict)

    @property
    def taken(self) -> bool:
        """Whether a column of the log is named."""
        return self.to not in (*NOT_TAKEN, OPEN)

    @property
    def table(self) -> Table:
        """The table that is named."""
        return BY_NAME[self.to.split(".")[0]]

    @property
    def column(self) -> Column:
        """The column that is named."""
        return self.table[self.to.split(".")[1]]

    @property
    def is_open(self) -> bool:
        """Whether it is not known where the cells go."""
        return self.to not in NOT_TAKEN and OPEN in (self.to, self.chip, self.side, self.step, self.test)

    @property
    def address(self) -> tuple[str, str, str, str, int, str, int]:
        """Where the cells go; two columns of a sheet cannot go to one place."""
        test = str(self.test or "")
        return (self.to, self.chip, self.side, self.step, self.step_no, test, self.before_test)

    @property
    def coded(self) -> bool:
        """Whether the texts of the column stand for codes."""
        return self.column.kind in (Kind.CHOICE, Kind.YES_NO)


@dataclass(frozen=True)
class SheetMap:
    """What one sheet holds; the keys of a ``[[sheet]]``.

    Parameters
    ----------
    name : str
        Name of the sheet; of a CSV file, its name without the ending.
    row : str
        Table whose rows are the rows of the sheet, "ignored" or "?". With "jobs", a row may also hold the job's
        boot tests, chip sides, heat steps and donor, side by side.
    processor_side : str
        Side meant where a heading names the processor and no side.
    own_donor : str
        "yes": every job that was taken and has no donor code has a donor of its own, called D- and the job's code.
    work_before_test_1 : str
        "yes": work whose column names no boot test was done before the first; "no": it cannot be dated.
    fixed : mapping of str to str
        "jobs.column" to the value that holds for every row without one of its own.
    columns : tuple of ColumnMap
        One for each heading.
    """

    name: str
    row: str
    processor_side: str = ""
    own_donor: str = ""
    work_before_test_1: str = ""
    fixed: Mapping[str, str] = field(default_factory=dict)
    columns: tuple[ColumnMap, ...] = ()

    def by_heading(self) -> dict[str, ColumnMap]:
        """Columns by heading."""
        return {column.heading: column for column in self.columns}

    def before_test(self, column: ColumnMap | None = None) -> str:
        """The boot test that the work of a column came before; blank is undated, "?" still asked."""
        if column and column.before_test:
            return str(column.before_test)
        return {"yes": "1", OPEN: OPEN}.get(self.work_before_test_1, "")

    def side_of(self, column: ColumnMap) -> str:
        """Side that a column's cells are about; "?" while it is asked."""
        if column.side or not column.chip:
            return column.side
        return self.processor_side or OPEN if column.chip == "processor" else "lower"


def parts_of(said: str) -> list[tuple[str, str]]:
    """What a value of the mapping says: ("", code) for its own column, ("jobs.column", code) for another."""
    if "=" not in said:
        return [("", said)]
    parts = [part.strip().rpartition("=") for part in said.split(",")]
    return [(to.strip(), code.strip()) for to, _, code in parts]


def column_named(name: str) -> Column | None:
    """The dictionary's column "table.column"; None when there is none."""
    table, _, column = name.partition(".")
    return BY_NAME[table].by_name.get(column) if table in BY_NAME else None
