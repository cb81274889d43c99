"""What every fitted result carries: counts, convergence, ledger, hash of the log, code version."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from analysis import __version__
from analysis.cohort.ledger import Ledger
from analysis.errors import UnconvergedError


@dataclass(frozen=True, kw_only=True)
class Result:
    """Base of all frozen results.

    Parameters
    ----------
    n : int
        Rows (jobs, attempts) the fit used.
    events : int
        Rows with the event.
    converged : bool
        Whether the numbers may be shown.
    reason : str
        Why not, in plain words, when ``converged`` is False; otherwise empty or a caution.
    ledger : Ledger or None
        Where the rows went.
    log_hash : str
        Hash of the log the rows came from.
    code_version : str
        Version of this package.
    """

    n: int
    events: int
    converged: bool
    reason: str = ""
    ledger: Ledger | None = None
    log_hash: str = ""
    code_version: str = __version__

    def shown(self) -> Self:
        """Return the result itself, or refuse.

        Raises
        ------
        UnconvergedError
            If the fit did not converge.
        """
        if not self.converged:
            raise UnconvergedError(
                f"A fit on {self.n} rows did not settle: {self.reason}",
                rule="Numbers of a fit that did not converge are never shown.",
                todo="Read the reason; usually a column with a nearly empty level must be merged or left out.",
            )
        return self
