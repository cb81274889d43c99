"""A published demo review, made once."""

from __future__ import annotations

import os

import pytest


@pytest.fixture(scope="session")
def demo_review(tmp_path_factory):
    """The review of the demo, made by the same function as the command."""
    from analysis.cli import DEMO
    from analysis.report.monthly import publish_review

    said: list[str] = []
    path = publish_review(DEMO, "", tmp_path_factory.mktemp("reports"), said.append)
    assert any("What failed and why" in line for line in said)
    assert os.path.getsize(path) > 10_000
    return path
