"""Which row of a sheet holds the headings, and what its rows are."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping

from analysis.records.dictionary import BY_NAME
from analysis.records.importing.grid import HeadedSheet, Row, Sheet, squeezed, with_headings
from analysis.records.importing.grid import Kind as CellKind
from analysis.records.importing.headings_guess import guess_heading
from analysis.records.importing.mapping import OPEN

_BENCH = ("boot_tests", "chip_sides", "heat_steps")
_LOOKED_AT = 30  # rows from the top that may hold the headings
_LONGEST_TITLE = 30  # characters of a title over several headings
_MOST_HEADINGS = 300  # of a very wide sheet
_NUMBER_LIKE = re.compile(r"[\d\s.,/:%€$£+-]+")


def _is_word(text: str) -> bool:
    return not _NUMBER_LIKE.fullmatch(text)


def _score(row: Row) -> tuple[int, int]:
    """How many cells of a row are known headings, and how many are words at all."""
    texts = [squeezed(cell.text) for cell in list(row.values())[:_MOST_HEADINGS] if cell.kind is CellKind.TEXT]
    found = [guess for text in texts if len(text) <= 60 and (guess := guess_heading(text, "jobs")[0])]
    places = {guess.column.address for guess in found if guess.sure}
    return len(places), sum(_is_word(text) for text in texts)


def find_headings(sheet: Sheet, wanted: Collection[str] = ()) -> HeadedSheet:
    """Find the heading row: the one of the first rows with the most known headings; with none, the most words.

    Parameters
    ----------
    sheet : Sheet
        The sheet.
    wanted : collection of str
        Headings a mapping names; the row that holds most of them is taken.
    """
    first = dict(list(sheet.rows.items())[:_LOOKED_AT])
    if wanted:
        named = {number: _named(sheet, number, set(wanted)) for number in first}
        best = max(named, key=lambda number: (named[number], -number))
        if named[best]:
            return _headed(sheet, best)
    scores = {number: _score(row) for number, row in first.items()}
    best = max(scores, key=lambda number: (scores[number], -number))
    return _headed(sheet, best + 1 if _titles(sheet, best + 1) else best)


def _headed(sheet: Sheet, number: int) -> HeadedSheet:
    """The sheet with its headings in a row, those of the row above included where both belong together."""
    if titles := _titles(sheet, number):
        above = {at: squeezed(cell.text) for at, cell in sheet.rows[number - 1].items()}
        tall = {at: text for at, text in above.items() if at not in sheet.rows[number]}
        return with_headings(sheet, number, titles, tall)
    return with_headings(sheet, number, _groups(sheet, number))


def _titles(sheet: Sheet, number: int) -> dict[int, str]:
    """Titles of the row above for each cell of a row that only goes on where a heading is parted.

    Headings then reach over two rows: "Job no" over both, "CPU" over "pads lost" and "passes". None where it is not so.
    """
    above, row = sheet.rows.get(number - 1, {}), sheet.rows.get(number, {})
    keys = [at for at, cell in above.items() if _goes_to(squeezed(cell.text), "jobs.job_id")]
    words = all(cell.kind is CellKind.TEXT and _is_word(cell.text) for cell in row.values())
    if not row or len(row) > _MOST_HEADINGS or not words or not keys or any(at in row for at in keys):
        return {}
    lefts = {at: max((left for left in above if left <= at), default=-1) for at in row}
    if min(lefts.values()) < 0:
        return {}
    titles = {at: squeezed(above[left].text) for at, left in lefts.items()}
    whole = sum(_complete(f"{titles[at]} {squeezed(cell.text)}") for at, cell in row.items())
    return titles if 2 * whole > len(row) else {}


def _named(sheet: Sheet, number: int, wanted: set[str]) -> int:
    """How many of the wanted headings a row would give."""
    rows = [sheet.rows[number], *([sheet.rows[number - 1]] if number - 1 in sheet.rows else [])]
    texts = [squeezed(cell.text)[:200] for row in rows for cell in row.values()]
    if not any(text in wanted for text in texts):
        return 0
    return len(wanted & set(_headed(sheet, number).headings.values()))


def _groups(sheet: Sheet, heading_row: int) -> dict[int, str]:
    """Titles over several headings, where only both together say which column is meant: "CPU" over "pads lost"."""
    above = {at: squeezed(cell.text) for at, cell in sheet.rows.get(heading_row - 1, {}).items()}
    row = sheet.rows[heading_row]
    if not above or len(above) >= len(row) or len(row) > _MOST_HEADINGS:
        return {}
    out, title = {}, ""
    for at in sorted({*above, *row}):
        title = above.get(at, title)
        bare = squeezed(row[at].text) if at in row else ""
        if title and bare and len(title) <= _LONGEST_TITLE and not _complete(bare) and _complete(f"{title} {bare}"):
            out[at] = title
    return out


def _complete(heading: str) -> bool:
    guess, _ = guess_heading(heading, "jobs")
    return guess is not None and guess.sure and not guess.column.is_open


def kind_of_rows(headed: HeadedSheet) -> tuple[str, str]:
    """The table whose rows the rows of a sheet are, or "?", and why.

    A sheet with job codes is a row a job unless the codes repeat and it has the headings of a bench table.
    """
    names = list(headed.headings.values())[:_MOST_HEADINGS]
    columns = headed.by_column()
    found: dict[str, set[str]] = {}
    sure: dict[str, set[str]] = {}
    for row in ("jobs", "boot_tests", "chip_sides", "heat_steps", "donors", "technicians"):
        guesses = [guess for name in names if (guess := guess_heading(name, row)[0]) and guess.column.taken]
        found[row] = {guess.column.to for guess in guesses}
        sure[row] = {guess.column.to for guess in guesses if guess.sure}
    if "jobs.job_id" in found["jobs"]:
        if keyed := [table for table in _BENCH if _has_key(table, sure)]:
            return keyed[0], "its headings are the key of this table"
        at = next(at for at, name in headed.headings.items() if _goes_to(name, "jobs.job_id"))
        codes = Counter(cell.text.strip() for cell in columns[at])
        repeats = sum(codes.values()) - len(codes)
        long = max(_BENCH, key=lambda table: len(found[table]))
        if repeats > 0.3 * len(codes) and len(found[long]) >= 3 and len(found[long]) >= len(found["jobs"]):
            return long, "job codes repeat, and its headings are of this table"
        return "jobs", "it has job codes" if len(found["jobs"]) > 1 else ""
    for row in ("donors", "technicians"):
        key = f"{row}.{BY_NAME[row].key[0]}"
        if key in found[row] and len(found[row]) > 1:
            return row, f"it has {BY_NAME[row].key[0]} and no job codes"
    return OPEN, ""


def _has_key(table: str, sure: Mapping[str, set[str]]) -> bool:
    """Whether a sheet has the whole key of a bench table and nothing that is a job's only."""
    key = {f"{table}.{name}" for name in BY_NAME[table].key if name != "before_test_no"}
    of_jobs = {to for to in sure["jobs"] if to.startswith("jobs.") and to.split(".")[1] not in BY_NAME[table].names}
    return key <= sure[table] and not of_jobs


def _goes_to(heading: str, to: str) -> bool:
    guess, _ = guess_heading(heading, "jobs")
    return guess is not None and guess.column.to == to
