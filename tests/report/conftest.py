"""A published demo review, made once for all processes of a run."""

from __future__ import annotations

import os

import pytest
from filelock import FileLock


@pytest.fixture(scope="session")
def demo_review(tmp_path_factory):
    """The review of the demo, made by the same function as the command; only read by those that get it."""
    from analysis.cli import DEMO
    from analysis.report.monthly import publish_review

    of_all = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:  # each process has a folder in that of the run
        of_all = of_all.parent
    with FileLock(of_all / "demo_review.lock"):
        made = next(of_all.glob("demo_review/*.html"), None)
        if made is None:
            said: list[str] = []
            made = publish_review(DEMO, "", of_all / "demo_review", said.append)
            assert any("What failed and why" in line for line in said)
            assert os.path.getsize(made) > 10_000
    return made
