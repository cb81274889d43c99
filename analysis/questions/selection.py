"""Declined jobs have no outcome: how they differ from the accepted, and what that leaves open."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.cohort.features import Cohort
from analysis.cohort.outcomes import Ending
from analysis.models.intervals import wilson
from analysis.questions.bench_model import MODEL, BenchModel
from analysis.questions.offer_rows import Outcome, recovered_rows
from analysis.records.dictionary import JOBS

LEVEL = 0.8
COMPARED = ("intake_damage", "prior_rework", "underfill", "device_class")


@dataclass(frozen=True)
class ShareRow:
    """How common one fact is among accepted and declined intakes.

    Parameters
    ----------
    fact, value : str
        Plain names.
    accepted, declined : int
        Intakes with the value.
    accepted_of, declined_of : int
        Intakes with the fact recorded.
    """

    fact: str
    value: str
    accepted: int
    accepted_of: int
    declined: int
    declined_of: int


@dataclass(frozen=True)
class Selection:
    """Who was taken, and bounds for all comers.

    Parameters
    ----------
    accepted, declined, withdrawn : int
        Intakes; a later job on the same board is not counted again.
    rows : tuple of ShareRow
    recovered, closed : int
        Among accepted jobs that are closed.
    low, high : float
        Share of recovered among closed and declined together, if every declined one had failed, and if every one had
        succeeded; NaN without any.
    chance_low, chance_high : float
        Lower end of the 80 % Wilson interval of ``low``, and upper end of that of ``high``: bounds for comers like
        these, chance included.
    like_accepted : float
        The same share if the declined fared as accepted jobs with the same recorded facts; NaN without a trusted model.
    like_n : int
        Declined intakes that the model has a chance for.
    """

    accepted: int
    declined: int
    withdrawn: int
    rows: tuple[ShareRow, ...]
    recovered: int
    closed: int
    low: float
    high: float
    chance_low: float
    chance_high: float
    like_accepted: float
    like_n: int


def _shares(accepted: pd.DataFrame, declined: pd.DataFrame) -> tuple[ShareRow, ...]:
    out = []
    for fact in COMPARED:
        column = JOBS[fact]
        both = [accepted[fact].dropna().astype(str), declined[fact].dropna().astype(str)]
        for code in column.codes:
            count = [int(each.eq(code).sum()) for each in both]
            if any(count):
                out.append(ShareRow(column.title, column.text_of(code), count[0], len(both[0]), count[1], len(both[1])))
    return tuple(out)


def selection(cohort: Cohort, bench: BenchModel) -> Selection:
    """Compare declined with accepted intakes, and bound the rate among all comers.

    The bounds hold whatever the declined would have done (Manski, American Economic Review 80 (1990) 319–323; from
    memory). Withdrawn intakes are left out: their clients chose.
    """
    jobs = cohort.jobs
    accepted = jobs[jobs["decision"].eq("accepted") & jobs["ending"].ne(Ending.REPEAT)]
    declined = jobs[jobs["decision"].eq("declined")]
    rows = recovered_rows(cohort).rows
    won, closed, out = int(rows["recovered"].sum()), len(rows), len(declined)
    lowest, highest = (wilson(good, closed + out, LEVEL) for good in (won, won + out))
    model = bench.models.get(Outcome.RECOVERED)
    like, like_n = float("nan"), 0
    if model is not None and model.fit is not None and model.source == MODEL and out:
        chances = model.fit.where_seen(declined.reset_index(drop=True))
        told = chances[~np.isnan(chances)]
        like_n = len(told)
        if like_n:
            like = float((won + told.sum()) / (closed + like_n))
    return Selection(
        accepted=len(accepted),
        declined=out,
        withdrawn=int(jobs["decision"].eq("withdrawn").sum()),
        rows=_shares(accepted, declined),
        recovered=won,
        closed=closed,
        low=lowest.rate,
        high=highest.rate,
        chance_low=lowest.low,
        chance_high=highest.high,
        like_accepted=like,
        like_n=like_n,
    )


def taken_at_random(names: Sequence[str], share: float, rng_seed: int) -> tuple[str, ...]:
    """Choose "discuss" intakes to take by lot, so that the bounds can narrow.

    Only for intakes whose client knows of it and agrees: the choice is no judgement of the board. Every intake draws a
    lot of its own, from the random seed and its code alone: one intake on the counter has the same chance as one of
    twenty, a list made again with one more on it changes nobody's lot, and anyone can draw it again.

    Parameters
    ----------
    names : sequence of str
        Codes of the intakes to be discussed.
    share : float
        Chance of each to be taken, between 0 and 1.
    rng_seed : int
    """
    return tuple(name for name in sorted(names) if _lot(name, rng_seed) < share)


def _lot(name: str, rng_seed: int) -> float:
    """A number between 0 and 1 from a seed and a code; the same on every machine."""
    return int.from_bytes(hashlib.sha256(f"{rng_seed}\n{name}".encode()).digest()[:8], "big") / 2**64
