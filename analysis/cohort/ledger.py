"""The row ledger: rows in = rows used + each named exclusion, asserted."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Ledger:
    """Where every row went.

    Parameters
    ----------
    unit : str
        What a row is, in the plural ("jobs", "boot tests").
    rows_in : int
        Rows at the start.
    exclusions : tuple of (str, int)
        Plain reason and number of rows left out for it, in the order applied.
    rows_used : int
        Rows that remain.

    Raises
    ------
    AssertionError
        If the numbers do not add up: that is a fault of the program, never of the log.
    """

    unit: str
    rows_in: int
    exclusions: tuple[tuple[str, int], ...]
    rows_used: int

    def __post_init__(self) -> None:
        left_out = sum(n for _, n in self.exclusions)
        if self.rows_in != self.rows_used + left_out:
            raise AssertionError(
                f"row ledger does not add up: {self.rows_in} {self.unit} in, {self.rows_used} used, {left_out} left out"
            )

    @property
    def left_out(self) -> int:
        """Rows left out, all reasons together."""
        return self.rows_in - self.rows_used

    def then(self, *exclusions: tuple[str, int]) -> Ledger:
        """Return a ledger with further exclusions taken off ``rows_used``; zero counts are dropped."""
        more = tuple((reason, n) for reason, n in exclusions if n)
        used = self.rows_used - sum(n for _, n in more)
        return Ledger(self.unit, self.rows_in, self.exclusions + more, used)


def start_ledger(unit: str, rows: int) -> Ledger:
    """Open a ledger of ``rows`` rows with nothing left out yet."""
    return Ledger(unit, rows, (), rows)
