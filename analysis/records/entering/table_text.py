"""A file of the log as text that can grow: its encoding, delimiter, line ends and extra columns stay as they are."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from analysis.errors import LogError
from analysis.records.delimited import choose_delimiter, declared_in, decode, split_records
from analysis.records.dictionary import Kind, Required, Table
from analysis.records.headings import match_headings, normal
from analysis.records.problems import Problem

_CODECS = (
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (b"", "utf-8"),
    (b"", "cp1252"),
)
_COMMA_DECIMALS = re.compile(r"[+-]?[0-9]+,[0-9]+")
_POINT_DECIMALS = re.compile(r"[+-]?[0-9]+\.[0-9]+")


@dataclass(frozen=True)
class Line:
    """One record of the file: its cells, and the physical lines from ``start`` up to, not including, ``end``."""

    cells: list[str]
    start: int
    end: int

    @property
    def blank(self) -> bool:
        """Whether nothing stands there."""
        return not any(cell.strip() for cell in self.cells)


@dataclass(frozen=True)
class TableText:
    """A file of the log.

    Parameters
    ----------
    table : Table
        What the file holds.
    text : str
        Its whole text, line ends as they are.
    mark : bytes
        Byte-order mark, or empty.
    codec : str
        Encoding without mark.
    delimiter : str
        Comma, semicolon or tab.
    """

    table: Table
    text: str
    mark: bytes = b""
    codec: str = "utf-8"
    delimiter: str = ","

    @classmethod
    def read(cls, data: bytes, table: Table) -> TableText:
        """Take a file's bytes.

        Raises
        ------
        LogError
            If the file could not be read to its end by ``rework check`` either.
        """
        decoded = decode(data, table)
        if isinstance(decoded, Problem):
            raise _unfit(decoded)
        text, _ = decoded
        mark, codec = next((m, c) for m, c in _CODECS if _written(text, m, c) == data)
        heading = next((line for line in io.StringIO(text, newline="") if _may_be_heading(line)), "")
        delimiter = choose_delimiter(heading, table)
        if not declared_in(heading, delimiter, table):
            todo = "Take the headings from a folder made by 'rework blank-log'."
            raise LogError("no line with the headings of this table.", todo=todo, where=table.file)
        out = cls(table, text, mark, codec, delimiter)
        for name in table.key:
            out.require(name)
        return out

    @classmethod
    def with_headings(cls, table: Table, like: TableText) -> TableText:
        """Start a file that is not there yet, written as another one of the log."""
        text = like.delimiter.join(table.names) + like.line_end
        return cls(table, text, like.mark, like.codec, like.delimiter)

    def to_bytes(self) -> bytes:
        """The file as it is stored; for an unchanged text exactly the bytes that were read."""
        return _written(self.text, self.mark, self.codec)

    @cached_property
    def _all_lines(self) -> list[Line]:
        first = next(n for n, line in enumerate(io.StringIO(self.text, newline=""), start=1) if _may_be_heading(line))
        records, starts, faults = split_records(self.text, self.delimiter, first, self.table)
        if faults:
            raise _unfit(faults[0])
        ends = [*(start - 1 for start in starts[1:]), len(self._physical)]
        return [Line(cells, start - 1, end) for cells, start, end in zip(records, starts, ends, strict=True)]

    @cached_property
    def _physical(self) -> list[str]:
        return list(io.StringIO(self.text, newline=""))

    @cached_property
    def headings(self) -> dict[str, int]:
        """Declared column to position; a heading that stands twice is left out."""
        heading = self._all_lines[0]
        return match_headings(heading.cells, self.table, heading.start + 1)[0]

    @property
    def lines_n(self) -> int:
        """Lines of the file."""
        return len(self._physical)

    @property
    def width(self) -> int:
        """Cells of the heading."""
        return len(self._all_lines[0].cells)

    @property
    def line_end(self) -> str:
        """How the heading's line ends."""
        heading = self._physical[self._all_lines[0].end - 1]
        return heading[len(heading.rstrip("\r\n")) :] or "\n"

    @property
    def rows(self) -> list[Line]:
        """Every row with as many cells as the heading."""
        return [line for line in self._all_lines[1:] if not line.blank and len(line.cells) == self.width]

    def texts(self, row: Line) -> dict[str, str]:
        """What stands in the declared columns of a row, without outer spaces."""
        return {name: row.cells[at].strip() for name, at in self.headings.items()}

    def require(self, name: str) -> None:
        """Refuse a column that is not there just once.

        Raises
        ------
        LogError
            If the heading is missing or stands twice.
        """
        if name not in self.headings:
            twice = name in map(normal, self._all_lines[0].cells)
            found = f"the heading {name} stands twice." if twice else f"no column {name}."
            todo = "Rename the one that is not meant." if twice else f"Add the column; see 'rework column {name}'."
            raise LogError(found, rule="each needed heading once", todo=todo, where=self.table.file)

    @cached_property
    def _decimal_comma(self) -> bool:
        """Whether decimals are written with a comma here: as seen, else as files with semicolons usually are."""
        if self.delimiter == ",":
            return False
        at = [self.headings[c.name] for c in self.table.columns if c.kind is Kind.NUMBER and c.name in self.headings]
        seen = {row.cells[i].strip() for row in self.rows for i in at}
        if any(_COMMA_DECIMALS.fullmatch(text) for text in seen):
            return True
        return self.delimiter == ";" and not any(_POINT_DECIMALS.fullmatch(text) for text in seen)

    def _in_this_file(self, name: str, text: str) -> str:
        """A plain value as this file writes it. Three decimals get a fourth: "2,125" could be two thousand."""
        if self.table[name].kind is not Kind.NUMBER or "." not in text or self.delimiter == ",":
            return text
        longer = f"{text}0" if len(text.partition(".")[2]) == 3 else text
        return longer.replace(".", ",") if self._decimal_comma else longer

    def with_columns(self, names: Sequence[str]) -> TableText:
        """Add optional columns that the file does not have, after its last; every other row gets a blank cell."""
        out = self
        for name in names:
            if name not in out.headings:
                out = out._with_column(name)
        return out

    def _with_column(self, name: str) -> TableText:
        if normal(name) in map(normal, self._all_lines[0].cells) or self.table[name].required is Required.ALWAYS:
            self.require(name)
        physical = list(self._physical)
        for n, line in enumerate(self._all_lines):
            if not line.blank:  # a row with too few or too many cells keeps that fault, or it would be hidden
                body = physical[line.end - 1].rstrip("\r\n")
                end = physical[line.end - 1][len(body) :]
                physical[line.end - 1] = f"{body}{self.delimiter}{'' if n else name}{end}"
        return replace(self, text="".join(physical))

    def with_rows(self, rows: Sequence[Mapping[str, str]]) -> TableText:
        """Append rows; what stands in the file is left as it is."""
        grown = self.with_columns([name for row in rows for name, text in row.items() if text])
        out = io.StringIO(newline="")
        writer = csv.writer(out, delimiter=grown.delimiter, lineterminator=grown.line_end)
        for row in rows:
            cells = [""] * grown.width
            for name, text in row.items():
                if text:
                    cells[grown.headings[name]] = grown._in_this_file(name, text)
            writer.writerow(cells)
        gap = "" if grown.text.endswith(("\n", "\r")) else grown.line_end
        return replace(grown, text=grown.text + gap + out.getvalue())

    def row_of(self, name: str, text: str) -> Line | None:
        """The one row that holds this key.

        Raises
        ------
        LogError
            If several rows hold it.
        """
        at = self.headings[name]
        found = [row for row in self.rows if row.cells[at].strip() == text]
        if len(found) > 1:
            lines = ", ".join(str(row.start + 1) for row in found)
            todo = "Mend this first; 'rework check' shows the rows."
            raise LogError(
                f"{name} {text} stands on lines {lines}.", rule="each once", todo=todo, where=self.table.file
            )
        return found[0] if found else None

    def with_cells(self, key: str, key_text: str, cells: Mapping[str, str]) -> TableText:
        """Fill in cells of one row; its other cells keep their spelling, all other rows their bytes."""
        grown = self.with_columns(list(cells))
        row = grown.row_of(key, key_text)
        if row is None:
            raise LogError(f"no row with {key} {key_text}.", where=self.table.file)
        whole = "".join(grown._physical[row.start : row.end])
        body = whole.rstrip("\r\n")
        raw = _raw_cells(body, grown.delimiter)
        for name, text in cells.items():  # plain values hold neither delimiters nor quotation marks
            raw[grown.headings[name]] = grown._in_this_file(name, text)
        line = grown.delimiter.join(raw) + whole[len(body) :]
        return replace(grown, text="".join([*grown._physical[: row.start], line, *grown._physical[row.end :]]))


def _may_be_heading(line: str) -> bool:
    return bool(line.strip()) and line.strip().lower() not in ("sep=,", "sep=;", "sep=")


def _written(text: str, mark: bytes, codec: str) -> bytes:
    try:
        return mark + text.encode(codec)
    except UnicodeEncodeError:
        return b""


def _unfit(problem: Problem) -> LogError:
    where = f"{problem.file}:{problem.line}" if problem.line else problem.file
    return LogError(f"{problem.found}.", rule=problem.rule, todo=problem.todo, where=where)


def _raw_cells(body: str, delimiter: str) -> list[str]:
    """The cells of one record as they are written, quotation marks and all."""
    cell = re.compile(rf'("(?:[^"]|"")*"|[^{delimiter}]*)({delimiter}|\Z)')
    out, at = [], 0
    while True:
        met = cell.match(body, at)
        assert met is not None  # the csv module has split this record already
        out.append(met[1])
        if not met[2]:
            return out
        at = met.end()
