"""Kinds of corruption that strike rows, columns or a whole file, and changes of a file that must be harmless.

Left out because no reader could know: a row lost that nothing else refers to (a heat step, a chip side, the last of
several failed boot tests), a file cut off exactly at the end of such a row, an optional column that is not there at
all, two columns of the same kind swapped where each value would do for either.
"""

from __future__ import annotations

import random

from analysis.records.dictionary import BY_NAME, Column, Kind, Required
from tests.hostile.demo_log import Case, demo

NAMES = ("jobs", "chip_sides", "heat_steps", "boot_tests", "donors", "technicians")


def _line_cells(rng: random.Random) -> tuple[str, int, list[str]]:
    """A table, one of its rows, and its lines of text."""
    name = rng.choice(NAMES)
    lines = demo().text(name).splitlines()
    return name, rng.randrange(1, len(lines)), lines


def _with_line(name: str, at: int, lines: list[str], line: str) -> Case:
    text = "\n".join([*lines[:at], line, *lines[at + 1 :]]) + "\n"
    return Case(name, text.encode(), ((f"{name}.csv", at + 1, ""),))


def extra_delimiter(rng: random.Random) -> Case:
    """One comma too many, as by a decimal comma or a comma in a text."""
    name, at, lines = _line_cells(rng)
    spot = rng.randrange(len(lines[at]) + 1)
    return _with_line(name, at, lines, lines[at][:spot] + "," + lines[at][spot:])


def missing_delimiter(rng: random.Random) -> Case:
    """A comma lost, so that two cells run into one."""
    name, at, lines = _line_cells(rng)
    spots = [i for i, letter in enumerate(lines[at]) if letter == ","]
    spot = rng.choice(spots)
    return _with_line(name, at, lines, lines[at][:spot] + lines[at][spot + 1 :])


def bare_decimal_comma(rng: random.Random) -> Case:
    """A decimal comma without quotation marks in a file of commas."""
    table, row, column, text = demo().pick(rng, lambda column: column.kind is Kind.NUMBER)
    case = demo().with_cell(table, row, column.name, f"{int(float(text))},5")
    return Case(table, case.data.replace(b'"', b""), ((f"{table}.csv", row + 2, ""),))


def shifted_left(rng: random.Random) -> Case:
    """A cell deleted and the rest of the row moved up, as a spreadsheet does; the number of cells stays."""
    log = demo()
    while True:
        name = rng.choice(NAMES)
        row = rng.randrange(len(log.rows[name]))
        cells = list(log.rows[name][row])
        at = rng.randrange(len(cells))
        moved = [*cells[:at], *cells[at + 1 :], ""]
        places = _impossible_cells(name, row, moved)
        if places:
            rows = [*log.rows[name][:row], moved, *log.rows[name][row + 1 :]]
            return Case(name, log.text(name, rows).encode(), places)


def _impossible_cells(name: str, row: int, cells: list[str]) -> tuple[tuple[str, int, str], ...]:
    log = demo()
    columns = [BY_NAME[name][head] for head in log.heads[name]]
    return tuple(
        (f"{name}.csv", row + 2, column.name)
        for column, text in zip(columns, cells, strict=True)
        if log.impossible(column, text)
    )


def swapped_columns(rng: random.Random) -> Case:
    """The headings of two columns swapped: every cell that cannot stand there is reported."""
    log = demo()
    while True:
        name = rng.choice(NAMES)
        a, b = rng.sample(range(len(log.heads[name])), 2)
        rows = [list(cells) for cells in log.rows[name]]
        for cells in rows:
            cells[a], cells[b] = cells[b], cells[a]
        places = tuple(place for at, cells in enumerate(rows) for place in _impossible_cells(name, at, cells))
        if places:
            return Case(name, log.text(name, rows).encode(), places)


