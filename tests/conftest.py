"""A browser, started once for the whole run (a second beside it would not start); says aloud when it was missing."""

from __future__ import annotations

import pytest

from tests.report import browser as chromium_browser


@pytest.fixture(scope="session")
def running_browser():
    """A headless Chromium; the tests that need one skip aloud without it."""
    if not chromium_browser.chromium():
        pytest.skip("NO CHROMIUM ON THIS MACHINE: browser tests not run (install chromium, or set CHROMIUM)")
    with chromium_browser.browser() as running:
        yield running


def pytest_terminal_summary(terminalreporter):
    skipped = [report for report in terminalreporter.stats.get("skipped", []) if "NO CHROMIUM" in str(report.longrepr)]
    if skipped:
        terminalreporter.write_sep("!", f"{len(skipped)} browser tests SKIPPED: no Chromium on this machine")
