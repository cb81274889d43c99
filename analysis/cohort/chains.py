"""Chains of re-attempts on the same board: a chain counts once."""

from __future__ import annotations

import pandas as pd


def chain_roots(jobs: pd.DataFrame) -> pd.Series:
    """Name, for every job, the first accepted job of its chain.

    A job continues a chain when its ``prior_rework`` is "here" and its ``previous_job_id`` is in the log. A job of the
    chain that was declined or withdrawn does not break it: whoever asks for another attempt on a board after having
    been sent away once still has the same board. A job without an accepted one before it is its own root.

    Parameters
    ----------
    jobs : DataFrame, shape (n, ...)
        Typed ``jobs`` table.

    Returns
    -------
    Series of str, shape (n,)
        ``job_id`` of the root, indexed like ``jobs``.
    """
    accepted = set(jobs.loc[jobs["decision"].eq("accepted"), "job_id"])
    continues = jobs["prior_rework"].eq("here") & jobs["previous_job_id"].isin(set(jobs["job_id"]))
    previous = dict(zip(jobs.loc[continues, "job_id"], jobs.loc[continues, "previous_job_id"], strict=True))
    roots = earlier = jobs["job_id"].astype(object)
    # Chains are short; following all links at once ends after as many rounds as the longest chain has jobs.
    # The bound guards against a loop, which the log check reports as a fault.
    for _ in range(len(previous) + 1):
        earlier = earlier.map(previous)
        if earlier.isna().all():
            break
        roots = roots.where(~earlier.isin(accepted), earlier)
    return roots.astype("string").rename("chain_root")
