"""Boards that come back: a few jobs are second tries on a board that failed here before."""

from __future__ import annotations

import numpy as np
import pandas as pd

Rng = np.random.Generator

MOST = 8
TRIED = 60
ALIKE = ("device_class", "board_family", "intake_damage")


def link_chains(jobs: pd.DataFrame, rng: Rng) -> pd.DataFrame:
    """Turn a few accepted jobs into second tries on boards that failed before.

    Only jobs on a board without earlier rework, of the same family and damage and as much older as time went by, are
    taken, so that no fact that the planted truth acts on changes.

    Parameters
    ----------
    jobs : DataFrame
        The typed jobs table, complete.
    """
    received, closed = jobs["received_date"].to_numpy(), jobs["closed_date"].to_numpy()
    free = (jobs["decision"].eq("accepted") & jobs["prior_rework"].eq("none")).to_numpy(bool, copy=True)
    failed = (jobs["outcome"].eq("not_recovered") & jobs["loss_reversible"].fillna(False)).to_numpy(bool)
    facts = [jobs[name].astype(object).to_numpy() for name in ALIKE]
    age = jobs["device_age_years"].to_numpy(float)
    rework, previous = jobs["prior_rework"].copy(), jobs["previous_job_id"].copy()
    ids, found = jobs["job_id"].to_numpy(object), 0
    for old in rng.permutation(np.flatnonzero(failed))[:TRIED]:
        gap = (received - closed[old]) / np.timedelta64(365, "D")
        fits = free & (gap > 20 / 365) & (np.abs(age - age[old] - gap) <= 0.5) & (age >= age[old])
        for fact in facts:
            fits &= fact == fact[old]
        choices = np.flatnonzero(fits)
        if len(choices) and found < MOST:
            new, found = choices[0], found + 1
            rework.iloc[new], previous.iloc[new] = "here", ids[old]
            free[new] = free[old] = False
    return jobs.assign(prior_rework=rework, previous_job_id=previous)
