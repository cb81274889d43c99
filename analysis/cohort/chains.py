"""Chains of re-attempts on the same board: a chain counts once."""

from __future__ import annotations

import pandas as pd


def chain_roots(jobs: pd.DataFrame) -> pd.Series:
    """Name, for every job, the first accepted job of its chain.

    A job continues a chain when its ``prior_rework`` is "here", its ``previous_job_id`` is in the log and that
    earlier job was accepted. A job that continues nothing is its own root.

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
    continues = jobs["prior_rework"].eq("here") & jobs["previous_job_id"].isin(accepted)
    previous = dict(zip(jobs.loc[continues, "job_id"], jobs.loc[continues, "previous_job_id"], strict=True))
    roots = jobs["job_id"].astype(object)
    # Chains are short; following all links at once ends after as many rounds as the longest chain has jobs.
    # The bound guards against a loop, which the log check reports as a fault.
    for _ in range(len(previous) + 1):
        step = roots.map(previous)
        if step.isna().all():
            break
        roots = roots.where(step.isna(), step)
    return roots.astype("string").rename("chain_root")
