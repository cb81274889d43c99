"""An outcome that says a part of the data was read: where the part it was can stand, since no outcome holds it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from analysis.records.importing.mapping import ASKED, OPEN, ColumnMap
from analysis.records.importing.proposal import Proposal, Remark
from analysis.records.importing.reading import value_key
from analysis.records.importing.value_words import PARTLY, PARTLY_WORDS, plain_value
from analysis.records.problems import plural

_TESTS = {"boot_tests.boot_result", "jobs.first_boot_result"}
_OFFER = Remark(ASKED, f'maybe "{PARTLY}": a part of the data counts as not recovered, and is printed apart')


def ask_of_parts(proposals: Sequence[Proposal]) -> list[Proposal]:
    """Say beside each question on such an outcome what would do.

    Where no column has boot tests, or may have, the outcome can say of the first one that it read a part. Else that is
    the tests' to say, and a second statement could only disagree with them.
    """
    kept = {column.to for proposal in proposals for column in proposal.sheet.columns}
    open_yet = any(OPEN in (p.sheet.row, *(column.to for column in p.sheet.columns)) for p in proposals)
    ask = _by_tests if kept & _TESTS or open_yet else _by_outcome
    return [ask(proposal) for proposal in proposals]


def _asked(proposal: Proposal) -> Iterator[tuple[str, str]]:
    """Heading and word of every outcome that is asked and may mean a part of the data."""
    for column in proposal.sheet.columns:
        for text in column.values if column.to == "jobs.outcome" else ():
            if (column.heading, f"values.{text}") in proposal.remarks and plain_value(text) in PARTLY_WORDS:
                yield column.heading, text


def _by_outcome(proposal: Proposal) -> Proposal:
    offers = {(heading, f"values.{text}"): _OFFER for heading, text in _asked(proposal)}
    return replace(proposal, remarks={**proposal.remarks, **offers})


def _by_tests(proposal: Proposal) -> Proposal:
    """Say in how many rows with a part of the data the tests beside it say so: the others need it there."""
    tests = [column for column in proposal.sheet.columns if column.to in _TESTS]
    where, remarks = " or ".join(f"'{column.heading}'" for column in tests), dict(proposal.remarks)
    for heading, text in _asked(proposal) if tests else ():
        rows = [row for row in _rows(proposal) if value_key(row.get(heading, "")) == value_key(text)]
        have = sum(any(_says_so(column, row.get(column.heading, "")) for column in tests) for row in rows)
        rest = "" if have == len(rows) else "; write it there where that is what the test gave"
        told = f"(under {where} in {have} of {plural(len(rows), 'such row')}{rest})"
        remarks[heading, f"values.{text}"] = Remark(ASKED, f"{remarks[heading, f'values.{text}'].text} {told}")
    return replace(proposal, remarks=remarks)


def _rows(proposal: Proposal) -> list[dict[str, str]]:
    """Texts of the sheet's rows by heading."""
    headings = proposal.headed.headings
    return [{headings[at]: cell.text for at, cell in row.items()} for row in proposal.headed.data.values()]


def _says_so(column: ColumnMap, text: str) -> bool:
    codes = {value_key(word): code for word, code in column.values.items()}
    return "data_partial" in (text.strip(), codes.get(value_key(text)))
