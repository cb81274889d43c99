"""A published demo review and a browser, each made once."""

from __future__ import annotations

import os

import pytest

from tests.report import browser as chromium_browser


@pytest.fixture(scope="session")
def running_browser():
    """A headless Chromium; the tests that need one skip aloud without it."""
    if not chromium_browser.chromium():
        pytest.skip("NO CHROMIUM ON THIS MACHINE: browser tests not run (install chromium, or set CHROMIUM)")
    with chromium_browser.browser() as running:
        yield running


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
