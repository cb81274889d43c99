"""Cells claim places of the log; cells that disagree about one are all kept aside, for either could be meant."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from analysis.records.importing.accounting import NotPlaced, not_placed
from analysis.records.importing.grid import Cell, HeadedSheet
from analysis.records.importing.rows import Key
from analysis.records.problems import quoted

Place = tuple[str, Key]  # table and key of a row of the log
Spot = tuple[int, int, int]  # sheet, row and column of a source cell


@dataclass(frozen=True)
class Said:
    """One cell's claim on a place of the log; a cell that settles several columns makes several."""

    value: str
    note: str
    headed: HeadedSheet
    row: int
    at: int
    cell: Cell

    @property
    def spot(self) -> Spot:
        """Which cell it is."""
        return id(self.headed), self.row, self.at


@dataclass(frozen=True)
class Settled:
    """What the claims come to.

    Parameters
    ----------
    values : dict
        Row of the log to column to text.
    placed, converted : int
        Cells placed as written, and in another form.
    notes : Counter of str
        What was done to the converted ones.
    aside, partly : tuple of NotPlaced
        Cells that disagree; those of which another part is placed.
    """

    values: dict[Place, dict[str, str]]
    placed: int
    converted: int
    notes: Counter[str]
    aside: tuple[NotPlaced, ...]
    partly: tuple[NotPlaced, ...]


@dataclass
class Claims:
    """Claims collected so far, by row and column of the log."""

    said: dict[Place, dict[str, list[Said]]] = field(default_factory=dict)

    def row(self, place: Place) -> dict[str, list[Said]]:
        """A row of the log; it will be there even if no cell claims anything in it."""
        return self.said.setdefault(place, {})

    def add(self, place: Place, column: str, said: Said) -> None:
        """Note one claim."""
        self.row(place).setdefault(column, []).append(said)

    def _groups(self) -> Iterator[tuple[Place, str, list[Said]]]:
        for place, columns in self.said.items():
            for column, claims in columns.items():
                yield place, column, claims

    def settle(self) -> Settled:
        """Give every place its value, unless cells disagree about it."""
        values: dict[Place, dict[str, str]] = {place: {} for place in self.said}
        good: dict[Spot, str] = {}
        disputed: list[tuple[Said, str]] = []
        for place, column, claims in self._groups():
            if len({said.value for said in claims}) > 1:
                disputed += [(said, _disagreement(claims)) for said in claims]
            else:
                values[place][column] = claims[0].value
                good |= {said.spot: said.note for said in claims}
        lost: dict[Spot, NotPlaced] = {}
        for s, why in disputed:
            lost.setdefault(s.spot, not_placed(s.headed, s.row, s.at, s.cell, why))
        aside = tuple(cell for spot, cell in lost.items() if spot not in good)
        partly = tuple(
            replace(cell, why=f"{cell.why}; the rest is placed") for spot, cell in lost.items() if spot in good
        )
        notes = Counter(note for note in good.values() if note)
        converted = sum(notes.values())
        return Settled(values, len(good) - converted, converted, notes, aside, partly)


def _disagreement(claims: list[Said]) -> str:
    listed = " and ".join(f"{quoted(s.cell.text, 30)} ({s.headed.sheet.name}, row {s.row})" for s in claims[:2])
    return f"cells disagree: {listed}; either could be meant"
