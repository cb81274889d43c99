"""The people of the workshop: which boards they get and how they like to work."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Person:
    """Habits of one technician.

    Parameters
    ----------
    hard_boards : float
        How strongly their share of the jobs grows with the hardness of the board (log odds an SD of hardness).
    extra_passes : float
        Cleaning passes over what the side asks for.
    blade, sac305, preheat, ball_reset : float
        Share of jobs in which they use it, all else equal.
    install_c : float
        Set temperature at which they like to install, as shown by station S1 (°C).
    band : str
        Experience as noted in technicians.csv.
    """

    hard_boards: float
    extra_passes: float
    blade: float
    sac305: float
    preheat: float
    ball_reset: float
    install_c: float
    band: str


CREW = (
    Person(0.0, 0.0, 0.2, 0.15, 0.55, 0.45, 330.0, "3_to_10"),
    Person(3.2, 0.5, 0.3, 0.55, 0.6, 0.5, 334.0, "over_10"),
    Person(-0.8, 0.2, 0.35, 0.2, 0.45, 0.4, 338.0, "1_to_3"),
    Person(-1.3, -0.2, 0.4, 0.15, 0.5, 0.5, 324.0, "under_1"),
    Person(-0.4, 0.1, 0.25, 0.2, 0.65, 0.45, 331.0, "3_to_10"),
)
NO_HABIT = Person(0.0, 0.0, 0.3, 0.3, 0.55, 0.45, 331.0, "3_to_10")


def crew_of(names: tuple[str, ...]) -> tuple[Person, ...]:
    """People by name; a crew of more than five works like the first five over again."""
    return tuple(CREW[i % len(CREW)] for i in range(len(names)))


def habit(attribute: str, technician: np.ndarray, names: tuple[str, ...], habits: bool) -> np.ndarray:
    """One habit of each job's technician.

    Parameters
    ----------
    attribute : str
        Name of a number of ``Person``.
    technician : ndarray of int, shape (n,)
        Place of each job's technician in ``names``.
    names : tuple of str
        Technicians.
    habits : bool
        False: all work alike.
    """
    people = crew_of(names) if habits else (NO_HABIT,) * len(names)
    return np.array([float(getattr(person, attribute)) for person in people])[technician]