def _pointing_at(table: str, key: str) -> tuple[tuple[str, int, str], ...]:
    """Cells of the whole log that refer to a key."""
    log = demo()
    owner = f"{table}.{BY_NAME[table].key[0]}"
    pointers: list[tuple[str, Column]] = [(t, c) for t in NAMES for c in BY_NAME[t].columns if c.references == owner]
    return tuple(
        (f"{t}.csv", at + 2, column.name)
        for t, column in pointers
        for at, text in enumerate(log.column(t, column.name))
        if text == key
    )


def dropped_row(rng: random.Random) -> Case:
    """A job, donor or technician lost that other rows refer to: each of those is reported."""
    log = demo()
    while True:
        name = rng.choice(["jobs", "donors", "technicians"])
        row = rng.randrange(len(log.rows[name]))
        rows = log.rows[name][:row] + log.rows[name][row + 1 :]
        lost = log.rows[name][row][0]
        # Lines of the very file move up by one behind the row.
        places = tuple(
            (file, line - (file == f"{name}.csv" and line > row + 2), column)
            for file, line, column in _pointing_at(name, lost)
        )
        if places:
            return Case(name, log.text(name, rows).encode(), places)


def dropped_boot_test(rng: random.Random) -> Case:
    """An earlier boot test lost, with later ones left, or the only one of a closed job."""
    log = demo()
    jobs = log.column("boot_tests", "job_id")
    closed = {
        job for job, day in zip(log.column("jobs", "job_id"), log.column("jobs", "closed_date"), strict=True) if day
    }
    while True:
        row = rng.randrange(len(jobs))
        followed = row + 1 < len(jobs) and jobs[row + 1] == jobs[row]
        if followed:
            places = (("boot_tests.csv", row + 2, "test_no"),)
        elif jobs.count(jobs[row]) == 1 and jobs[row] in closed:
            places = (("jobs.csv", log.column("jobs", "job_id").index(jobs[row]) + 2, "first_boot_result"),)
        else:
            continue
        rows = log.rows["boot_tests"][:row] + log.rows["boot_tests"][row + 1 :]
        return Case("boot_tests", log.text("boot_tests", rows).encode(), places)


def duplicated_row(rng: random.Random) -> Case:
    """A row entered twice, next to the first or anywhere later."""
    log = demo()
    name = rng.choice(NAMES)
    row = rng.randrange(len(log.rows[name]))
    to = rng.choice([row + 1, rng.randrange(row + 1, len(log.rows[name]) + 1)])
    rows = [*log.rows[name][:to], log.rows[name][row], *log.rows[name][to:]]
    return Case(name, log.text(name, rows).encode(), ((f"{name}.csv", to + 2, ""),))


def unbalanced_quote(rng: random.Random) -> Case:
    """A quotation mark before or after a cell that is never closed."""
    name, at, lines = _line_cells(rng)
    cells = lines[at].split(",")
    spot = rng.randrange(len(cells))
    cells[spot] = f'"{cells[spot]}' if rng.random() < 0.7 or not cells[spot] else f'{cells[spot]}"'
    return _with_line(name, at, lines, ",".join(cells))


def rows_swallowed(rng: random.Random) -> Case:
    """A mark opens a cell of one row and another closes the same cell of a later one: the rows between are gone.

    In a column of the dictionary or in a column of notes that the suite does not read.
    """
    log = demo()
    name = rng.choice([n for n in NAMES if len(log.rows[n]) > 3])
    heads, rows = log.heads[name], [list(row) for row in log.rows[name]]
    at = rng.randrange(len(heads) + 1)
    if rng.random() < 0.5:
        heads = [*heads[:at], "notes", *heads[at:]]
        rows = [[*row[:at], "seen", *row[at:]] for row in rows]
    at = min(at, len(heads) - 1)
    first = rng.randrange(len(rows) - 2)
    last = min(first + rng.randrange(1, 4), len(rows) - 1)
    lines = [",".join(cells) for cells in [heads, *rows]]
    opened, closed = rows[first], rows[last]
    lines[first + 1] = ",".join([*opened[:at], f'"{opened[at]}', *opened[at + 1 :]])
    lines[last + 1] = ",".join([*closed[:at], f'{closed[at]}"', *closed[at + 1 :]])
    return Case(name, ("\n".join(lines) + "\n").encode(), ((f"{name}.csv", first + 2, ""),))


