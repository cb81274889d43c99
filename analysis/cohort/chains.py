"""Chains of re-attempts on the same board: a chain counts once."""

from __future__ import annotations

import pandas as pd


def chains(jobs: pd.DataFrame, idle: pd.Series) -> pd.DataFrame:
    """Name, for every job, the job its chain is counted by, and its place in the chain.

    A job continues a chain when its ``prior_rework`` is "here" and its ``previous_job_id`` is in the log. A job of the
    chain that was declined or withdrawn does not break it: whoever asks for another attempt on a board after having
    been sent away once still has the same board. A chain is counted by its first accepted job that was not stopped
    before work; a job without an accepted one before it stands for itself.

    Parameters
    ----------
    jobs : DataFrame, shape (n, ...)
        Typed ``jobs`` table.
    idle : Series of bool, shape (n,)
        Jobs stopped by the client before any work: they are no attempt.

    Returns
    -------
    DataFrame, shape (n, 2)
        ``root`` (``job_id``) and ``place`` (0 for the first attempt of a chain, NaN for what is none: jobs not
        accepted, and idle ones of a chain that has others), indexed like ``jobs``.
    """
    codes = jobs["job_id"].astype(object)
    accepted = jobs["decision"].eq("accepted").fillna(False).to_numpy(bool)
    taken = set(codes[accepted])
    continues = jobs["prior_rework"].eq("here") & jobs["previous_job_id"].isin(set(codes))
    previous = dict(zip(codes[continues], jobs.loc[continues, "previous_job_id"], strict=True))
    roots = earlier = codes
    depth = pd.Series(0, index=jobs.index)
    # Chains are short; following all links at once ends after as many rounds as the longest chain has jobs.
    # The bound guards against a loop, which the log check reports as a fault.
    for _ in range(len(previous) + 1):
        earlier = earlier.map(previous)
        if earlier.isna().all():
            break
        depth += earlier.notna()
        roots = roots.where(~earlier.isin(taken), earlier)
    worked = pd.Series(accepted, index=jobs.index) & ~idle
    attempts = worked.where(worked.groupby(roots).transform("any"), pd.Series(accepted, index=jobs.index))
    tried = pd.DataFrame({"job": codes, "root": roots, "depth": depth})[attempts].sort_values("depth", kind="stable")
    place = tried.groupby("root").cumcount().astype(float).reindex(jobs.index)
    counted_by = roots.map(tried.drop_duplicates("root").set_index("root")["job"])
    # A job that was declined, and no attempt before it, stands for itself.
    roots = counted_by.where(pd.Series(accepted, index=jobs.index) | roots.ne(codes), codes).fillna(codes)
    return pd.DataFrame({"root": roots.astype("string"), "place": place})
