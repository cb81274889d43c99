"""Options of an invented workshop."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Shop:
    """What kind of workshop is simulated.

    Parameters
    ----------
    jobs : int
        Jobs received.
    first_day, last_day, cut : str
        First and last day of receipt; the log ends at ``cut`` and holds nothing later.
    technicians, families : int
        How many technicians and board families, unless a truth of one's own names them.
    technician_effects : bool
        Technicians differ, and the best one gets the hardest boards.
    learning : bool
        Technicians get a little better with the jobs they have done; first boots then rise over the years.
    selection : bool
        Some jobs are declined, withdrawn or stopped by the client.
    bad_lot : bool
        One delivery of donors divides the odds of success by eight.
    gaps : bool
        Realistic blanks, "unknown" codes and old jobs without heat steps.
    presets : bool
        A third of the heat steps are left at the form's preset, the true setting unknown.
    stations : int
        Hot-air stations, 1 or 2; the second shows 10 °C more for the same heat.
    informative_giving_up : bool
        Hopeless jobs are given up more often, and jobs that are paid whatever happens too.
    chains : bool
        A few boards come back for another try.
    habits : bool
        Technicians choose techniques by habit and by how bad a board is; otherwise by chance alone.
    noise_sd : float
        Spread of what no column of the log explains, in log odds of boot test 1.
    """

    jobs: int = 650
    first_day: str = "2022-04-01"
    last_day: str = "2024-09-30"
    cut: str = "2024-10-02"
    technicians: int = 5
    families: int = 12
    technician_effects: bool = True
    learning: bool = False
    selection: bool = True
    bad_lot: bool = True
    gaps: bool = True
    presets: bool = True
    stations: int = 2
    informative_giving_up: bool = True
    chains: bool = True
    habits: bool = True
    noise_sd: float = 0.0


def plain_shop(jobs: int = 650) -> Shop:
    """A workshop whose first boots follow the planted logistic model and nothing else."""
    return replace(
        Shop(jobs=jobs, cut="2027-12-31"),
        technician_effects=False,
        selection=False,
        bad_lot=False,
        gaps=False,
        presets=False,
        stations=1,
        informative_giving_up=False,
        chains=False,
    )