def truncated(rng: random.Random) -> Case:
    """A file cut off within a line, or before its line end: reported on the last line that is left."""
    name = rng.choice(NAMES)
    data = demo().text(name).encode()
    stop = rng.randrange(1, len(data))
    while data[stop - 1 : stop] == b"\n":
        stop = rng.randrange(1, len(data))
    left = data[:stop]
    return Case(name, left, ((f"{name}.csv", left.count(b"\n") + 1, ""),))


def _with_heading(name: str, heads: list[str]) -> Case:
    return Case(name, demo().text(name, heads=heads).encode(), ((f"{name}.csv", 1, ""),))


def heading_misspelt(rng: random.Random) -> Case:
    """A letter of a heading wrong."""
    name = rng.choice(NAMES)
    heads = list(demo().heads[name])
    at = rng.randrange(len(heads))
    spot = rng.randrange(len(heads[at]))
    heads[at] = heads[at][:spot] + rng.choice("qzжö") + heads[at][spot + 1 :]
    return _with_heading(name, heads)


def heading_twice(rng: random.Random) -> Case:
    """The heading of one column over another as well."""
    name = rng.choice(NAMES)
    heads = list(demo().heads[name])
    a, b = rng.sample(range(len(heads)), 2)
    heads[a] = heads[b]
    return _with_heading(name, heads)


def heading_missing(rng: random.Random) -> Case:
    """A heading blank, a required column not there, or no heading line at all."""
    log = demo()
    name = rng.choice(NAMES)
    heads = list(log.heads[name])
    way = rng.randrange(3)
    if way == 0:
        heads[rng.randrange(len(heads))] = ""
        return _with_heading(name, heads)
    if way == 1:
        needed = [at for at, head in enumerate(heads) if BY_NAME[name][head].required is Required.ALWAYS]
        gone = rng.choice(needed)
        rows = [[text for at, text in enumerate(cells) if at != gone] for cells in log.rows[name]]
        heads.pop(gone)
        return Case(name, log.text(name, rows, heads).encode(), ((f"{name}.csv", 1, ""),))
    return Case(name, log.text(name).split("\n", 1)[1].encode(), ((f"{name}.csv", 1, ""),))


def broken_utf16(rng: random.Random) -> Case:
    """UTF-16 cut within a character, without its mark, or with a piece of UTF-8 behind it."""
    name = rng.choice(NAMES)
    text = demo().text(name)
    last = text.splitlines()[-1]
    data = rng.choice(
        [text.encode("utf-16")[:-3], text.encode("utf-16-le"), text.encode("utf-16") + f"{last},,\n".encode()]
    )
    return Case(name, data, ((f"{name}.csv", 0, ""),))


def unknown_delimiter(rng: random.Random) -> Case:
    """Cells parted by a sign that the suite does not read."""
    name = rng.choice(NAMES)
    return Case(name, demo().text(name, delimiter=rng.choice("|:~")).encode(), ((f"{name}.csv", 0, ""),))


# Harmless changes: the hash of the log stays.


def reordered_rows(rng: random.Random) -> Case:
    """Rows in another order."""
    name = rng.choice(NAMES)
    rows = list(demo().rows[name])
    rng.shuffle(rows)
    return Case(name, demo().text(name, rows).encode())


def reordered_columns(rng: random.Random) -> Case:
    """Columns, with their headings, in another order."""
    name = rng.choice(NAMES)
    order = rng.sample(range(len(demo().heads[name])), len(demo().heads[name]))
    rows = [[cells[at] for at in order] for cells in demo().rows[name]]
    return Case(name, demo().text(name, rows, [demo().heads[name][at] for at in order]).encode())


