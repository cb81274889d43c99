"""Whether published rates together let the result of a handful of jobs be worked out by adding and subtracting."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

Jobs = frozenset[str]
MOST = 100_000  # unions of small groups looked at; beyond, the sheet is held to give something away
NEAR_ZERO = 1e-9


def nearly_the_same(one: Jobs, other: Jobs, minimum: int) -> bool:
    """Whether two overlapping sets differ, and by fewer than the minimum on either side."""
    if one == other or not one & other:
        return False
    return max(len(one - other), len(other - one)) < minimum


def _groups(sets: Sequence[Jobs]) -> tuple[list[int], NDArray[np.float64]]:
    """Jobs that lie in the same sets belong together: their numbers, and which set holds which of them."""
    of_job: dict[str, list[int]] = {}
    for at, jobs in enumerate(sets):
        for job in jobs:
            of_job.setdefault(job, []).append(at)
    sizes: dict[tuple[int, ...], int] = {}
    for held in of_job.values():
        sizes[tuple(held)] = sizes.get(tuple(held), 0) + 1
    holds = np.zeros((len(sets), len(sizes)))
    for column, rows in enumerate(sizes):
        holds[list(rows), column] = 1
    return list(sizes.values()), holds


def _small_unions(
    sizes: Sequence[int], tells: NDArray[np.float64], minimum: int
) -> Iterator[tuple[tuple[int, ...], bool]]:
    """Every way to put groups together that have fewer jobs than the minimum together, and whether it may be known.

    A union that is orthogonal to the null space is so to one direction in it, which costs a single number to try.
    """
    weights = (tells @ np.cos(np.arange(1, tells.shape[1] + 1))).tolist()
    small = sorted((at for at, size in enumerate(sizes) if size < minimum), key=lambda at: sizes[at])

    def grow(start: int, chosen: tuple[int, ...], left: int, sum_: float) -> Iterator[tuple[tuple[int, ...], bool]]:
        for place in range(start, len(small)):
            at = small[place]
            if sizes[at] > left:
                return
            union, weight = (*chosen, at), sum_ + weights[at]
            yield union, abs(weight) < NEAR_ZERO
            yield from grow(place + 1, union, left - sizes[at], weight)

    return grow(0, (), minimum - 1, 0.0)


def _known(free: NDArray[np.float64], union: tuple[int, ...]) -> bool:
    """Whether the successes of a union of groups follow from equations with this null space."""
    return bool(np.abs(free[list(union)].sum(axis=0)).max(initial=0.0) < NEAR_ZERO)


def can_be_worked_out(new: Sequence[Jobs], old: Sequence[Jobs], minimum: int) -> bool:
    """Whether new rates, beside one another and old ones, tell the successes among fewer than ``minimum`` jobs.

    Each published rate is an equation: the successes of the groups in its set add up to a known number. A union of
    groups is known if and only if its indicator lies in the row space of these equations, that is, if it is orthogonal
    to their null space. What the old rates told without the new ones is not held against the new ones.

    Parameters
    ----------
    new, old : sequence of frozenset of str
        Denominators, of one measure.
    minimum : int
    """
    from scipy.linalg import null_space

    before = list(dict.fromkeys(jobs for jobs in old if jobs))
    fresh = [jobs for jobs in dict.fromkeys(new) if jobs and jobs not in set(before)]
    if not fresh:
        return False
    if any(nearly_the_same(a, b, minimum) for a, b in itertools.product(fresh, [*before, *fresh])):
        return True
    sizes, holds = _groups([*before, *fresh])
    told = null_space(holds[: len(before)]) if before else np.eye(len(sizes))
    tells = null_space(holds)
    for count, (union, maybe) in enumerate(_small_unions(sizes, tells, minimum)):
        if count >= MOST or (maybe and _known(tells, union) and not _known(told, union)):
            return True
    return False
