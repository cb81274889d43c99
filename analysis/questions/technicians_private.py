"""One technician's own figures beside the bench's, from which nobody else's can be worked out.

The bench's figures take the compared technicians together. Less the own ones they are those of the others together;
with two technicians that would be the other one's, so that no page is made.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from analysis.errors import ReworkError
from analysis.models.intervals import Proportion, wilson
from analysis.questions.technicians import Person, Technicians
from analysis.questions.technicians_alone import Alone
from analysis.questions.technicians_answers import TechnicianAnswers
from analysis.questions.technicians_rows import PERSON, NotComparable
from analysis.questions.technicians_twin import Detectable

PEOPLE_NEEDED = 3
PARTS = 3
NAMES = ("first third of your jobs", "second third", "last third")


@dataclass(frozen=True)
class OwnPart:
    """Own jobs of one kind: first boots, and what the bench's average would have had on them."""

    name: str
    booted: Proportion
    expected: float


@dataclass(frozen=True)
class PrivateView:
    """What one technician is shown.

    Parameters
    ----------
    person : Person
    bench : Proportion
        All compared technicians together.
    average : float
        Rate at the bench's average person on the bench's own mix.
    detectable : Detectable
    by_damage : tuple of OwnPart
        Own jobs by damage at intake.
    over_time : tuple of OwnPart
        Own jobs in thirds, in the order received.
    others : int
        Compared technicians beside this one.
    """

    person: Person
    bench: Proportion
    average: float
    detectable: Detectable
    by_damage: tuple[OwnPart, ...]
    over_time: tuple[OwnPart, ...]
    others: int


def refuse_unless_private(found: Technicians | NotComparable, code: str, known: set[str], minimum: int) -> Technicians:
    """The comparison, if a page of this technician gives nobody else away.

    Raises
    ------
    ReworkError
        If the log has no such technician, there are too few jobs, or too few people.
    """
    if code not in known:
        raise ReworkError(f"The log has no job of technician '{code}'.", todo="Give the code as written in jobs.csv.")
    if isinstance(found, NotComparable):
        people, few = found.people, found.too_few is not None
    else:
        people, few = len(found.people), False
    if people < PEOPLE_NEEDED:
        raise ReworkError(
            f"The log has {people} technicians with at least {minimum} first boots.",
            rule=f"A private page needs {PEOPLE_NEEDED}: with two, the bench less your own figures are the other's.",
            todo="Wait until more people have enough jobs.",
        )
    if isinstance(found, NotComparable) and not few:
        _refuse_alone(found.alone, code)
    if few or isinstance(found, NotComparable):
        raise ReworkError(
            "There are too few successes or failures to put easy and hard boards side by side.",
            rule="Without that, a rate mostly says which boards one got.",
            todo="Go on logging; 'rework compare' says how many more jobs it takes.",
        )
    _refuse_alone(found.jobs.alone, code)
    if code not in found.fit.names:
        raise ReworkError(
            f"Technician '{code}' has fewer than {minimum} first boots.",
            rule="Fewer are not shown (minimum_technician_n in bench.toml).",
            todo="Wait until there are enough.",
        )
    return found


def _refuse_alone(alone: tuple[Alone, ...], code: str) -> None:
    if any(code in each.codes for each in alone):
        raise ReworkError(
            f"Technician '{code}' has boards that nobody else compared has, and no others.",
            rule="Person and board cannot then be told apart; such a person is not compared.",
            todo="Deal such boards to others as well; 'rework compare' says which boards they are.",
        )


def private_view(answers: TechnicianAnswers, code: str) -> PrivateView:
    """What one technician is shown.

    Raises
    ------
    ReworkError
        As :func:`refuse_unless_private`.
    """
    known = set(answers.log.tables["jobs"][PERSON].dropna().astype(str))
    found = refuse_unless_private(answers.found, code, known, answers.minimum)
    assert answers.twin is not None
    rows = found.jobs.compared
    own = found.jobs.within.group[found.jobs.within.compared] == code
    mine = rows[own].reset_index(drop=True)
    chances = expit(found.offset[own] + found.centre)
    booted = mine["first_boot"].to_numpy(float)

    def part(name: str, at: np.ndarray) -> OwnPart:
        return OwnPart(name, wilson(int(booted[at].sum()), len(at)), float(chances[at].sum()))

    damage = mine["intake_damage"].astype(object)
    order = np.argsort(mine["received_date"].to_numpy(), kind="stable")
    return PrivateView(
        person=found.person(code),
        bench=found.bench,
        average=found.average,
        detectable=answers.twin.of(code),
        by_damage=tuple(part(str(d), np.flatnonzero(damage.eq(d))) for d in sorted(damage.dropna().unique())),
        over_time=tuple(part(name, at) for name, at in zip(NAMES, np.array_split(order, PARTS), strict=True)),
        others=len(found.people) - 1,
    )
