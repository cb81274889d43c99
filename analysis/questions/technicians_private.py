"""One technician's own figures beside the bench's, from which nobody else's can be worked out.

The bench's figures take the compared technicians together. Less the own ones they are those of the others together;
with two technicians that would be the other one's, so that no page is made. Nor may two editions of the page be set off
against each other (see ``technicians_editions.py``).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.cohort.features import Cohort, build_cohort
from analysis.errors import ReworkError
from analysis.models.intervals import Proportion, wilson
from analysis.models.poisson_binomial import pmf, same_level_p
from analysis.questions.technicians import Person, Technicians, compare_technicians
from analysis.questions.technicians_alone import Alone
from analysis.questions.technicians_answers import TechnicianAnswers
from analysis.questions.technicians_editions import up_to_edition
from analysis.questions.technicians_rows import PERSON, NotComparable
from analysis.questions.technicians_twin import SHOPS, Detectable, technician_twin
from analysis.questions.verdicts import Verdict, verdict_of
from analysis.records.log import Log
from analysis.records.once import usable_log

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
        Own jobs in thirds, in the order received; jobs of one day in the order of their codes, not of the file.
    thirds : Verdict
        Whether the thirds differ by more than chance, their boards put side by side.
    others : int
        Compared technicians beside this one.
    """

    person: Person
    bench: Proportion
    average: float
    detectable: Detectable
    by_damage: tuple[OwnPart, ...]
    over_time: tuple[OwnPart, ...]
    thirds: Verdict
    others: int


def _refuse_unknown(code: str, known: set[str]) -> None:
    if code not in known:
        raise ReworkError(f"The log has no job of technician '{code}'.", todo="Give the code as written in jobs.csv.")


def refuse_unless_private(found: Technicians | NotComparable, code: str, known: set[str], minimum: int) -> Technicians:
    """The comparison, if a page of this technician gives nobody else away.

    Raises
    ------
    ReworkError
        If the log has no such technician, there are too few jobs, or too few people.
    """
    _refuse_unknown(code, known)
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
            f"Technician '{code}' has fewer than {minimum} first boots that count.",
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


def _people(log: Log) -> set[str]:
    return set(log.tables["jobs"][PERSON].dropna().astype(str))


def private_comparison(log: Log, code: str) -> tuple[Cohort, pd.Timestamp, Technicians]:
    """First boots up to the day of the page, that day, and the comparison made of them.

    Raises
    ------
    ReworkError
        As :func:`refuse_unless_private`, or if there is no such day yet.
    """
    settings, minimum = log.settings, log.settings.minimum_technician_n
    _refuse_unknown(code, _people(log))
    cohort, day = up_to_edition(build_cohort(log), code, minimum)
    found = compare_technicians(cohort, minimum, settings.smallest_difference_points)
    return cohort, day, refuse_unless_private(found, code, _people(log), minimum)


def private_answers(log: Log, code: str, shops: int = SHOPS) -> TechnicianAnswers:
    """Everything one technician's page needs.

    Parameters
    ----------
    log : Log
        Without faulty jobs.
    code : str
    shops : int
        Simulated shops of the twin.

    Raises
    ------
    ReworkError
        As :func:`private_comparison`.
    """
    cohort, day, found = private_comparison(log, code)
    return TechnicianAnswers(log, cohort, found, technician_twin(found, shops), None, day)


def build_private(folder: Path, code: str) -> TechnicianAnswers:
    """Read a log and answer everything for one technician."""
    return private_answers(usable_log(folder), code)


def private_view(answers: TechnicianAnswers, code: str) -> PrivateView:
    """What one technician is shown.

    Raises
    ------
    ReworkError
        As :func:`refuse_unless_private`.
    """
    found = refuse_unless_private(answers.found, code, _people(answers.log), answers.minimum)
    assert answers.twin is not None
    rows = found.jobs.compared
    own = found.jobs.within.group[found.jobs.within.compared] == code
    mine = rows[own].reset_index(drop=True)
    chances = expit(found.offset[own] + found.centre)
    booted = mine["first_boot"].to_numpy(float)

    def part(name: str, at: np.ndarray) -> OwnPart:
        return OwnPart(name, wilson(int(booted[at].sum()), len(at)), float(chances[at].sum()))

    damage = mine["intake_damage"].astype(object)
    order = mine.sort_values(["received_date", "job_id"]).index.to_numpy()  # mine is numbered from 0
    thirds = np.array_split(order, PARTS)
    same = same_level_p([pmf(chances[at]) for at in thirds], [int(booted[at].sum()) for at in thirds])
    return PrivateView(
        person=found.person(code),
        bench=found.bench,
        average=found.average,
        detectable=answers.twin.of(code),
        by_damage=tuple(part(str(d), np.flatnonzero(damage.eq(d))) for d in sorted(damage.dropna().unique())),
        over_time=tuple(part(name, at) for name, at in zip(NAMES, thirds, strict=True)),
        thirds=verdict_of(same),
        others=len(found.people) - 1,
    )