def other_line_ends(rng: random.Random) -> Case:
    """Line ends of Windows or of old Macs, or both in one file."""
    name = rng.choice(NAMES)
    text = demo().text(name)
    middle = text.index("\n", len(text) // 2) + 1
    mixed = text[:middle].replace("\n", "\r\n") + text[middle:]
    return Case(name, rng.choice([text.replace("\n", "\r\n"), text.replace("\n", "\r"), mixed]).encode())


def byte_order_mark(rng: random.Random) -> Case:
    """UTF-8 with a byte-order mark."""
    name = rng.choice(NAMES)
    return Case(name, demo().text(name).encode("utf-8-sig"))


def utf16(rng: random.Random) -> Case:
    """UTF-16 with its mark, either way round."""
    name = rng.choice(NAMES)
    text = "\ufeff" + demo().text(name)
    return Case(name, text.encode(rng.choice(["utf-16-le", "utf-16-be"])))


def other_delimiter(rng: random.Random) -> Case:
    """Semicolons or tabs; with semicolons also decimal commas."""
    name = rng.choice(NAMES)
    if rng.random() < 0.4:
        columns = [BY_NAME[name][head] for head in demo().heads[name]]
        rows = [
            [text.replace(".", ",") if c.kind is Kind.NUMBER else text for c, text in zip(columns, cells, strict=True)]
            for cells in demo().rows[name]
        ]
        return Case(name, demo().text(name, rows, delimiter=";").encode())
    return Case(name, demo().text(name, delimiter=rng.choice(";\t")).encode())


def blank_lines(rng: random.Random) -> Case:
    """Lines of nothing, of spaces or of delimiters at the end or in between."""
    name = rng.choice(NAMES)
    empty = rng.choice(["\n", "  \n", "," * (len(demo().heads[name]) - 1) + "\n", "\t\n"]) * rng.randrange(1, 5)
    text = demo().text(name)
    middle = text.index("\n", rng.randrange(len(text) - 1)) + 1
    return Case(name, rng.choice([text + empty, text[:middle] + empty + text[middle:]]).encode())


def all_quoted(rng: random.Random) -> Case:
    """Every cell between quotation marks, or with spaces around."""
    name = rng.choice(NAMES)
    if rng.random() < 0.5:
        rows = [[f" {text} " for text in cells] for cells in demo().rows[name]]
        return Case(name, demo().text(name, rows).encode())
    rows = [demo().heads[name], *demo().rows[name]]
    return Case(name, "\n".join(",".join(f'"{text}"' for text in cells) for cells in rows).encode() + b"\n")


FILE_KINDS = {
    "extra delimiter": extra_delimiter,
    "missing delimiter": missing_delimiter,
    "decimal comma, bare": bare_decimal_comma,
    "cells of a row moved left": shifted_left,
    "swapped columns": swapped_columns,
    "dropped job, donor or technician": dropped_row,
    "dropped boot test": dropped_boot_test,
    "duplicated row": duplicated_row,
    "unbalanced quotes": unbalanced_quote,
    "rows swallowed between quotes": rows_swallowed,
    "truncated file": truncated,
    "heading misspelt": heading_misspelt,
    "heading twice": heading_twice,
    "heading missing": heading_missing,
    "broken UTF-16": broken_utf16,
    "delimiter that is not read": unknown_delimiter,
}
HARMLESS_KINDS = {
    "harmless: rows reordered": reordered_rows,
    "harmless: columns reordered": reordered_columns,
    "harmless: other line ends": other_line_ends,
    "harmless: byte-order mark": byte_order_mark,
    "harmless: UTF-16": utf16,
    "harmless: semicolons, tabs, decimal commas": other_delimiter,
    "harmless: blank lines": blank_lines,
    "harmless: every cell quoted or spaced": all_quoted,
}
